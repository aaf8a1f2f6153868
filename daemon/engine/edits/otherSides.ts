/**
 * The other side of a conflict is kept on every drive that is in, as long as nobody has said that they know of it: it lost
 * its place, and must not exist once only. What lacks it is worked out each time, so that whatever was broken off is made
 * good, and a drive that comes later gets it too.
 */

import { nameKey, type RelativePath, type TripId } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { reserveOf } from "../../core/plan.ts";
import type { EditVersion } from "../../ports/editLedger.ts";
import type { PresentDrive } from "../presence.ts";
import { readBack } from "../readBack.ts";
import type { Assessment } from "./assess.ts";
import { carry, keepAside } from "./carry.ts";
import { earlierOn, mayBe } from "./history.ts";
import { carryPorts, type MirrorPorts } from "./mirror.ts";
import { freeEarlier, type Look } from "./swap.ts";

/** Where it stands on a drive, below the drive's root. */
interface Kept {
  readonly drive: PresentDrive;
  readonly path: RelativePath;
  readonly look: Look;
}

/** @returns how many were kept anew */
export async function keepOtherSides(
  around: MirrorPorts,
  trip: TripId,
  assessments: readonly Assessment[],
): Promise<number> {
  let kept = 0;
  for (const other of otherSides(around, trip))
    try {
      kept += await keepOne(around, trip, other, assessments);
    } catch (fault) {
      // Tried again at the next look.
      if (!(fault instanceof FileFault)) throw fault;
    }
  return kept;
}

function otherSides({ ports: { ledger } }: MirrorPorts, trip: TripId): readonly EditVersion[] {
  return ledger.edits.conflicts(trip).flatMap(({ after, hash }) =>
    after.flatMap((id) => {
      const version = ledger.edits.version(id);
      return version === undefined || version.hash === "" || version.hash === hash ? [] : [version];
    }),
  );
}

async function keepOne(
  around: MirrorPorts,
  trip: TripId,
  other: EditVersion,
  assessments: readonly Assessment[],
): Promise<number> {
  const { ports, bay } = around;
  const { id, hash, path } = other;
  if (hash === "" || assessments.every(({ watched }) => watched.keeps.has(id))) return 0;
  let source: Kept | undefined;
  const lacking: Assessment[] = [];
  for (const each of assessments) {
    const found = await whereOn(around, trip, other, each);
    source ??= found;
    if (found === undefined) lacking.push(each);
    // What stands in place is moved to the history when it makes room, and is looked for there then.
    else if (each.standing.get(nameKey(path))?.hash !== hash) each.watched.keeps.add(id);
  }
  if (source === undefined || lacking.length === 0) return 0;
  const takers = lacking
    .map(({ watched }) => watched.drive)
    .filter((drive) => bay.isUsable(drive.id) && hasRoom(around, drive, other.size));
  const took = await carry(carryPorts(around), source.drive, source.path, source.look, hash, takers);
  let kept = 0;
  for (const drive of takers) {
    const one = took?.get(drive.id);
    if (one === undefined) continue;
    const earlier = await freeEarlier(ports, drive, trip, path, ports.clock.now());
    await keepAside(ports, drive, one.temp, earlier);
    lacking.find(({ watched }) => watched.drive === drive)?.watched.keeps.add(id);
    kept += 1;
  }
  return kept;
}

/** In its place or in the history, where its bytes prove it. */
async function whereOn(
  { ports, verifyPool }: MirrorPorts,
  trip: TripId,
  { hash, path, size, modified }: EditVersion,
  { watched, standing }: Assessment,
): Promise<Kept | undefined> {
  const { drive, publisher } = watched;
  const here = standing.get(nameKey(path));
  if (here?.hash === hash) return { drive, path: publisher.inside(trip, here.file.at), look: here };
  for (const file of await earlierOn(ports, drive, trip, path)) {
    if (!mayBe(file, { size, modified })) continue;
    const reading = await readBack(ports.files, publisher.absolute(file.path), verifyPool, ports.hashing);
    if (reading.hash === hash) return { drive, path: file.path, look: file };
  }
  return undefined;
}

/** Frames come first: their reserve stays. */
function hasRoom({ ports, bay }: MirrorPorts, drive: PresentDrive, size: number): boolean {
  return bay.freeOf(drive) - reserveOf(drive.traits.totalBytes, ports.limits) >= size;
}
