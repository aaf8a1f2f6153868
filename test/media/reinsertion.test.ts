/**
 * A full card that is known comes again: it has its verdict after a hundredth of its bytes was read, and the drives are
 * told that it was there and nothing else. The kernel's own counts of the devices are the judge.
 *
 * The card is on ext4, where a read past the cache reads what it asks for, as with the kernel's file systems for cards;
 * exFAT through FUSE reads a multiple ahead, whoever asks. Of what is read, about 1 MB doesn't depend on the card: blkid
 * looks for the marks of every file system it knows.
 */

import { execFileSync } from "node:child_process";
import { readFileSync, statSync, writeFileSync } from "node:fs";
import { basename, join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { Computer, filed } from "../support/computer.ts";
import { filesBelow, sha256Below } from "../support/generalTools.ts";
import { largeCard } from "../support/largeFrames.ts";
import { canUseLoopVolumes, type LoopVolume, whyNoLoopVolumes } from "../support/loopVolume.ts";

const needs = `(${whyNoLoopVolumes})`;
const onMedia = test.skipIf(!canUseLoopVolumes());
/** Everything is written at once, so that no kernel thread goes on writing behind the count. */
const mkfs = ["-m", "0", "-E", "lazy_itable_init=0,lazy_journal_init=0"];

let computer: Computer;
afterEach(async () => computer.end());

/** Sectors of 512 bytes, read and written since the device is there: block/stat in the kernel's documentation. */
function moved({ device }: LoopVolume): { readonly read: number; readonly written: number } {
  execFileSync("sync");
  const fields = readFileSync(join("/sys/block", basename(device), "stat"), "utf8")
    .trim()
    .split(/\s+/);
  return { read: Number(fields[2]) * 512, written: Number(fields[6]) * 512 };
}

/** Path, inode, time and size of everything on a drive but its journals, which may grow. */
function standing(drive: string): readonly string[] {
  const root = computer.at(drive);
  return filesBelow(root)
    .filter((path) => !path.endsWith("/journal.jsonl"))
    .map((path) => {
      const { ino, mtimeNs, ctimeNs, size } = statSync(join(root, path), { bigint: true });
      return `${path} ${ino} ${mtimeNs} ${ctimeNs} ${size}`;
    });
}

onMedia(
  `a full card that is known has its verdict after less than a hundredth of it was read ${needs}`,
  async () => {
    computer = new Computer();
    const drives = ["Blue", "Slate"].map((name) => computer.volume(name, "ext4", 500_000_000, { mkfs }));
    await computer.start();
    await computer.introduce("Blue", "Slate");
    const at = join(computer.aside, "CARD");
    const card = computer.volume("CARD", "ext4", 480_000_000, { at, mkfs, options: "noatime" });
    const cardBytes = largeCard(at, { seed: 4, raws: 12, films: 2 });
    expect(cardBytes).toBeGreaterThan(300_000_000);
    card.unmount();

    card.mount(computer.at("CARD"));
    const before = moved(card).read;
    expect(await computer.settled()).toBe(0);
    expect(moved(card).read - before, "the first time, the device counts every byte").toBeGreaterThan(
      cardBytes,
    );
    expect((await computer.cardStatus()).clear).toBe(true);
    card.unmount();
    await computer.settled();
    expect((await computer.cardStatus()).present).toBe(false);

    const stood = { Blue: standing("Blue"), Slate: standing("Slate") };
    expect(filed(computer.trip("Blue"))).toHaveLength(14);
    execFileSync("sync");
    // Nothing of card or drives is in memory any more (kernel documentation, sysctl/vm, drop_caches).
    writeFileSync("/proc/sys/vm/drop_caches", "3");
    card.mount(computer.at("CARD"));
    const [cardBefore, ...drivesBefore] = [card, ...drives].map(moved);
    expect(await computer.settled()).toBe(0);
    expect(await computer.exits()).toEqual({ wait: 0, status: 0, cards: 0 });
    expect(await computer.cardStatus()).toMatchObject({ present: true, clear: true, lacking: [] });

    const read = moved(card).read - (cardBefore?.read ?? 0);
    console.log(
      `put in again: ${read} of ${cardBytes} bytes read, ${((read / cardBytes) * 100).toFixed(2)} %`,
    );
    expect(read).toBeLessThan(cardBytes / 100);
    // Both ends of each file were looked at, so the verdict isn't a mere memory of the card.
    expect(read).toBeGreaterThan(14 * 2 * 4096);
    for (const [index, drive] of drives.entries()) {
      const written = moved(drive).written - (drivesBefore[index]?.written ?? 0);
      expect(written, drive.at).toBeLessThan(cardBytes / 100);
    }
    expect({ Blue: standing("Blue"), Slate: standing("Slate") }).toEqual(stood);

    // Outside source: sha256sum, of the card and of what the drives hold.
    const onCard = [...sha256Below(card.at).values()].sort();
    for (const drive of ["Blue", "Slate"]) {
      const held = [...sha256Below(computer.trip(drive))].filter(([path]) => path !== "checksums.xxh64");
      expect(held.map(([, sum]) => sum).sort(), drive).toEqual(onCard);
    }
  },
  120_000,
);
