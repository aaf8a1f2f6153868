/**
 * Earlier versions of work files, as they stand on a drive below `.scrubjay/trips/ID/earlier/`: found, told apart by the
 * time in their names, and thinned out. Only what bears such a name is ever let go.
 */

import { rfc3339 } from "../../../shared/format.ts";
import { folderOf, nameKey, type RelativePath, type TripId, under } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { type Bytes, bytes, type Instant, instant } from "../../../shared/units.ts";
import { thinOut } from "../../core/edits/thinning.ts";
import { earlierFolder } from "../../record/driveLayout.ts";
import type { KnownTrip } from "../dating.ts";
import type { EnginePorts } from "../ports.ts";
import type { PresentDrive } from "../presence.ts";
import type { Watched } from "./watching.ts";

export interface EarlierFile {
  /** Below the drive's root. */
  readonly path: RelativePath;
  /** The work file's, below the trip's folder. */
  readonly work: RelativePath;
  /** When it left its place. */
  readonly left: Instant;
  readonly size: Bytes;
  readonly modified: Instant;
}

const named = /^(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)(?:-\d+)?\.(\d{3})Z(?:-\d+)?(?:\.[^/]*)?$/;

/**
 * @param work only versions of this one, compared by key
 * @throws FileFault
 */
export async function earlierOn(
  { files, limits }: EnginePorts,
  drive: PresentDrive,
  trip: TripId,
  work?: RelativePath,
): Promise<readonly EarlierFile[]> {
  const found: EarlierFile[] = [];
  const root = earlierFolder(trip);
  const enter = async (folder: RelativePath, depth: number): Promise<void> => {
    if (depth > limits.folderDepthMax || drive.gone.aborted) return;
    const entries = await files.list(under(drive.volume.root, folder)).catch((fault: unknown) => {
      if (fault instanceof FileFault && fault.code === "missing") return [];
      throw fault;
    });
    for (const { name, kind } of entries) {
      const path = `${folder}/${name}` as RelativePath;
      if (kind === "folder") {
        const inside = path.slice(root.length + 1);
        const wanted = work === undefined || `${nameKey(work)}/`.startsWith(`${nameKey(inside)}/`);
        if (wanted) await enter(path, depth + 1);
      }
      const moment = named.exec(name);
      if (kind !== "file" || moment === null) continue;
      const of = folderOf(path).slice(root.length + 1) as RelativePath;
      if (work !== undefined && nameKey(of) !== nameKey(work)) continue;
      const { size, modified } = await files.facts(under(drive.volume.root, path));
      found.push({ path, work: of, left: momentOf(moment), size, modified });
    }
  };
  await enter(root, 0);
  return found;
}

function momentOf([, year, month, day, hour, minute, second, thousandths]: RegExpExecArray): Instant {
  return instant(Date.parse(`${year}-${month}-${day}T${hour}:${minute}:${second}.${thousandths}Z`) || 0);
}

/** ms. FAT keeps times in steps of two seconds. */
const timeStep = 2_000;

/** Whether a file may be a version by its looks: its bytes prove it. */
export function mayBe(
  file: { readonly size: Bytes; readonly modified: Instant },
  version: { readonly size: Bytes; readonly modified: Instant },
): boolean {
  return file.size === version.size && Math.abs(file.modified - version.modified) <= timeStep;
}

/** Lets earlier versions go as the profile says. What can't be removed now is let go another time. */
export async function thinHistory(ports: EnginePorts, { drive }: Watched, trip: KnownTrip): Promise<void> {
  const { ledger, files, clock } = ports;
  try {
    const all = await earlierOn(ports, drive, trip.id);
    if (all.length === 0) return;
    const open = new Set(ledger.edits.conflicts(trip.id).map(({ path }) => nameKey(path)));
    const inPlace = new Set(
      ledger.edits
        .heads(trip.id)
        .filter(({ hash }) => hash !== "")
        .map(({ path }) => nameKey(path)),
    );
    const lastOf = new Map<string, EarlierFile>();
    for (const file of all) {
      const last = lastOf.get(nameKey(file.work));
      if (last === undefined || last.left <= file.left) lastOf.set(nameKey(file.work), file);
    }
    const versions = all.map((file) => {
      const key = nameKey(file.work);
      // The last version of what stands nowhere any more stays, and so does every one while two are in conflict.
      const keep = open.has(key) || (!inPlace.has(key) && lastOf.get(key) === file);
      return {
        path: file.path,
        work: file.work,
        at: file.left,
        size: file.size,
        day: dayOf(file.left, trip),
        keep,
      };
    });
    const room = bytes(Math.floor(drive.traits.totalBytes * trip.profile.edits.historyShare));
    for (const { path } of thinOut(versions, clock.now(), room))
      await files.removeEarlier(under(drive.volume.root, path));
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
  }
}

function dayOf(at: Instant, { profile }: KnownTrip): string {
  return rfc3339(at, profile.zone).slice(0, 10);
}
