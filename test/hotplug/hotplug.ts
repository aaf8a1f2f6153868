/**
 * `npm run test:hotplug`: a Debian laptop under qemu in which the built Scrubjay runs as a service, while drives and card
 * readers are plugged in, torn off and changed over USB. Prints each step as it passes, keeps the board of each in a
 * report, and ends with 0 only if all passed. Where the tools are missing it says so and ends with 0.
 */

import { spawnSync } from "node:child_process";
import { cpSync, mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { bytes } from "../../shared/units.ts";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { Evening } from "./evening.ts";
import { guestFor, whyNotHere } from "./guest.ts";
import { Laptop } from "./laptop.ts";
import { MediaBox } from "./media.ts";
import { Report } from "./report.ts";
import { ejected, powerCut, standsOutside } from "./stepsEnd.ts";
import { folderFlushDecides, onlyFsyncTells } from "./stepsFacts.ts";
import { atRest, comesBack, firstCard } from "./stepsPlain.ts";
import {
  changedInSlot,
  fatCard,
  strangeStick,
  twoPartitions,
  twoReaders,
  writeProtected,
} from "./stepsReaders.ts";
import { catchUpWithoutCard, failingSector, tornCard, tornDrive } from "./stepsTorn.ts";

const driveBytes = bytes(400_000_000);
/** The checkout; this file is built into dist/test/hotplug/. */
const checkout = fileURLToPath(new URL("../../../", import.meta.url));
const built = fileURLToPath(new URL("../../", import.meta.url));

async function main(): Promise<number> {
  const why = whyNotHere() ?? (canUseLoopVolumes() ? undefined : `it ${whyNoLoopVolumes}`);
  if (why !== undefined) {
    console.log(`test:hotplug is skipped: ${why}`);
    return 0;
  }
  const run = mkdtempSync(join(tmpdir(), "scrubjay-hotplug-"));
  process.once("exit", () => rmSync(run, { recursive: true, force: true }));
  const report = new Report(join(mkdtempSync(join(tmpdir(), "scrubjay-report-")), "hotplug.txt"));
  try {
    const guest = guestFor(join(checkout, "test/hotplug/buildGuest.sh"), (line) => report.say(line));
    const laptop = await Laptop.start({
      guest,
      scrubjay: layOut(run),
      modules: join(checkout, "node_modules"),
      run,
    });
    let evening: Evening;
    try {
      evening = await allSteps(laptop, run, report);
    } finally {
      await laptop.end();
    }
    await report.step(
      "6 every file of every card on both drives, seen from outside",
      () => standsOutside(evening),
      async () => "",
    );
  } catch (fault) {
    report.failed += 1;
    report.say(`The evening couldn't go on: ${fault instanceof Error ? fault.message : String(fault)}`);
  }
  return report.end();
}

async function allSteps(laptop: Laptop, run: string, report: Report): Promise<Evening> {
  const folder = join(run, "media");
  mkdirSync(folder);
  const box = new MediaBox(folder);
  const drives = {
    Blue: box.drive("Blue", "ext4", driveBytes),
    Slate: box.drive("Slate", "exfat", driveBytes),
  };
  const evening = new Evening(laptop, box, drives);
  const board = (): Promise<string> => evening.board();
  const only = process.argv.slice(2);
  for (const [name, act] of steps) {
    if (only.length > 0 && !only.some((word) => name.startsWith(word))) continue;
    if (!(await report.step(name, () => act(evening), board)))
      report.write(
        (await laptop.sh("journalctl --no-pager --lines 60 _UID=1000 + _TRANSPORT=kernel + _COMM=udisksd"))
          .out,
      );
  }
  return evening;
}

type Act = (evening: Evening) => Promise<readonly string[]>;

const steps: readonly (readonly [string, Act])[] = [
  ["1 started by systemd, nothing plugged in, at rest", atRest],
  ["1 killed, it comes back by itself", comesBack],
  ["2 two drives made known, a card copied and verified", firstCard],
  ["3 a card with a sector that can't be read", failingSector],
  ["3 a card torn off in mid-copy and put in again", tornCard],
  ["3 a drive torn off in mid-copy and plugged in again", tornDrive],
  ["3 a drive that comes when the card is out", catchUpWithoutCard],
  ["4 a reader first, its card later, then another card", changedInSlot],
  ["4 two readers at once", twoReaders],
  ["4 a stick that is neither card nor drive", strangeStick],
  ["4 a card with FAT32", fatCard],
  ["4 a card with two partitions", twoPartitions],
  ["4 a write-protected card", writeProtected],
  ["5 a card and both drives ejected", ejected],
  ["6 the power goes in mid-copy", powerCut],
  ["fact: only fsync tells that a medium is gone", onlyFsyncTells],
  ["fact: a flush of the folder decides which file survives", folderFlushDecides],
];

/** Lays out what becomes /opt/scrubjay: a copy, since a build in the meantime replaces dist. */
function layOut(run: string): string {
  const folder = join(run, "scrubjay");
  mkdirSync(join(folder, "node_modules"), { recursive: true });
  cpSync(built, join(folder, "dist"), { recursive: true });
  for (const each of ["package.json", "config"])
    cpSync(join(checkout, each), join(folder, each), { recursive: true, dereference: true });
  // The computer's own Node, where the guest finds it.
  spawnSync("cp", [process.execPath, join(folder, "node")]);
  return folder;
}

// A signal ends what was started, as the regular end does.
for (const signal of ["SIGINT", "SIGTERM", "SIGHUP"] as const) process.once(signal, () => process.exit(1));

// At the end: everything above is in place by now.
process.exitCode = await main();
