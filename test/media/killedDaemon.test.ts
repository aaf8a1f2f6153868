/**
 * The power goes: the daemon is killed at random moments in the middle of copying, three times over, and started again.
 * At the end everything is there, and what was verified before was never written a second time.
 */

import { statSync } from "node:fs";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { afterEach, expect, test } from "vitest";
import { seeded } from "../cards/generate/random.ts";
import { Computer, filed, plainCard, until } from "../support/computer.ts";
import { filesBelow, sha256Below, xxhsumAgrees } from "../support/generalTools.ts";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";

const needs = `(${whyNoLoopVolumes})`;
const onMedia = test.skipIf(!canUseLoopVolumes());
const files = 100;
const drives = ["Blue", "Slate"];

let computer: Computer;
afterEach(async () => computer.end());

/** What tells a file from one that was written again. */
interface Stand {
  readonly inode: bigint;
  readonly modified: bigint;
  /** Undefined while the file still has its name in `incoming/` too: removing that one changes this time. */
  readonly changed: bigint | undefined;
}

function standing(): ReadonlyMap<string, Stand> {
  const paths = drives.flatMap((drive) => filed(computer.trip(drive)));
  return new Map(
    paths.map((path) => {
      const { ino, mtimeNs, ctimeNs, nlink } = statSync(path, { bigint: true });
      return [path, { inode: ino, modified: mtimeNs, changed: nlink === 1n ? ctimeNs : undefined }];
    }),
  );
}

onMedia(
  `the daemon is killed three times in the middle: it carries on, and verified files aren't written again ${needs}`,
  async () => {
    // SCRUBJAY_SEED=N repeats a run, as far as the machine keeps time.
    const seed = Number(process.env["SCRUBJAY_SEED"] ?? Date.now() % 1_000_000);
    console.log(`killed daemon: SCRUBJAY_SEED=${seed}`);
    const random = seeded(seed);

    computer = new Computer();
    for (const drive of drives) computer.volume(drive, "ext4", 160_000_000);
    await computer.start();
    await computer.introduce(...drives);
    const card = computer.card(160_000_000, (folder) =>
      plainCard(folder, { seed: 8, files, bytesEach: 1_000_000 }),
    );
    card.mount(computer.at("CARD"));
    const onCard = [...sha256Below(card.at).values()].sort();

    let before: ReadonlyMap<string, Stand> = new Map();
    for (let nth = 1; nth <= 3; nth += 1) {
      const enough = standing().size + Math.floor(random() * 24);
      await until("some more files stand on the drives", () => standing().size >= enough);
      await sleep(random() * 40);
      await computer.kill();
      const now = standing();
      for (const [path, stand] of before) sameFile(path, stand, now.get(path));
      before = now;
      await computer.start();
    }
    expect(before.size, "killed in the middle").toBeLessThan(2 * files);
    expect(await computer.settled()).toBe(0);

    const after = standing();
    for (const [path, stand] of before) sameFile(path, stand, after.get(path));
    expect(await computer.exits()).toEqual({ wait: 0, status: 0, cards: 0 });
    const [blue, slate] = drives.map((drive) => new Map(sha256Below(computer.trip(drive))));
    for (const tree of [blue, slate]) tree?.delete("checksums.xxh64");
    // Outside sources: sha256sum of card and drives, xxhsum.
    expect(blue).toEqual(slate);
    expect([...(blue?.values() ?? [])].sort()).toEqual(onCard);
    for (const drive of drives) {
      expect(xxhsumAgrees(computer.trip(drive)), drive).toBe(files);
      expect(filesBelow(join(computer.at(drive), ".scrubjay/incoming"))).toEqual([]);
    }
  },
  120_000,
);

function sameFile(path: string, before: Stand, after: Stand | undefined): void {
  expect(after?.inode, path).toBe(before.inode);
  expect(after?.modified, path).toBe(before.modified);
  if (before.changed !== undefined) expect(after?.changed, path).toBe(before.changed);
}
