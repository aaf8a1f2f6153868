/** The demo's own check and screen: a check that can't fail would prove nothing. */

import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import type { StatusJson, WorkJson } from "../../shared/api.ts";
import { missingFrom, sumsOf } from "./independentCheck.ts";
import { progressLine, readBackWords, table } from "./screen.ts";

test("the independent check finds a changed byte, a missing file and a content wanted twice", async () => {
  const place = mkdtempSync(join(tmpdir(), "scrubjay-check-"));
  const put = (path: string, content: string): void => {
    mkdirSync(join(place, path, ".."), { recursive: true });
    writeFileSync(join(place, path), content);
  };
  put("card/DCIM/a", "abc");
  put("card/b", "abd");
  put("card/c", "abc");
  put("good/2027-06-03/x", "abc");
  put("good/2027-06-03/y", "abd");
  put("good/z", "abc");
  put("bad/x", "abc");
  put("bad/y", "abD");
  const [card, good, bad] = [
    await sumsOf(join(place, "card")),
    await sumsOf(join(place, "good")),
    await sumsOf(join(place, "bad")),
  ];
  rmSync(place, { recursive: true });
  // FIPS 180-4: SHA-256 of "abc".
  expect(card[0]).toMatchObject({
    path: "DCIM/a",
    sha256: "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    bytes: 3,
  });
  expect(missingFrom(good, card)).toEqual([]);
  expect(missingFrom(bad, card).map((file) => file.path)).toEqual(["b", "c"]);
});

test("the line of progress says how much, how fast and how long", () => {
  const work: WorkJson = {
    kind: "copy",
    from: "card 1",
    to: ["Blue", "Slate"],
    doneBytes: 100_000_000,
    totalBytes: 400_000_000,
    bytesPerSecond: 98_000_000,
    secondsLeft: 3,
  };
  const line = (...all: WorkJson[]): string => progressLine({ work: all } as unknown as StatusJson);
  expect(line(work)).toBe("25 %, 3 s left: 100 MB of 400 MB to Blue and Slate, 98 MB/s");
  expect(line({ ...work, secondsLeft: null, bytesPerSecond: 0, totalBytes: 0, doneBytes: 0 })).toBe(
    "0 %: 0 B of 0 B to Blue and Slate",
  );
  expect(line({ ...work, kind: "survey", from: "card\u001b[2J" })).toBe("looking at card\\u{1b}[2J");
  expect(line()).toBe("");
});

test("how copies were read back is said for each way", () => {
  expect(readBackWords({ direct: 2, remount: 0, cache: 1 })).toBe(
    "2 files past the cache (direct), 1 file perhaps from the cache (cache)",
  );
  expect(readBackWords({ direct: 0, remount: 0, cache: 0 })).toBe("nothing read back yet");
  expect(
    table([
      ["a", "1"],
      ["long", "2"],
    ]),
  ).toBe("  a     1\n  long  2");
});
