/** The benchmarks on tiny input: that they still run and measure what they say. No duration is judged. */

import { fileURLToPath } from "node:url";
import { expect, test } from "vitest";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { evening } from "./evening.ts";
import { frames } from "./frames.ts";
import { memory } from "./memory.ts";
import { canUseBrowser, page } from "./page.ts";
import { survey } from "./survey.ts";

const cli = fileURLToPath(new URL("../../dist/daemon/cli.js", import.meta.url));
const needs = `(${whyNoLoopVolumes})`;
const onMedia = test.skipIf(!canUseLoopVolumes());

const card = { seed: 9, frames: 6, jpegBytes: 50_000, raws: 2, rawBytes: 2_000_000 };
const driveBytes = 64_000_000;

onMedia(`the evening is measured against one reading and against the work by hand ${needs}`, async () => {
  const said: string[] = [];
  const result = await evening(cli, { card, cardBytesPerSecond: 50e6, driveBytes }, (line) =>
    said.push(line),
  );
  expect(result).toMatchObject({ cardBytes: 4_300_000, clear: true });
  // From the device's own count: every file whole, and no file twice.
  expect(result.timesRead).toBeGreaterThanOrEqual(1);
  expect(result.timesRead).toBeLessThan(2);
  expect(said[0]).toMatch(/^card: 8 files, 4 MB; (limited to 50 MB\/s|not limited: .+)$/);
  expect(said.join("\n")).toMatch(/^Scrubjay, two copies: .*; [\d.]+ times the reading/m);
});

onMedia(`the daemon's memory is measured for each kind of card ${needs}`, async () => {
  const wish = { fewFiles: 2, manyFiles: 5, smallBytes: 20_000, filmBytes: 5_000_001, driveBytes };
  const results = await memory(cli, wish, () => undefined);
  expect(results.map(({ what }) => what)).toEqual([
    "2 small files",
    "5 small files",
    "one file of 5000001 bytes",
  ]);
  for (const { idle, peak, what } of results) expect(peak, what).toBeGreaterThanOrEqual(idle);
});

onMedia(`a card that is put in again is measured by what is read of it ${needs}`, async () => {
  const wish = { card, cardBytesPerSecond: 50e6, driveBytes, realCardBytes: 66e6, statusCalls: 1 };
  const result = await survey(cli, wish, () => undefined);
  expect(result.files).toBe(8);
  expect(result.firstByte).toBeLessThanOrEqual(result.copied);
  // Both ends of each file are compared, so those were read, and what lies between them was not.
  expect(result.againBytes).toBeGreaterThan(6 * 50_000);
  expect(result.againBytes).toBeLessThan(4_300_000);
});

test("what asking for many frames costs is measured, call by call", async () => {
  const said: string[] = [];
  const result = await frames({ frames: 60, calls: 2 }, (line) => said.push(line));
  expect(Object.keys(result)).toContain("500 from the middle");
  expect(said).toHaveLength(Object.keys(result).length);
  for (const { usual, longest } of Object.values(result)) expect(longest).toBeGreaterThanOrEqual(usual);
});

test.skipIf(!canUseBrowser)(
  "the page is measured screen by screen, and while it scrolls (needs chromium)",
  async () => {
    const said: string[] = [];
    const { screens, scrolls } = await page(cli, { frames: 2_000, scroll: 500 }, (line) => said.push(line));
    expect(screens.map(({ screen }) => screen)).toContain("Frames");
    for (const { screen, firstContent } of screens) expect(firstContent, screen).toBeGreaterThan(0);
    for (const { speed, drawnPerSecond, nodes } of scrolls) {
      expect(drawnPerSecond, speed).toBeGreaterThan(0);
      // 2,000 tiles would be 10,000 elements: only what is near is there.
      expect(nodes, speed).toBeLessThan(2_000);
    }
    expect(said.join("\n")).toMatch(/^Frames: first paint \d+ ms \([\d.]+ times\), its content \d+ ms/m);
  },
);
