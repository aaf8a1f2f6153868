/**
 * A drive on which the card doesn't fit, by a real file system's own account: it takes what fits, whole, and the other
 * drive takes everything.
 */

import { execFileSync } from "node:child_process";
import { statfsSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { Computer, filed, plainCard, until } from "../support/computer.ts";
import { filesBelow, sha256Below, xxhsumAgrees } from "../support/generalTools.ts";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";

const needs = `(${whyNoLoopVolumes})`;
const onMedia = test.skipIf(!canUseLoopVolumes());

let computer: Computer;
afterEach(async () => computer.end());

/** Blue is large; Slate is smaller than the card, or so large that it would take it. */
async function begin(slateBytes: number): Promise<ReadonlyMap<string, string>> {
  computer = new Computer();
  computer.volume("Blue", "ext4", 200_000_000);
  computer.volume("Slate", "ext4", slateBytes);
  await computer.start();
  await computer.introduce("Blue", "Slate");
  const card = computer.card(128_000_000, (folder) =>
    plainCard(folder, { seed: 5, files: 60, bytesEach: 1_500_000 }),
  );
  card.mount(computer.at("CARD"));
  return sha256Below(card.at);
}

/** Blue has the whole card, Slate a part, each file of it right; the rest is owed, said and not clear. */
async function onlyTheRestIsOwed(onCard: ReadonlyMap<string, string>): Promise<void> {
  expect(await computer.exits()).toEqual({ wait: 1, status: 1, cards: 1 });
  const blue = new Map(sha256Below(computer.trip("Blue")));
  blue.delete("checksums.xxh64");
  // Outside sources: sha256sum of card and drives; xxhsum.
  expect([...blue.values()].sort()).toEqual([...onCard.values()].sort());
  expect(xxhsumAgrees(computer.trip("Blue"))).toBe(60);

  const slate = new Map(sha256Below(computer.trip("Slate")));
  slate.delete("checksums.xxh64");
  expect(slate.size).toBeGreaterThan(0);
  expect(slate.size).toBeLessThan(60);
  for (const [path, sum] of slate) expect(sum, path).toBe(blue.get(path));
  expect(xxhsumAgrees(computer.trip("Slate"))).toBe(slate.size);
  expect(filesBelow(join(computer.at("Slate"), ".scrubjay/incoming"))).toEqual([]);

  const { drives, alerts } = await computer.status();
  const shares = drives.map(({ name, owed, holds }) => [name, holds.files, owed.files]);
  expect(shares).toEqual([
    ["Blue", 60, 0],
    ["Slate", slate.size, 60 - slate.size],
  ]);
  expect(alerts.map((alert) => alert.code)).toEqual(["drive-full"]);
  const [full] = alerts;
  expect(full?.happened).toBe(`Slate is full. ${60 - slate.size} files didn't fit.`);
  expect(full?.safe).toBe("Nothing on it was changed. Blue took them.");
  expect(full?.next).toMatch(/^Free \d+(\.\d+)? MB on Slate, or use a larger drive;/);
  const card = await computer.cardStatus();
  expect({ clear: card.clear, lacking: card.lackingTotal }).toEqual({
    clear: false,
    lacking: 60 - slate.size,
  });
}

onMedia(
  `a drive that the card doesn't fit on takes what fits, and the other takes all ${needs}`,
  async () => {
    await onlyTheRestIsOwed(await begin(64_000_000));
  },
);

onMedia(
  `a drive that something else fills in the middle of the copying stops only itself ${needs}`,
  async () => {
    const onCard = await begin(160_000_000);
    await until("Slate holds some files", () => filed(computer.trip("Slate")).length >= 5);
    const other = join(computer.at("Slate"), "somebody else's film.mov");
    // All that is left but a little, at once: what comes now meets the end of the file system, not the plan's reserve.
    const { bavail, bsize } = statfsSync(computer.at("Slate"));
    execFileSync("fallocate", ["-l", String(bavail * bsize - 15_000_000), other]);
    await onlyTheRestIsOwed(onCard);
  },
);
