/**
 * A drive that is pulled while it is written: what stands under a final name is whole, the other drive gets
 * everything, nothing lands in the mount point that is left on the computer's own disk, and when the drive is back it
 * is caught up.
 */

import { execFileSync } from "node:child_process";
import { existsSync, readdirSync, readFileSync, readlinkSync, renameSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { Computer, filed, plainCard, until } from "../support/computer.ts";
import { filesBelow, sha256Below, xxhsumAgrees } from "../support/generalTools.ts";
import {
  canUseLoopVolumes,
  type LoopVolume,
  type VolumeWish,
  whyNoLoopVolumes,
} from "../support/loopVolume.ts";
import { pull, putBack } from "../support/pull.ts";

const needs = `(${whyNoLoopVolumes})`;
const onMedia = test.skipIf(!canUseLoopVolumes());
const files = 60;

let computer: Computer;
afterEach(async () => computer.end());

function tripOf(drive: string): ReadonlyMap<string, string> {
  const sums = new Map(sha256Below(computer.trip(drive)));
  sums.delete("checksums.xxh64");
  return sums;
}

/** Blue and Slate take part, a card is in, and Slate holds a few of its files. */
async function inTheMiddle(
  slateFs: VolumeWish["fs"],
): Promise<{ slate: LoopVolume; onCard: readonly string[] }> {
  computer = new Computer();
  computer.volume("Blue", "ext4", 160_000_000);
  const slate = computer.volume("Slate", slateFs, 160_000_000);
  await computer.start();
  await computer.introduce("Blue", "Slate");
  const card = computer.card(128_000_000, (folder) =>
    plainCard(folder, { seed: 7, files, bytesEach: 1_500_000 }),
  );
  card.mount(computer.at("CARD"));
  const onCard = [...sha256Below(card.at).values()].sort();
  await until("Slate holds some files", () => filed(computer.trip("Slate")).length >= 3);
  return { slate, onCard };
}

/** Blue has the whole card, Slate is missing and said so. */
async function slateIsMissed(onCard: readonly string[]): Promise<void> {
  expect(await computer.settled()).toBe(1);
  // Outside sources: sha256sum of card and drive, xxhsum.
  expect([...tripOf("Blue").values()].sort()).toEqual(onCard);
  expect(xxhsumAgrees(computer.trip("Blue"))).toBe(files);
  const { drives, alerts } = await computer.status();
  const [blue, slate] = drives;
  expect(blue).toMatchObject({ name: "Blue", present: true, owed: { files: 0 } });
  expect(slate).toMatchObject({ name: "Slate", present: false });
  expect(slate?.owed.files).toBeGreaterThan(0);
  expect(alerts.map((alert) => alert.code)).toEqual(["drive-missing"]);
  expect(alerts[0]?.happened).toMatch(/^Slate is not plugged in\. It owes \d+ files/);
  expect((await computer.cardStatus()).clear).toBe(false);
}

/** Slate is back: everything is on it, and the card is clear. */
async function slateIsCaughtUp(): Promise<void> {
  expect(await computer.settled()).toBe(0);
  expect(await computer.exits()).toEqual({ wait: 0, status: 0, cards: 0 });
  expect((await computer.status()).alerts).toEqual([]);
  expect((await computer.cardStatus()).clear).toBe(true);
  expect(tripOf("Slate")).toEqual(tripOf("Blue"));
  expect(xxhsumAgrees(computer.trip("Slate"))).toBe(files);
  expect(filesBelow(join(computer.at("Slate"), ".scrubjay/incoming"))).toEqual([]);
}

onMedia(
  `a drive is unmounted under the copying: nothing lands in its empty mount point ${needs}`,
  async () => {
    const { slate, onCard } = await inTheMiddle("ext4");
    pull(slate);
    const before = new Set(filed(computer.trip("Blue")));
    expect(before.size, "pulled in the middle").toBeLessThan(files);
    await slateIsMissed(onCard);
    expect(readdirSync(slate.at), "the mount point, on the computer's own disk").toEqual([]);

    // What had its final name is whole, and isn't written again.
    putBack(slate);
    const inodes = new Map(filed(computer.trip("Slate")).map((path) => [path, inodeOf(path)]));
    await slateIsCaughtUp();
    expect(inodes.size).toBeGreaterThanOrEqual(3);
    for (const [path, inode] of inodes) expect(inodeOf(path), path).toBe(inode);
  },
);

onMedia(
  `a drive fails under the copying and its folder goes: the other drive gets all ${needs}`,
  async () => {
    const { slate, onCard } = await inTheMiddle("exfat");
    // Without its helper every call on a FUSE file system fails with ENOTCONN (fuse(4)), open files included.
    process.kill(helperOf(slate), "SIGKILL");
    const before = filed(computer.trip("Blue"));
    expect(before.length, "pulled in the middle").toBeLessThan(files);
    pull(slate);
    renameSync(slate.at, join(computer.aside, "Slate"));
    await slateIsMissed(onCard);
    expect(existsSync(slate.at)).toBe(false);
    expect(readdirSync(join(computer.aside, "Slate"))).toEqual([]);

    slate.unmount();
    slate.mount();
    await slateIsCaughtUp();
  },
);

function inodeOf(path: string): string {
  return execFileSync("stat", ["-c", "%i %Y", path], { encoding: "utf8" });
}

/** The process that serves this file system, started by its mount: it alone has the loop device open. */
function helperOf(volume: LoopVolume): number {
  const found = readdirSync("/proc").filter((pid) => /^\d+$/.test(pid) && serves(pid, volume.device));
  const [only] = found;
  if (only === undefined || found.length !== 1)
    throw new Error(`${found.length} processes serve ${volume.at}`);
  return Number(only);
}

function serves(pid: string, device: string): boolean {
  try {
    if (!readFileSync(`/proc/${pid}/cmdline`, "utf8").split("\0").includes(device)) return false;
    return readdirSync(`/proc/${pid}/fd`).some((fd) => readlinkSync(`/proc/${pid}/fd/${fd}`) === device);
  } catch {
    return false; // It ended meanwhile.
  }
}
