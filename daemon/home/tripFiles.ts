/**
 * The trips described on this computer: `<config>/trips/<TripId>.yaml`, each exactly as the photographer wrote it.
 *
 * Invariants: a trip that is described again keeps its id; a file is replaced as a whole or not at all. One that
 * can't be read or is faulty is listed with its faults and hides no other.
 * Not its job: what a profile means (`daemon/core/profile.ts`).
 */

import { randomBytes } from "node:crypto";
import { open, readdir } from "node:fs/promises";
import { join } from "node:path";
import { type AbsolutePath, absolutePath, nameKey, type TripId } from "../../shared/identity.ts";
import type { ProfileFault, TripProfile } from "../../shared/trip.ts";
import { readProfile } from "../core/profile.ts";
import { writeAtomically } from "./atomicFile.ts";

export interface TripFile {
  readonly id: TripId;
  readonly file: AbsolutePath;
  readonly text: string;
  /** Undefined while there are errors among the faults. */
  readonly profile: TripProfile | undefined;
  readonly faults: readonly ProfileFault[];
}

export interface AddedTrip {
  readonly id: TripId;
  readonly file: AbsolutePath;
  readonly isNew: boolean;
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
 * Adds a trip, or replaces the text of the one it is: the same name and first day, or the same code and days that
 * overlap. Fails with Node's own file errors.
 * @param profile what `readProfile` made of `text`
 */
export async function addTripFile(
  config: AbsolutePath,
  text: string,
  profile: TripProfile,
): Promise<AddedTrip> {
  const known = await listTripFiles(config);
  const same =
    known.find((trip) => trip.profile !== undefined && sameNameAndStart(trip.profile, profile)) ??
    known.find((trip) => trip.profile !== undefined && sameCodeAndDays(trip.profile, profile));
  const id = same?.id ?? freshId(profile, new Set(known.map((trip) => trip.id)));
  const folder = tripsFolder(config);
  await writeAtomically(folder, `${id}.yaml`, text);
  return { id, file: absolutePath(join(folder, `${id}.yaml`)), isNew: same === undefined };
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
    const text = await readText(file);
    return { id, file, text, ...readProfile(text) };
  } catch (error) {
    const fault: ProfileFault = {
      severity: "error",
      line: 1,
      column: 1,
      key: "",
      what: `this file can't be read (${(error as NodeJS.ErrnoException).code ?? "unknown error"})`,
      allowed: "a readable file of UTF-8 text",
    };
    return { id, file, text: "", profile: undefined, faults: [fault] };
  }
}

/** The file as text, a byte order mark left out, cut where no profile is that long. */
export async function readText(file: string): Promise<string> {
  const handle = await open(file, "r");
  try {
    const buffer = Buffer.alloc(longestFileBytes);
    let length = 0;
    while (length < buffer.length) {
      const { bytesRead } = await handle.read(buffer, length, buffer.length - length, null);
      if (bytesRead === 0) break;
      length += bytesRead;
    }
    return new TextDecoder().decode(buffer.subarray(0, length));
  } finally {
    await handle.close();
  }
}

function sameNameAndStart(a: TripProfile, b: TripProfile): boolean {
  return nameKey(a.trip) === nameKey(b.trip) && a.from === b.from;
}

function sameCodeAndDays(a: TripProfile, b: TripProfile): boolean {
  return nameKey(a.code) === nameKey(b.code) && a.from <= b.to && b.from <= a.to;
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
