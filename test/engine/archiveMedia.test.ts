/** Archives on real file systems: one that has no hard links and no reading past its cache, one that fills up, another disk. */

import { execFileSync } from "node:child_process";
import { existsSync, mkdirSync, readdirSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, describe, expect, test } from "vitest";
import { retireDrive } from "../../daemon/engine/homecoming/retire.ts";
import {
  canUseLoopVolumes,
  type LoopVolume,
  makeVolume,
  type VolumeWish,
  whyNoLoopVolumes,
} from "../support/loopVolume.ts";
import { comeHome, homeBench, inArchive } from "./homeBench.ts";
import { cardOf, evening, filedAs } from "./pictures.ts";

const pictures = (...numbers: readonly number[]) =>
  Object.fromEntries(numbers.map((nth) => [filedAs(nth), `picture ${nth}`]));

const volumes: LoopVolume[] = [];
afterEach(() => {
  for (const volume of volumes.splice(0)) volume.remove();
});
function mount(at: string, fs: VolumeWish["fs"], sizeBytes = 12_000_000): LoopVolume {
  const volume = makeVolume({ fs, sizeBytes, label: "HOME", at });
  volumes.push(volume);
  return volume;
}

const onLoop = canUseLoopVolumes();
describe.skipIf(!onLoop)(`on loop devices (${onLoop ? "here" : whyNoLoopVolumes})`, () => {
  test("exFAT through FUSE: nothing is replaced, and the receipt says that a cache may have answered", async () => {
    const { bench, archive } = await homeBench(["Blue"]);
    await evening(bench, "ONE", [1, 2]);
    mount(archive, "exfat");
    mkdirSync(join(archive, "2027/Kestrel Cliffs/2027-06-05"), { recursive: true });
    writeFileSync(join(archive, "2027/Kestrel Cliffs", filedAs(1)), "somebody's");
    const receipt = await comeHome(bench);
    expect(receipt.complete).toBe(true);
    expect(receipt.targets[0]).toMatchObject({ done: true, readBack: "cache" });
    expect(receipt.targets[0]?.how).toContain("perhaps from a cache");
    expect(inArchive(archive)).toEqual({
      [filedAs(1)]: "somebody's",
      [filedAs(1).replace(".PNG", "-2.PNG")]: "picture 1",
      ...pictures(2),
    });
    expect((await comeHome(bench)).targets[0]).toMatchObject({ copied: { files: 0 }, there: { files: 2 } });
  });

  test("a card that counts on an archive read back perhaps from a cache says so", async () => {
    const { bench, archive } = await homeBench(["Blue"]);
    await evening(bench, "ONE", [1]);
    mount(archive, "exfat");
    await comeHome(bench);
    await bench.engine.between(() => retireDrive(bench.engine, "Blue"));
    const { clear, verdict } = cardOf(bench, "ONE");
    expect([clear, verdict]).toEqual([
      true,
      `Card 1 may be formatted. Its one file is verified in the archive ${archive}. In the archive ${archive} they were read back perhaps from a cache, not from the medium.`,
    ]);
  });

  test("a name that the archive's file system can't hold costs that file alone, and is said with it", async () => {
    const { bench, archive } = await homeBench(["Blue"]);
    await evening(bench, "ONE", [1, 2]);
    const notes = join(bench.practice, "Blue/Kestrel Cliffs/Notes");
    mkdirSync(join(notes, "why?"), { recursive: true });
    for (const name of ["10:15.txt", "10.20.txt", "why?/1.txt"]) writeFileSync(join(notes, name), name);
    mount(archive, "exfat");
    const receipt = await comeHome(bench);
    expect(inArchive(archive)).toEqual({ ...pictures(1, 2), "Notes/10.20.txt": "10.20.txt" });
    expect(receipt).toMatchObject({ complete: false, stopped: "", found: { files: 2, edits: 1 } });
    expect(receipt.targets[0]).toMatchObject({
      done: false,
      why: `${archive} can't take Notes/10:15.txt: its file system can't hold the name. So it is with 1 other file. Give it another name on the drives, then bring it home again.`,
    });
    expect(receipt.missing.map(({ path }) => path).sort()).toEqual(["Notes/10:15.txt", "Notes/why?/1.txt"]);
    expect(receipt.drives[0]?.mayBeReused).toBe(false);
    renameSync(join(notes, "10:15.txt"), join(notes, "10.15.txt"));
    renameSync(join(notes, "why?"), join(notes, "why"));
    expect((await comeHome(bench)).complete).toBe(true);
    expect(readdirSync(join(archive, ".scrubjay/incoming"))).toEqual([]);
  });

  test("ext4 is read back past the cache; the disk unmounted, nothing is written to its mount point; another disk is refused", async () => {
    const { bench, archive } = await homeBench(["Blue"]);
    await evening(bench, "ONE", [1]);
    const disk = mount(archive, "ext4");
    expect((await comeHome(bench)).targets[0]).toMatchObject({ done: true, readBack: "direct" });
    disk.unmount();
    await expect(comeHome(bench)).rejects.toThrow("was an archive before and isn't one now");
    expect(readdirSync(archive)).toEqual([]);
    const copy = mount(join(bench.folder, "copy"), "ext4");
    disk.mount();
    execFileSync("cp", ["-a", `${archive}/.`, copy.at]);
    disk.unmount();
    copy.unmount();
    copy.mount(archive);
    await expect(comeHome(bench)).rejects.toThrow("is on another file system than the archive was");
    copy.unmount();
    disk.mount();
    expect((await comeHome(bench)).complete).toBe(true);
  });

  test("an archive that fills up takes whole files only and says so; the other one gets all", async () => {
    const { bench, archive, shelf } = await homeBench(["Blue"], undefined, true);
    const large = new Uint8Array(1_500_000).map((_, nth) => nth % 251);
    const card = [1, 2, 3, 4].map(
      (nth) => [`DCIM/100ABCDE/ABCD000${nth}.PNG`, Buffer.concat([Buffer.from([nth]), large])] as const,
    );
    await evening(bench, "ONE", Object.fromEntries(card));
    mount(shelf, "ext4", 6_000_000);
    const receipt = await comeHome(bench);
    expect(Object.keys(inArchive(archive))).toHaveLength(4);
    expect(receipt.targets.map(({ done }) => done)).toEqual([true, false]);
    expect(receipt.targets[1]?.why).toContain("is full. What was brought there stays.");
    expect([receipt.complete, receipt.missingTotal]).toEqual([false, 0]);
    for (const [path, content] of Object.entries(inArchive(shelf)))
      expect([path, content]).toEqual([path, inArchive(archive)[path]]);
    expect(receipt.drives[0]?.mayBeReused).toBe(false);
  });
});

test.skipIf(!existsSync("/dev/shm"))(
  "a file system in memory knows no reading past the cache: it goes on and says so",
  async () => {
    const { bench } = await homeBench(["Blue"]);
    await evening(bench, "ONE", [1]);
    const folder = `/dev/shm/scrubjay-archive-${process.pid}`;
    mkdirSync(folder);
    try {
      const receipt = await comeHome(bench, { to: folder });
      expect(receipt.targets[0]).toMatchObject({ done: true, readBack: "cache" });
      expect(inArchive(folder)).toEqual(pictures(1));
    } finally {
      rmSync(folder, { recursive: true });
    }
  },
);
