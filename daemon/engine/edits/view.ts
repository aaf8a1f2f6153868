/** What people are told of work files: in short on the board, by file, by version, and where two sides differ. */

import type {
  ConflictDetailJson,
  ConflictJson,
  ConflictSideJson,
  EditsJson,
  EditsStatusJson,
  EditVersionsJson,
} from "../../../shared/editsApi.ts";
import { rfc3339 } from "../../../shared/format.ts";
import { type DriveId, nameKey, type RelativePath, under } from "../../../shared/identity.ts";
import { FileFault, UserMistake } from "../../../shared/problems.ts";
import { asArgument, printable } from "../../../shared/text.ts";
import { bytes, type Instant } from "../../../shared/units.ts";
import { holding } from "../../core/edits/versions.ts";
import { differencesOf } from "../../core/xmpDifferences.ts";
import type { EditHead, EditVersion } from "../../ports/editLedger.ts";
import { encodeFact } from "../../record/journal.ts";
import { currentTrip } from "../currentTrip.ts";
import type { KnownTrip } from "../dating.ts";
import type { Engine } from "../engine.ts";
import type { PresentDrive } from "../presence.ts";
import { drivesOf } from "../tripDrives.ts";
import { earlierOn, mayBe } from "./history.ts";

/** names. So many of what is waited for are told. */
const waitingMost = 5;

/** undefined while the trip has no work files. */
export function editsStatus(engine: Engine, trip: KnownTrip): EditsStatusJson | undefined {
  const summary = engine.ports.ledger.edits.summary(trip.id);
  const now = engine.edits.nowOf(trip.id);
  const left = now?.leftOut ?? { files: 0, bytes: 0 };
  const waiting = now?.waitingFiles ?? 0;
  if (summary.files + summary.deleted + waiting + left.files === 0) return undefined;
  return {
    files: summary.files,
    bytes: summary.bytes,
    drives: drivesOf(engine, trip)
      .filter(({ row }) => row !== undefined)
      .map(({ name, row }) => {
        const files = summary.held.get(row?.id ?? ("" as DriveId)) ?? 0;
        return { drive: printable(name), files, behind: summary.files - files };
      }),
    waiting,
    waitingFor: (now?.waiting ?? [])
      .slice(0, waitingMost)
      .map(({ path, why }) => ({ path: printable(path, 200), why: printable(why, 200) })),
    leftOut: left,
    deleted: summary.deleted,
    conflicts: summary.conflicts,
  };
}

/** @throws UserMistake when no trip is known so */
export function editsJson(engine: Engine, id: string | undefined, from: number, most: number): EditsJson {
  const trip = id === undefined ? currentTrip(engine) : tripNamed(engine, id);
  const zone = trip?.profile.zone ?? "UTC";
  const at = rfc3339(engine.now(), zone);
  if (trip === undefined) return { trip: null, edits: null, conflicts: [], files: [], total: 0, at };
  const { edits } = engine.ports.ledger;
  const heads = edits.heads(trip.id);
  const names = driveNames(engine);
  return {
    trip: { id: trip.id, name: printable(trip.profile.trip), zone },
    edits: editsStatus(engine, trip) ?? null,
    conflicts: edits.conflicts(trip.id).flatMap((version) => conflictJson(engine, trip, version) ?? []),
    files: heads.slice(from, from + most).map((head) => ({
      path: printable(head.path, 1_000),
      bytes: head.size,
      modified: momentOf(head.hash === "" ? head.at : head.modified, zone),
      drives: inTripOrder(
        trip,
        head.drives.map((drive) => names.get(drive) ?? drive),
      ).map((name) => printable(name)),
      versions: contentsOf(edits.ofPath(trip.id, nameKey(head.path)).versions).length,
      deleted: head.hash === "",
    })),
    total: heads.length,
    at,
  };
}

/** @throws UserMistake when no such work file is known */
export async function versionsJson(
  engine: Engine,
  id: string | undefined,
  path: string,
): Promise<EditVersionsJson> {
  const { trip, head, versions } = knownFile(engine, id, path);
  const zone = trip.profile.zone;
  const names = driveNames(engine);
  const told = [];
  for (const version of contentsOf(versions)) {
    const places = await placesOf(engine, trip, version);
    told.push({
      at: momentOf(version.at, zone),
      modified: momentOf(version.modified, zone),
      bytes: version.size,
      drives: [...new Set(places.map(({ drive }) => printable(drive.name)))],
      inPlace: version.hash === head.hash,
      madeOn: names.get(version.drive) ?? null,
    });
  }
  return { path: printable(head.path, 1_000), deleted: head.hash === "", versions: told };
}

/** @throws UserMistake when there is no such conflict */
export async function conflictDetail(engine: Engine, id: string): Promise<ConflictDetailJson> {
  const { trip, version } = knownConflict(engine, id);
  const told = conflictJson(engine, trip, version);
  const other = otherSide(engine, version);
  if (told === undefined || other === undefined) throw noConflict();
  const [kept, lost] = await Promise.all([placesOf(engine, trip, version), placesOf(engine, trip, other)]);
  const detail = {
    ...told,
    kept: { ...told.kept, path: shownPath(kept[0]?.path) },
    other: { ...told.other, path: shownPath(lost[0]?.path) },
  };
  if (!version.path.toLowerCase().endsWith(".xmp"))
    return { ...detail, differences: [], why: "Only XMP can be compared property by property." };
  const contents = await Promise.all([contentOf(engine, kept[0]), contentOf(engine, lost[0])]);
  const [here, there] = await Promise.all(
    contents.map(async (content) =>
      content === undefined ? undefined : engine.ports.sidecars.properties(content),
    ),
  );
  if (here === undefined || there === undefined)
    return {
      ...detail,
      differences: [],
      why: "One of the two can't be read now. Plug in the drives that hold them.",
    };
  const differences = differencesOf(here, there);
  const why = differences.length === 0 ? "Both say the same; they only differ in how it is written." : "";
  return { ...detail, differences, why };
}

/** Someone knows that it was changed on two drives. @throws UserMistake when there is no such conflict */
export function sayKnown(engine: Engine, id: string): void {
  const { trip, version } = knownConflict(engine, id);
  const { ledger, hashing } = engine.ports;
  const at = engine.now();
  const fact = encodeFact({ kind: "edit-seen", trip: trip.id, at, edit: id }, hashing);
  ledger.apply([fact]);
  engine.bay.tell([fact]);
  ledger.note("edits", "", `it is known that ${printable(version.path, 200)} was changed on two drives`, at);
  engine.refresh();
}

function knownConflict(
  engine: Engine,
  id: string,
): { readonly trip: KnownTrip; readonly version: EditVersion } {
  const version = engine.ports.ledger.edits.version(id);
  const trip = engine.tripBook.find(version?.trip);
  if (version === undefined || trip === undefined || version.after.length < 2) throw noConflict();
  return { trip, version };
}

function noConflict(): UserMistake {
  return new UserMistake("There is no such conflict any more.", "Look at the list of work files again.");
}

function conflictJson(engine: Engine, trip: KnownTrip, version: EditVersion): ConflictJson | undefined {
  const other = otherSide(engine, version);
  if (other === undefined) return undefined;
  return {
    id: version.id,
    path: printable(version.path, 1_000),
    kept: sideJson(engine, trip, firstSeen(engine, version)),
    other: { ...sideJson(engine, trip, other), deleted: other.hash === "" },
  };
}

/** What it stands in place of: content of its own that was made apart. */
function otherSide(engine: Engine, version: EditVersion): EditVersion | undefined {
  const { edits } = engine.ports.ledger;
  return version.after.flatMap((id) => edits.version(id) ?? []).find(({ hash }) => hash !== version.hash);
}

/** The version that first had this content: it says when and where it was made. */
function firstSeen(engine: Engine, version: EditVersion): EditVersion {
  const { edits } = engine.ports.ledger;
  return (
    version.after.flatMap((id) => edits.version(id) ?? []).find(({ hash }) => hash === version.hash) ??
    version
  );
}

function sideJson(engine: Engine, trip: KnownTrip, version: EditVersion): ConflictSideJson {
  const { zone } = trip.profile;
  return {
    drive: printable(driveNames(engine).get(version.drive) ?? version.drive),
    at: momentOf(version.at, zone),
    modified: momentOf(version.hash === "" ? version.at : version.modified, zone),
    bytes: version.size,
    path: null,
  };
}

/** Where a version is on a drive that is in. */
export interface VersionPlace {
  readonly drive: PresentDrive;
  /** Below the drive's root. */
  readonly path: RelativePath;
}

/** In place first, then in the histories; by looks: bytes prove it to whoever takes it. */
export async function placesOf(
  engine: Engine,
  trip: KnownTrip,
  version: EditVersion,
): Promise<readonly VersionPlace[]> {
  if (version.hash === "") return [];
  const { ports, bay } = engine;
  const inPlace: VersionPlace[] = [];
  const earlier: VersionPlace[] = [];
  for (const { publisher } of bay.targets.values()) {
    const { drive } = publisher;
    if (!bay.isUsable(drive.id) || !publisher.hasRecord(trip.id)) continue;
    const look = ports.ledger.edits.looks(drive.id, trip.id).get(nameKey(version.path));
    // A changed original stands under its own name; its history is what can be pointed at.
    if (look?.hash === version.hash) inPlace.push({ drive, path: publisher.inside(trip.id, look.path) });
    try {
      for (const file of await earlierOn(ports, drive, trip.id, version.path))
        if (mayBe(file, version)) earlier.push({ drive, path: file.path });
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
    }
  }
  return [...inPlace, ...earlier];
}

async function contentOf(engine: Engine, place: VersionPlace | undefined): Promise<Uint8Array | undefined> {
  if (place === undefined) return undefined;
  const { files, limits } = engine.ports;
  try {
    return await files.readSmall(under(place.drive.volume.root, place.path), bytes(limits.sidecarBytesMax));
  } catch (fault) {
    if (fault instanceof FileFault) return undefined;
    throw fault;
  }
}

/** One for each content, latest first; where one came back, when it came last. */
export function contentsOf(versions: readonly EditVersion[]): readonly EditVersion[] {
  const latest = new Map<string, EditVersion>();
  for (const version of [...versions].reverse())
    if (version.hash !== "" && !latest.has(version.hash)) latest.set(version.hash, version);
  return [...latest.values()];
}

/** @throws UserMistake when no such work file is known */
export function knownFile(
  engine: Engine,
  id: string | undefined,
  path: string,
): { readonly trip: KnownTrip; readonly head: EditVersion; readonly versions: readonly EditVersion[] } {
  const trip = id === undefined ? currentTrip(engine) : tripNamed(engine, id);
  if (trip === undefined)
    throw new UserMistake(
      "No trip is described yet.",
      "Describe one on the page, or in a file for `scrubjay trip add FILE`.",
    );
  const { edits } = engine.ports.ledger;
  // What was shown may have been made printable.
  const shown = (head: EditHead) => printable(head.path, 1_000) === path;
  const key =
    edits.heads(trip.id).find((head) => nameKey(head.path) === nameKey(path) || shown(head))?.path ?? path;
  const { versions } = edits.ofPath(trip.id, nameKey(key));
  const head = holding(versions);
  if (head !== undefined) return { trip, head, versions };
  throw new UserMistake(
    `No work file of ${printable(trip.profile.trip)} is known as ${printable(path, 200)}.`,
    `\`scrubjay edits list\` shows them; a path begins below the trip's folder, such as ${asArgument("2027-06-03/KC-20270603-A0421.xmp")}.`,
  );
}

function tripNamed(engine: Engine, wanted: string): KnownTrip {
  const key = nameKey(wanted);
  const trip = engine.tripBook.trips.find(
    ({ id, profile }) => id === wanted || nameKey(profile.trip) === key || nameKey(profile.code) === key,
  );
  if (trip !== undefined) return trip;
  throw new UserMistake(
    `No trip is known as ${printable(wanted, 60)}.`,
    "`scrubjay trip list` shows the known ones.",
  );
}

function inTripOrder({ profile }: KnownTrip, names: readonly string[]): readonly string[] {
  const rank = (name: string): number => {
    const at = profile.drives.findIndex((drive) => nameKey(drive.name) === nameKey(name));
    return at < 0 ? profile.drives.length : at;
  };
  return [...names].sort((a, b) => rank(a) - rank(b));
}

function driveNames(engine: Engine): ReadonlyMap<DriveId, string> {
  const { ledger } = engine.ports;
  return new Map([...ledger.drives(), ...ledger.lostDrives()].map(({ id, name }) => [id, name]));
}

function shownPath(path: RelativePath | undefined): string | null {
  return path === undefined ? null : printable(path, 2_000);
}

/** With thousandths, since versions follow each other quickly: `2027-06-06T22:41:05.123+01:00`. */
export function momentOf(at: Instant, zone: string): string {
  const thousandths = String(((Math.trunc(at) % 1000) + 1000) % 1000).padStart(3, "0");
  const text = rfc3339(at, zone);
  return `${text.slice(0, 19)}.${thousandths}${text.slice(19)}`;
}
