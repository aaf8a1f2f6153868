/** Folders as volumes: putting in and pulling out is making and moving a folder. */

import { execFile, spawnSync } from "node:child_process";
import {
  lstatSync,
  mkdirSync,
  mkdtempSync,
  realpathSync,
  renameSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { promisify } from "node:util";
import { afterEach, beforeEach, expect, test } from "vitest";
import { NodeFiles } from "../../daemon/platform/common/nodeFiles.ts";
import { PracticeVolumes } from "../../daemon/platform/practice/practiceVolumes.ts";
import { absolutePath } from "../../shared/identity.ts";
import { canUseLoopVolumes, makeVolume, whyNoLoopVolumes } from "../support/loopVolume.ts";

let scratch = "";
let practice = "";
let volumes: PracticeVolumes;
beforeEach(() => {
  scratch = realpathSync(mkdtempSync(join(tmpdir(), "scrubjay-practice-")));
  practice = join(scratch, "practice");
  mkdirSync(practice);
  volumes = new PracticeVolumes(absolutePath(practice), new NodeFiles());
});
afterEach(() => rmSync(scratch, { recursive: true, force: true }));

const put = (name: string): void => mkdirSync(join(practice, name));

test("every folder is a volume with its name as label; files, links and hidden folders are none", async () => {
  put("CARD");
  put("Blue");
  put(".hidden");
  writeFileSync(join(practice, "note.txt"), "");
  symlinkSync(scratch, join(practice, "link"));
  const found = await volumes.look();
  expect(found.map((volume) => volume.label)).toEqual(["Blue", "CARD"]);
  expect(found.map((volume) => volume.root)).toEqual([join(practice, "Blue"), join(practice, "CARD")]);
  expect(new Set(found.map((volume) => volume.fsId)).size).toBe(2);
  expect(found.every((volume) => volume.totalBytes > 0)).toBe(true);
});

test("a volume that stays is the same one at every look", async () => {
  put("CARD");
  const first = await volumes.look();
  put("Blue");
  writeFileSync(join(practice, "CARD/file"), "content");
  expect((await volumes.look()).find((volume) => volume.label === "CARD")).toEqual(first[0]);
});

test("moved away it is gone; put in again it is another volume with the same file system", async () => {
  put("CARD");
  const [before] = await volumes.look();
  renameSync(join(practice, "CARD"), join(scratch, "drawer"));
  expect(await volumes.look()).toEqual([]);
  renameSync(join(scratch, "drawer"), join(practice, "CARD"));
  const [after] = await volumes.look();
  expect(after?.id).not.toBe(before?.id);
  expect(after?.fsId).toBe(before?.fsId);
});

test("another folder by the same name is another volume with another file system", async () => {
  put("CARD");
  const [before] = await volumes.look();
  rmSync(join(practice, "CARD"), { recursive: true });
  put("CARD");
  const [after] = await volumes.look();
  expect(after?.id).not.toBe(before?.id);
  expect(after?.fsId).not.toBe(before?.fsId);
});

test("a folder that comes gives a hint, and one moved away and back between two looks is another volume", async () => {
  const stop = new AbortController();
  let hints = 0;
  const hinted = async (): Promise<void> => {
    const before = hints;
    while (hints === before) await new Promise((resolve) => setTimeout(resolve, 20));
  };
  await volumes.watch(() => {
    hints += 1;
  }, stop.signal);
  try {
    const coming = hinted();
    put("CARD");
    await coming;
    const [before] = await volumes.look();
    const leaving = hinted();
    renameSync(join(practice, "CARD"), join(scratch, "drawer"));
    await leaving;
    const back = hinted();
    renameSync(join(scratch, "drawer"), join(practice, "CARD"));
    await back;
    const [after] = await volumes.look();
    expect(after?.label).toBe("CARD");
    expect(after?.id).not.toBe(before?.id);
  } finally {
    stop.abort();
  }
});

test("without the practice folder there are no volumes", async () => {
  rmSync(practice, { recursive: true });
  expect(await volumes.look()).toEqual([]);
});

test("looks at the same time agree about a folder that just appeared", async () => {
  put("CARD");
  const [first, second] = await Promise.all([volumes.look(), volumes.look()]);
  expect(first).toEqual(second);
});

test.skipIf(!canUseLoopVolumes())(
  `a file system that is mounted while someone looks is never taken for the folder below it (${whyNoLoopVolumes})`,
  async () => {
    put("CARD");
    const at = join(practice, "CARD");
    const bare = lstatSync(at).dev;
    const medium = makeVolume({ fs: "ext4", sizeBytes: 4_000_000, label: "ALDINE", at });
    try {
      for (let round = 0; round < 20; round += 1) {
        spawnSync("umount", [at]);
        // A fresh one each time, as nothing that was seen before counts then.
        const eyes = new PracticeVolumes(absolutePath(practice), new NodeFiles());
        const mounting = promisify(execFile)("mount", [medium.device, at]);
        let seen = await eyes.look();
        while (lstatSync(at).dev === bare) seen = await eyes.look();
        await mounting;
        seen = await eyes.look();
        expect(seen[0]?.fsId).toMatch(/^[0-9a-f]{8}-/); // blkid's form of an ext4 file system's UUID.
      }
    } finally {
      medium.remove();
    }
  },
);

test.skipIf(!canUseLoopVolumes())(
  `a file system mounted on a folder is a volume of its own, known by its UUID (${whyNoLoopVolumes})`,
  async () => {
    put("CARD");
    const [folder] = await volumes.look();
    const medium = makeVolume({
      fs: "exfat",
      sizeBytes: 8_000_000,
      label: "ALDINE",
      at: join(practice, "CARD"),
    });
    try {
      const [mounted] = await volumes.look();
      expect(mounted?.id).not.toBe(folder?.id);
      expect(mounted?.label).toBe("CARD");
      expect(mounted?.fsId).toMatch(/^[0-9A-F]{4}-[0-9A-F]{4}$/); // blkid's form of an exFAT volume serial number.
      expect(mounted?.totalBytes).toBeLessThan(9_000_000);
      medium.unmount();
      const [bare] = await volumes.look();
      expect(bare?.fsId).toBe(folder?.fsId);
      medium.mount();
      const [again] = await volumes.look();
      expect(again?.fsId).toBe(mounted?.fsId);
      expect(again?.id).not.toBe(mounted?.id);
    } finally {
      medium.remove();
    }
  },
);
