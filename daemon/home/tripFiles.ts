/**
 * The trips described on this computer: `<config>/trips/<TripId>.yaml`, each exactly as the photographer wrote it.
 *
 * Invariants: a trip that is described again keeps its id; no other trip is ever replaced; two trips with days in
 * common have different codes; a file is replaced as a whole or not at all. One that can't be read or is faulty is
 * listed with its faults and hides no other.
 * Not its job: what a profile means (`daemon/core/profile.ts`).
 */

import { createHash, randomBytes } from "node:crypto";
import { open, readdir } from "node:fs/promises";
import { join } from "node:path";
import { type AbsolutePath, absolutePath, nameKey, type TripId } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import type { ProfileFault, TripProfile } from "../../shared/trip.ts";
import { readProfile } from "../core/profile.ts";
import { writeAtomically } from "./atomicFile.ts";

/** A file and what it describes. */
export interface ReadTrip {
  /** Without a byte order mark; "" for what is no text. */
  readonly text: string;
  /** Undefined while there are errors among the faults. */
  readonly profile: TripProfile | undefined;
  readonly faults: readonly ProfileFault[];
  /** False where the file holds something else than `text` says. */
  readonly isText: boolean;
}

export interface TripFile extends ReadTrip {
  readonly id: TripId;
  readonly file: AbsolutePath;
}

export interface AddedTrip {
  readonly id: TripId;
  readonly file: AbsolutePath;
  readonly isNew: boolean;
  /** False where the very same text stood there already. */
  readonly changed: boolean;
  /** The name it had until now, where that is another one. */
  readonly before: string | undefined;
}

/** Bytes. More than any profile (its reader says so); keeps a wrong file out of memory. */
const longestFileBytes = 1_000_000;

const fileForm = /^([a-z0-9][a-z0-9-]*)\.yaml$/;

/** Every trip file, by first day where it can be read, then by id. No folder yet means no trips. */
export async function listTripFiles(config: AbsolutePath): Promise<readonly TripFile[]> {
  const folder = tripsFolder(config);
  const trips: TripFile[] = [];
  for (const name of await namesIn(folder)) {
    const id = fileForm.exec(name)?.[1];
    if (id === undefined) continue;
    trips.push(await readTripFile(id as TripId, absolutePath(join(folder, name))));
  }
  const orderOf = (trip: TripFile): string => `${trip.profile?.from ?? "9999"} ${trip.id}`;
  return trips.sort((a, b) => (orderOf(a) < orderOf(b) ? -1 : 1));
}

/**
 * Adds a trip, or replaces the text of the one it is: the same name and days that overlap, or the same code and the
 * same first and last day. Fails with Node's own file errors, and with `UserMistake` where another trip has its code in
 * days that overlap.
 * @param profile what `readProfile` made of `text`
 */
export async function addTripFile(
  config: AbsolutePath,
  text: string,
  profile: TripProfile,
): Promise<AddedTrip> {
  const known = await listTripFiles(config);
  const find = (fits: (one: TripProfile) => boolean): TripFile | undefined =>
    known.find((trip) => trip.profile !== undefined && fits(trip.profile));
  const same =
    find((one) => sameName(one, profile) && sameDays(one, profile)) ??
    find((one) => sameName(one, profile) && daysInCommon(one, profile)) ??
    find((one) => sameCode(one, profile) && sameDays(one, profile));
  refuseSameCode(
    known.filter((trip) => trip !== same),
    profile,
  );
  const id = same?.id ?? freshId(profile, new Set(known.map((trip) => trip.id)));
  const folder = tripsFolder(config);
  const changed = same?.text !== text;
  if (changed) await writeAtomically(folder, `${id}.yaml`, text);
  const before = same?.profile?.trip;
  return {
    id,
    file: absolutePath(join(folder, `${id}.yaml`)),
    isNew: same === undefined,
    changed,
    before: before === profile.trip ? undefined : before,
  };
}

/** What a trip's file is to hold, and what it held when the change began. */
export interface WantedTrip {
  /** undefined: a new trip. */
  readonly id: TripId | undefined;
  /** Of the text that the change began from; undefined for a new trip. */
  readonly stamp: string | undefined;
  readonly text: string;
  /** What `readProfile` made of `text`. */
  readonly profile: TripProfile;
}

/**
 * Saves a trip that is named: unlike `addTripFile` it never guesses which one is meant. Fails with Node's own file
 * errors, and with `UserMistake` where the file isn't any more what the change began from, where another trip is
 * called so on days in common, or has this code then. Callers save one trip at a time.
 */
export async function saveTripFile(
  config: AbsolutePath,
  { id, stamp, text, profile }: WantedTrip,
): Promise<{ readonly id: TripId; readonly isNew: boolean }> {
  const known = await listTripFiles(config);
  const before = known.find((trip) => trip.id === id);
  if (id !== undefined && before === undefined)
    throw new UserMistake(
      `The file of ${printable(profile.trip)} isn't there any more. Nothing was saved.`,
      "Keep the text, describe a new trip and put the text there.",
      78,
    );
  if (before !== undefined && (!before.isText || stampOf(before.text) !== stamp))
    throw new UserMistake(
      `The file of ${printable(profile.trip)} changed since you opened it. Nothing was saved.`,
      "Keep your text aside if you need it, then discard your changes here to see what the file says now.",
      78,
    );
  const others = known.filter((trip) => trip !== before);
  refuseSameName(others, profile);
  refuseSameCode(others, profile);
  const saved = id ?? freshId(profile, new Set(known.map((trip) => trip.id)));
  if (before?.text !== text) await writeAtomically(tripsFolder(config), `${saved}.yaml`, text);
  return { id: saved, isNew: id === undefined };
}

/** Names a text, so that it is known again. */
export function stampOf(text: string): string {
  return createHash("sha256").update(text).digest("hex");
}

function refuseSameName(others: readonly TripFile[], profile: TripProfile): void {
  const twin = others.find(
    ({ profile: one }) => one !== undefined && sameName(one, profile) && daysInCommon(one, profile),
  );
  if (twin === undefined) return;
  throw new UserMistake(
    `A trip called ${printable(profile.trip)} is described for these days already. Nothing was saved.`,
    "Change that one, or give this one another name or other days.",
    78,
  );
}

function refuseSameCode(others: readonly TripFile[], profile: TripProfile): void {
  const clash = others.find(
    ({ profile: one }) => one !== undefined && sameCode(one, profile) && daysInCommon(one, profile),
  );
  if (clash?.profile === undefined) return;
  throw new UserMistake(
    `${printable(profile.code)} is the code of ${printable(clash.profile.trip)} in these days already.`,
    "Choose another code, so that names can't clash.",
    78,
  );
}

/** Puts another text in the place of a trip's, as a whole or not at all. Fails with Node's own file errors. */
export async function rewriteTripFile(config: AbsolutePath, id: TripId, text: string): Promise<void> {
  await writeAtomically(tripsFolder(config), `${id}.yaml`, text);
}

/** Keeps the profile of a trip that there is no file of yet. Fails with Node's own file errors. */
export async function keepTripFile(config: AbsolutePath, id: TripId, text: string): Promise<void> {
  const folder = tripsFolder(config);
  if ((await namesIn(folder)).includes(`${id}.yaml`)) return;
  await writeAtomically(folder, `${id}.yaml`, text);
}

/** What a file describes, with its faults; what is no text has one. Fails with Node's own file errors. */
export async function readTrip(file: string): Promise<ReadTrip> {
  const text = await readText(file);
  if (text !== undefined) return { text, ...readProfile(text), isText: true };
  const what = "this is not a text file in UTF-8";
  const faults = [faultOfFile(what, "a trip profile, saved as UTF-8 text")];
  return { text: "", profile: undefined, faults, isText: false };
}

function tripsFolder(config: AbsolutePath): AbsolutePath {
  return absolutePath(join(config, "trips"));
}

async function namesIn(folder: AbsolutePath): Promise<readonly string[]> {
  try {
    return await readdir(folder);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === "ENOENT") return [];
    throw error;
  }
}

async function readTripFile(id: TripId, file: AbsolutePath): Promise<TripFile> {
  try {
    return { id, file, ...(await readTrip(file)) };
  } catch (error) {
    const what = `this file can't be read (${(error as NodeJS.ErrnoException).code ?? "unknown error"})`;
    const fault = faultOfFile(what, "a readable file of UTF-8 text");
    return { id, file, text: "", profile: undefined, faults: [fault], isText: false };
  }
}

function faultOfFile(what: string, allowed: string): ProfileFault {
  return { severity: "error", line: 1, column: 1, key: "", what, allowed };
}

/** The file as text, a byte order mark left out, cut where no profile is that long; undefined if it isn't UTF-8 text. */
async function readText(file: string): Promise<string | undefined> {
  const handle = await open(file, "r");
  try {
    const buffer = Buffer.alloc(longestFileBytes);
    let length = 0;
    while (length < buffer.length) {
      const { bytesRead } = await handle.read(buffer, length, buffer.length - length, null);
      if (bytesRead === 0) break;
      length += bytesRead;
    }
    return textOf(buffer.subarray(0, length), length === buffer.length);
  } finally {
    await handle.close();
  }
}

/** @param cut the end is missing, perhaps in the middle of a character */
function textOf(bytes: Uint8Array, cut: boolean): string | undefined {
  try {
    const text = new TextDecoder("utf-8", { fatal: true }).decode(bytes, { stream: cut });
    // YAML 1.2.2, 5.1: NUL is in no document; UTF-16 and binary files have it.
    return text.includes("\0") ? undefined : text;
  } catch (error) {
    if (error instanceof TypeError) return undefined;
    throw error;
  }
}

function sameName(a: TripProfile, b: TripProfile): boolean {
  return nameKey(a.trip) === nameKey(b.trip);
}

function sameCode(a: TripProfile, b: TripProfile): boolean {
  return nameKey(a.code) === nameKey(b.code);
}

function sameDays(a: TripProfile, b: TripProfile): boolean {
  return a.from === b.from && a.to === b.to;
}

function daysInCommon(a: TripProfile, b: TripProfile): boolean {
  return a.from <= b.to && b.from <= a.to;
}

/** Such as `kc-20270603-3f9a`. */
function freshId(profile: TripProfile, taken: ReadonlySet<TripId>): TripId {
  const code = profile.code.toLowerCase().replace(/[^a-z0-9]+/g, "");
  const start = `${code === "" ? "trip" : code}-${profile.from.replaceAll("-", "")}`;
  for (;;) {
    const id = `${start}-${randomBytes(2).toString("hex")}` as TripId;
    if (!taken.has(id)) return id;
  }
}
