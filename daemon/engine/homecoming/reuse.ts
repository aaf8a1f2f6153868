/**
 * Whether a drive may be used for something else: only when nothing of its trip is missing in any archive, the drive is
 * in, everything that lies in its folder of the trip is home, and it holds nothing of a trip that isn't. A drive that is
 * away may have been edited on since, so nothing is said of it but to plug it in.
 */

import type { HomeDriveJson } from "../../../shared/homeApi.ts";
import { type DriveId, nameKey, type OriginalId, type RelativePath } from "../../../shared/identity.ts";
import { printable } from "../../../shared/text.ts";
import { changedName } from "../../core/edits/changedName.ts";
import { leftOut } from "../../core/leaveOut.ts";
import type { KnownTrip } from "../dating.ts";
import type { DriveBay } from "../driveBay.ts";
import type { EnginePorts } from "../ports.ts";
import type { Presence } from "../presence.ts";
import type { Publisher } from "../publisher.ts";
import type { TripBook } from "../tripBook.ts";
import type { ListedFile } from "./listing.ts";
import { contentOf, type Item, type Run } from "./run.ts";
import { listTrip } from "./workFiles.ts";

interface Surroundings {
  readonly presence: Presence;
  readonly bay: DriveBay;
  readonly tripBook: TripBook;
}

/** Every drive that the trip names or that holds something of it, in the trip's order. Keeps what may be reused. */
export async function judgeDrives(
  ports: EnginePorts,
  around: Surroundings,
  run: Run,
): Promise<readonly HomeDriveJson[]> {
  const { ledger } = ports;
  const { trip } = run;
  const named = trip.profile.drives.map(({ name }) => nameKey(name));
  const rank = (name: string): number => {
    const nth = named.indexOf(nameKey(name));
    return nth < 0 ? named.length : nth;
  };
  const drives = ledger
    .drives()
    .filter(
      (drive) =>
        named.includes(nameKey(drive.name)) || ledger.tripsHeld(drive.id).some((held) => held === trip.id),
    )
    .sort((a, b) => rank(a.name) - rank(b.name));
  if (!run.rehearsal) ledger.archives.forgetReusable(trip.id);
  const judged: HomeDriveJson[] = [];
  for (const { id, name } of drives) {
    const present = around.presence.drives.some((drive) => drive.id === id);
    const retired = ledger.archives.isRetired(id, trip.id);
    const why = retired ? "It was retired." : await whyNot(ports, around, run, id, present);
    judged.push({ drive: printable(name), present, mayBeReused: why === "", why, retired });
  }
  return judged;
}

/** As a sentence; "" where it may be reused. */
async function whyNot(
  ports: EnginePorts,
  around: Surroundings,
  run: Run,
  drive: DriveId,
  present: boolean,
): Promise<string> {
  const { ledger } = ports;
  if (run.rehearsal) return "Nothing was brought home yet.";
  if (!run.isComplete) return "Not everything of the trip is home.";
  if (!present) return "Plug it in first: what was edited there since isn't known.";
  const publisher = around.bay.targets.get(drive)?.publisher;
  if (publisher === undefined || !around.bay.isUsable(drive) || !publisher.hasRecord(run.trip.id))
    return "It couldn't be looked at.";
  if (!run.looks.some((look) => look.drive === drive))
    return "It came while the trip was being brought home. Bring it home again, now that it is in.";
  const others = ledger
    .tripsHeld(drive)
    .filter((held) => held !== run.trip.id && !ledger.archives.isHome(held));
  const [other] = others;
  if (other !== undefined) {
    const name = around.tripBook.find(other)?.profile.trip ?? other;
    return `It holds files of ${printable(name)}, which isn't home yet.`;
  }
  let files: readonly ListedFile[] = [];
  const looked = await around.bay.guarded(publisher, async () => {
    files = await listWanted(ports, publisher, run.trip);
  });
  if (!looked) return "It couldn't be looked at.";
  const read = new Map(
    run.looks.find((look) => look.drive === drive)?.works.map((file) => [file.path, file] as const),
  );
  const expected = new Set(run.originals.map(({ id }) => id));
  const stranger = files.find((file) => !isKnown(ports, run, drive, expected, read, file));
  if (stranger !== undefined)
    return `${printable(stranger.path)} was written there while the trip was being brought home. Bring it home once more.`;
  ledger.archives.setReusable(run.trip.id, drive, markOf(ports, files));
  return "";
}

/** An original where it is known to stand, or a work file that looks as it did when it was read. */
function isKnown(
  { ledger }: EnginePorts,
  run: Run,
  drive: DriveId,
  expected: ReadonlySet<OriginalId>,
  read: ReadonlyMap<RelativePath, ListedFile>,
  file: ListedFile,
): boolean {
  const original = ledger.copyAt(drive, run.trip.id, nameKey(file.path));
  // One that came since the homecoming looked isn't home.
  if (original !== undefined) return expected.has(original);
  if (ledger.lossAt(drive, run.trip.id, nameKey(file.path))?.why === "damaged") return true;
  const before = read.get(file.path);
  if (before?.size === file.size && before.modified === file.modified) return true;
  // It came from another drive meanwhile, with that one's time; FAT's clock steps by two seconds.
  return worksNamed(run, file.path).some(
    (item) =>
      item.size === file.size &&
      run.looks.some(({ works }) =>
        works.some(
          (each) => contentOf(each) === contentOf(item) && Math.abs(each.modified - file.modified) <= 2_000,
        ),
      ),
  );
}

function worksNamed(run: Run, path: RelativePath): readonly Item[] {
  const keys = [nameKey(path), nameKey(changedName(path))];
  return run.items.filter((item) => item.work && keys.includes(nameKey(item.path)));
}

/** A digest of what a drive holds of a trip, by names, sizes and times. */
function markOf({ hashing }: EnginePorts, files: readonly ListedFile[]): string {
  const running = hashing.start();
  const encoder = new TextEncoder();
  for (const { path, size, modified } of files)
    running.update(encoder.encode(`${JSON.stringify(path)} ${size} ${modified}\n`));
  return running.digest();
}

/** Whether a drive that is in is as it was when all of it was home. @throws FileFault */
export async function isUntouched(
  ports: EnginePorts,
  publisher: Publisher,
  trip: KnownTrip,
): Promise<boolean> {
  const before = ports.ledger.archives.reusable(trip.id, publisher.drive.id);
  return before !== undefined && before === markOf(ports, await listWanted(ports, publisher, trip));
}

/** What lies in the trip's folder, but for what the profile leaves out. @throws FileFault */
async function listWanted(
  ports: EnginePorts,
  publisher: Publisher,
  { id, profile }: KnownTrip,
): Promise<readonly ListedFile[]> {
  const isLeftOut = leftOut(profile.edits.leaveOut);
  return (await listTrip(ports, publisher, id)).filter(({ path }) => !isLeftOut(path));
}
