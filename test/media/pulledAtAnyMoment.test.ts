/**
 * A drive is pulled right before each single file operation on it: the first, the second, and so on. Its mount point
 * is then an empty folder on the computer's own disk, and must stay empty. Put in again, the drive is caught up.
 */

import { mkdirSync, readdirSync, utimesSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { introduceDrive } from "../../daemon/engine/introduce.ts";
import { absolutePath } from "../../shared/identity.ts";
import { profileText } from "../cards/generate/card.ts";
import { makeBench } from "../engine/bench.ts";
import { FaultyFiles } from "../engine/faultyFiles.ts";
import { sha256Below, xxhsumAgrees } from "../support/generalTools.ts";
import { canUseLoopVolumes, type LoopVolume, makeVolume, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { firstMoment, momentStep } from "../support/moments.ts";
import { pull, putBack } from "../support/pull.ts";
import { quickPorts } from "../support/quickPorts.ts";

const onMedia = test.skipIf(!canUseLoopVolumes());
/** More than this would mean that the work never ends. */
const runsMost = 300;

onMedia(
  `a drive that is pulled before any one operation: its mount point stays empty, and it is caught up (${whyNoLoopVolumes})`,
  async () => {
    let nth: number = firstMoment;
    while (nth <= runsMost && (await oneRun(nth))) nth += momentStep;
    expect(nth, "a run in which the drive stays in comes at last").toBeLessThanOrEqual(runsMost);
    expect(nth).toBeGreaterThan(20);
    console.log(`pulled before operation ${firstMoment} and each ${momentStep}. after it, of about ${nth}`);
  },
  180_000,
);

/** @returns false where the work ended before the `nth` operation on Slate. */
async function oneRun(nth: number): Promise<boolean> {
  let seen = 0;
  let armed = false;
  let pulledBefore: string | undefined;
  let slate: LoopVolume | undefined;
  const quick = quickPorts();
  const bench = await makeBench((ports) => ({
    ...quick.wrap(ports),
    files: new FaultyFiles(ports.files, {
      before: (operation, path) => {
        if (!armed || !path.startsWith(join(bench.practice, "Slate"))) return;
        seen += 1;
        if (seen !== nth) return;
        if (slate !== undefined) pull(slate);
        pulledBefore = `${operation} ${path.slice(bench.practice.length + 1)}`;
      },
    }),
  }));
  try {
    const at = join(bench.practice, "Slate");
    slate = makeVolume({ fs: "ext4", sizeBytes: 16_000_000, label: "Slate", at });
    mkdirSync(join(bench.practice, "Blue"));
    for (const name of ["Blue", "Slate"]) {
      const mount = absolutePath(join(bench.practice, name));
      await introduceDrive(bench.engine.ports, bench.engine.presence, mount, name);
    }
    bench.trip(profileText({ drives: ["Blue", "Slate"], copies: 2 }));
    armed = true;
    const card = join(bench.practice, "CARD/DCIM/100ALDIN");
    mkdirSync(card, { recursive: true });
    for (const name of ["ALD_0001.PNG", "ALD_0002.PNG"]) {
      writeFileSync(join(card, name), `picture ${name}`);
      utimesSync(join(card, name), new Date("2027-06-05T12:00:00Z"), new Date("2027-06-05T12:00:00Z"));
    }
    await bench.idle();
    const why = `pulled before operation ${nth}: ${pulledBefore}`;
    if (pulledBefore !== undefined) {
      // Outside source: the computer's own disk, where the mount point is a plain folder now.
      expect(readdirSync(at, { recursive: true }), why).toEqual([]);
      putBack(slate);
      quick.passRetryTime();
      await bench.idle();
    }
    const { drives, alerts, cards } = statusJson(bench.engine);
    expect(
      drives.map((drive) => [drive.name, drive.present, drive.owed.files]),
      why,
    ).toEqual([
      ["Blue", true, 0],
      ["Slate", true, 0],
    ]);
    expect({ alerts, clear: cards[0]?.clear }, why).toEqual({ alerts: [], clear: true });
    // Outside sources: sha256sum, xxhsum.
    const sums = [...sha256Below(card).values()].sort();
    for (const name of ["Blue", "Slate"]) {
      const trip = join(bench.practice, name, "Kestrel Cliffs");
      const held = [...sha256Below(trip)].filter(([path]) => path !== "checksums.xxh64");
      expect(held.map(([, sum]) => sum).sort(), why).toEqual(sums);
      expect(xxhsumAgrees(trip), why).toBe(2);
    }
    return pulledBefore !== undefined;
  } finally {
    // Unmounted first, so that removing the bench's folder doesn't reach the drive.
    slate?.remove();
    await bench.end();
  }
}
