/**
 * The evening on real file systems: an exFAT card, ext4 and exFAT drives, the real daemon and command line; judged by
 * general tools that share no code with the project.
 */

import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { type CardOptions, demoCard, generateCard, tinyCard } from "../cards/generate/card.ts";
import { Computer } from "../support/computer.ts";
import { filesBelow, sha256Below, sha256Of, xxhsumAgrees } from "../support/generalTools.ts";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";

const needs = `(${whyNoLoopVolumes})`;
const onMedia = test.skipIf(!canUseLoopVolumes());

let computer: Computer;
afterEach(async () => computer.end());

/** What the drives hold of the trip, without our own list. */
function treeOf(drive: string): ReadonlyMap<string, string> {
  const sums = new Map(sha256Below(computer.trip(drive)));
  sums.delete("checksums.xxh64");
  return sums;
}

/** The whole promise about one card and two ext4 drives. */
async function evening(options: CardOptions, cardBytes: number, driveBytes: number): Promise<void> {
  computer = new Computer();
  computer.volume("Blue", "ext4", driveBytes);
  computer.volume("Slate", "ext4", driveBytes);
  await computer.start();
  await computer.introduce("Blue", "Slate");
  const card = computer.card(cardBytes, (folder) => {
    generateCard(folder, options);
  });

  // What a mount writes by itself is no reading of ours: the image is compared to one that was only mounted.
  card.mount();
  card.unmount();
  const imageBefore = sha256Of(card.image);
  card.mount();
  const onCard = sha256Below(card.at);
  card.unmount();
  expect(sha256Of(card.image), "general tools that only read leave the card as it was").toBe(imageBefore);

  card.mount(computer.at("CARD"));
  expect(await computer.settled()).toBe(0);
  const { verdict, clear, lacking, leavings } = await computer.cardStatus();
  expect({ clear, lacking }, verdict).toEqual({ clear: true, lacking: [] });
  expect(await computer.exits()).toEqual({ wait: 0, status: 0, cards: 0 });

  // Outside source: SHA-256 by Debian's sha256sum, of the card before it was put in and of the drives.
  expect(treeOf("Blue")).toEqual(treeOf("Slate"));
  const left = new Set(leavings.map((leaving) => leaving.path));
  const wanted = [...onCard].filter(([path]) => !left.has(path)).map(([, sum]) => sum);
  for (const drive of ["Blue", "Slate"]) {
    expect([...treeOf(drive).values()].sort(), drive).toEqual(wanted.sort());
    // Outside source: xxhsum, the xxHash project's own command.
    expect(xxhsumAgrees(computer.trip(drive)), drive).toBe(wanted.length);
    expect(filesBelow(join(computer.at(drive), ".scrubjay/incoming"))).toEqual([]);
    // On ext4 a read-back goes past the cache (open(2), O_DIRECT), and says so.
    const { readBack } = await computer.drive(drive);
    expect(readBack).toEqual({ direct: wanted.length, remount: 0, cache: 0 });
  }

  expect(await computer.stop()).toBe(0);
  card.unmount();
  expect(sha256Of(card.image), "the card, byte for byte").toBe(imageBefore);
}

onMedia(
  `a card and two drives: one tree, every byte of the card in it, the card untouched ${needs}`,
  async () => {
    await evening(tinyCard, 64_000_000, 64_000_000);
  },
);

onMedia(
  `an evening's full card of 130 MB: one tree, every byte of the card in it, the card untouched ${needs}`,
  async () => {
    await evening({ ...demoCard, pairsPerBody: 22 }, 250_000_000, 300_000_000);
  },
  180_000,
);

onMedia(
  `an exFAT drive takes part like any other and says that its copies were read back through a cache ${needs}`,
  async () => {
    computer = new Computer();
    computer.volume("Blue", "ext4", 64_000_000);
    const slate = computer.volume("Slate", "exfat", 64_000_000);
    await computer.start();
    await computer.introduce("Blue", "Slate");
    const card = computer.card(64_000_000, (folder) => {
      generateCard(folder, tinyCard);
    });
    card.mount(computer.at("CARD"));
    expect(await computer.settled()).toBe(0);
    expect((await computer.cardStatus()).clear).toBe(true);
    expect((await computer.drive("Blue")).readBack).toEqual({ direct: 20, remount: 0, cache: 0 });
    expect((await computer.drive("Slate")).readBack).toEqual({ direct: 0, remount: 0, cache: 20 });
    const blue = treeOf("Blue");
    expect(blue.size).toBe(20);

    // Outside sources: sha256sum and xxhsum, after the drive was taken out and put in, so from its medium.
    await computer.stop();
    slate.unmount();
    slate.mount();
    expect(treeOf("Slate")).toEqual(blue);
    expect(xxhsumAgrees(computer.trip("Slate"))).toBe(20);
  },
);

onMedia(
  `every file that find sees on the card is counted as a frame's, an extra or left behind ${needs}`,
  async () => {
    computer = new Computer();
    computer.volume("Blue", "ext4", 64_000_000);
    await computer.start();
    await computer.introduce("Blue");
    const card = computer.card(64_000_000, (folder) => {
      generateCard(folder, tinyCard);
    });
    card.mount(computer.at("CARD"));
    await computer.settled();
    const found = filesBelow(card.at); // Outside source: find.
    const { files, frameFiles, extras, leavings } = await computer.cardStatus();
    expect(files).toBe(found.length);
    expect(frameFiles + extras + leavings.length).toBe(found.length);
    // As the generator wrote them (DCF, CIPA DC-009: what stands in a DCF directory under a DCF name is a frame's).
    expect(frameFiles).toBe(
      found.filter((path) => /^DCIM\/\d{3}\w{5}\/\w{4}\d{4}\.\w{3}$/.test(path)).length,
    );
    expect(leavings.map((leaving) => leaving.path)).toEqual([".Trashes/501/scrap.txt"]);
  },
);
