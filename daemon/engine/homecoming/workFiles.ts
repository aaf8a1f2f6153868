/**
 * Work files of a trip: what is written down of them, and what stands on the drives that are in, known or not. A file
 * that a program has open isn't taken, since half of its change may be elsewhere still.
 */

import {
  baseName,
  type ContentHash,
  extensionOf,
  nameKey,
  type RelativePath,
  type TripId,
} from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import type { Bytes } from "../../../shared/units.ts";
import { databaseMagic, foldersHolding, unitsOf } from "../../core/edits/units.ts";
import { leftOut } from "../../core/leaveOut.ts";
import { isBeside, openFiles } from "../../core/openFiles.ts";
import type { EditHead } from "../../ports/editLedger.ts";
import type { Ledger } from "../../ports/ledger.ts";
import { isListable } from "../../record/checksums.ts";
import { checksumFile } from "../../record/driveLayout.ts";
import type { KnownTrip } from "../dating.ts";
import type { EnginePorts } from "../ports.ts";
import type { Publisher } from "../publisher.ts";
import { type ListedFile, listBelow } from "./listing.ts";
import { contentOf, type DriveLook, Tally } from "./run.ts";

/** A newest version that stands somewhere. */
export interface Head extends EditHead {
  readonly hash: ContentHash;
}

export interface WorkRecord {
  /** The newest versions, deletions apart; the latest first. */
  readonly heads: readonly Head[];
  /** Content of every version that is known, by the work file's name key. */
  readonly versions: ReadonlyMap<string, ReadonlySet<string>>;
}

/** What is written down of a trip's work files. */
export function workRecord({ edits }: Ledger, trip: TripId): WorkRecord {
  const heads = edits
    .heads(trip)
    .flatMap((head): Head[] => (head.hash === "" ? [] : [{ ...head, hash: head.hash }]));
  const versions = new Map<string, ReadonlySet<string>>();
  for (const [key, { versions: known }] of edits.ofTrip(trip))
    versions.set(key, new Set(known.map(contentOf)));
  return { heads: [...heads].sort((x, y) => y.at - x.at), versions };
}

/** Where the file of that name stands on the drive where the original was changed; undefined for any other name. */
export function unchangedName(path: RelativePath): RelativePath | undefined {
  const extension = extensionOf(path);
  const stem = path.slice(0, path.length - extension.length);
  return stem.endsWith("-changed")
    ? (`${stem.slice(0, -"-changed".length)}${extension}` as RelativePath)
    : undefined;
}

const ownList = nameKey(baseName(checksumFile("")));

/** Everything below a drive's folder of the trip, without our own list. @throws FileFault */
export async function listTrip(
  ports: EnginePorts,
  publisher: Publisher,
  trip: TripId,
): Promise<readonly ListedFile[]> {
  const pass = (path: RelativePath): boolean =>
    nameKey(path) === ownList || baseName(path).startsWith(".scrubjay-new-");
  return listBelow(ports, publisher.pathOf(trip, "" as RelativePath), pass);
}

/** What stands on a drive besides originals. @throws FileFault */
export async function lookAtDrive(
  ports: EnginePorts,
  publisher: Publisher,
  trip: KnownTrip,
): Promise<DriveLook> {
  const { ledger } = ports;
  const { id: drive, name } = publisher.drive;
  const copies = ledger.copiesOn(drive, trip.id).map(({ path }) => path);
  const originals = new Set(copies.map(nameKey));
  const damaged = new Set(
    ledger
      .losses(drive, trip.id)
      .filter(({ why }) => why === "damaged")
      .map(({ path }) => nameKey(path)),
  );
  const isLeftOut = leftOut(trip.profile.edits.leaveOut);
  const left = new Tally();
  const files = (await listTrip(ports, publisher, trip.id)).filter(({ path, size }) => {
    if (originals.has(nameKey(path)) || damaged.has(nameKey(path))) return false;
    if (!isLeftOut(path)) return true;
    left.add(size);
    return false;
  });
  const databases = await databasesAmong(ports, publisher, trip.id, files);
  const units = unitsOf(files, foldersHolding(copies), ({ path }) => databases.has(path));
  const open = openFiles(files.map(({ path }) => path));
  const held: { path: RelativePath; size: Bytes; why: string }[] = [];
  const toRead: ListedFile[] = [];
  const catalogues = new Map<string, RelativePath>();
  for (const unit of units) {
    const busy = unit.files.filter(({ path }) => open.has(path));
    for (const file of busy) held.push({ ...file, why: "a program has it open" });
    for (const file of unit.files) {
      if (unit.catalogue) catalogues.set(nameKey(file.path), unit.name);
      // A catalogue is taken whole or not at all.
      if (busy.length > 0 || isBeside(file.path)) continue;
      if (isListable({ path: file.path, hash: "" as ContentHash })) toRead.push(file);
      else held.push({ ...file, why: "no list can hold its name" });
    }
  }
  return { drive, name, toRead, works: [], held, catalogues, leftOut: left };
}

/** Files that begin as databases do, or show that one is open. What can't be read now is none. */
async function databasesAmong(
  { files }: EnginePorts,
  publisher: Publisher,
  trip: TripId,
  listed: readonly ListedFile[],
): Promise<ReadonlySet<RelativePath>> {
  const found = new Set<RelativePath>();
  for (const { path, size } of listed) {
    if (isBeside(path)) found.add(path);
    if (size < databaseMagic.length) continue;
    const head = new Uint8Array(databaseMagic.length);
    try {
      const handle = await files.openToRead(publisher.pathOf(trip, path));
      try {
        await handle.read(head, 0);
      } finally {
        await handle.close();
      }
    } catch (fault) {
      if (!(fault instanceof FileFault) || fault.code === "gone") throw fault;
    }
    if (new TextDecoder("latin1").decode(head) === databaseMagic) found.add(path);
  }
  return found;
}
