/**
 * When a frame was taken, and to which shooting day it belongs. A camera writes a wall clock, seldom its zone, and
 * that clock may be wrong; the profile says what it showed and by how much it was off.
 *
 * The rule, the same on every run and computer: the zone that the profile gives the body, else the offset that the
 * camera wrote, else the trip's zone; then the body's clock correction; the day is the civil date in the trip's zone,
 * counted from `day-starts` by the wall clock (so nights with a change of summer time stay whole).
 * Invariants: never throws for a camera's sake; what isn't a date is unknown, never rolled over into another one.
 * Not its job: reading files, finding suspicious clocks.
 */

import { Temporal } from "temporal-polyfill";
import type { CameraFacts, Taken } from "../../shared/camera.ts";
import type { TripBody } from "../../shared/trip.ts";
import type { Instant } from "../../shared/units.ts";

/** Outside these years a date is a mistake; inside, no zone or correction makes a year of other than four digits. */
const firstYear = 1900;
const lastYear = 9000;
const earliest = Temporal.Instant.from(`${firstYear}-01-02T00:00Z`).epochMilliseconds;
const latest = Temporal.Instant.from(`${lastYear}-01-01T00:00Z`).epochMilliseconds;

/** A camera's own words are kept up to so many UTF-16 units. */
const longestWords = 100;

/**
 * @param facts what the file says; undefined when it couldn't be read
 * @param fileModified used when the file says nothing usable, uncorrected
 * @param body the profile's entry for this body, if any
 * @param zone IANA zone of the trip; must be valid
 * @param dayStartsMinutes minutes after midnight, 0 to 1439
 */
export function whenTaken(
  facts: CameraFacts | undefined,
  fileModified: Instant,
  kind: "still" | "video",
  body: TripBody | undefined,
  zone: string,
  dayStartsMinutes: number,
): Taken {
  const reading = kind === "video" ? readVideo(facts, body) : readStill(facts);
  const correction = body?.clockCorrection ?? 0;
  const resolved = reading.stamp === undefined ? undefined : resolve(reading.stamp, body, zone);
  const at = resolved === undefined ? clamp(fileModified) : clamp(resolved.at + correction);
  const local = Temporal.Instant.fromEpochMilliseconds(at).toZonedDateTimeISO(zone).toPlainDateTime();
  return {
    instant: at,
    local: local.toString({ smallestUnit: "millisecond" }),
    day: local.subtract({ minutes: dayStartsMinutes }).toPlainDate().toString(),
    basis: resolved?.basis ?? "file-time",
    camera: reading.words,
  };
}

/** Earlier first; frames of one moment by the camera's words. 0 leaves the order to directory and number. */
export function compareTaken(a: Taken, b: Taken): number {
  if (a.instant !== b.instant) return a.instant - b.instant;
  if (a.camera === b.camera) return 0;
  return a.camera < b.camera ? -1 : 1;
}

/** A wall clock as written, with the offset if one was written too. */
interface Stamp {
  readonly wall: Temporal.PlainDateTime;
  /** ms to subtract from the wall clock to get UTC. */
  readonly offset?: number;
  /** The wall clock is UTC by the standard of its container. */
  readonly utc?: boolean;
}

interface Reading {
  readonly stamp: Stamp | undefined;
  readonly words: string;
}

function resolve(
  stamp: Stamp,
  body: TripBody | undefined,
  zone: string,
): { at: number; basis: Taken["basis"] } {
  if (stamp.utc) return { at: atOffset(stamp.wall, 0), basis: "video-utc" };
  if (body?.zone !== undefined) return { at: inZone(stamp.wall, body.zone), basis: "body-zone" };
  if (stamp.offset !== undefined) return { at: atOffset(stamp.wall, stamp.offset), basis: "camera-offset" };
  return { at: inZone(stamp.wall, zone), basis: "trip-zone" };
}

/** A time that happens twice is its first, one that never happens is moved on by the gap (Temporal: compatible). */
function inZone(wall: Temporal.PlainDateTime, zone: string): number {
  return wall.toZonedDateTime(zone, { disambiguation: "compatible" }).epochMilliseconds;
}

function atOffset(wall: Temporal.PlainDateTime, offset: number): number {
  return wall.toZonedDateTime("UTC").epochMilliseconds - offset;
}

function readStill(facts: CameraFacts | undefined): Reading {
  const text = clean(facts?.dateTimeOriginal);
  const fraction = readFraction(facts?.subSecOriginal);
  const offsetText = clean(facts?.offsetOriginal);
  const read = readStamp(text, fraction);
  if (read === undefined) return { stamp: undefined, words: saysNothing(text) ? "" : text };
  const offset = readOffset(offsetText) ?? read.offset;
  const words = `${text}${fraction === "" ? "" : `.${fraction}`}${readOffset(offsetText) === undefined ? "" : offsetText}`;
  return { stamp: offset === undefined ? { wall: read.wall } : { wall: read.wall, offset }, words };
}

function readVideo(facts: CameraFacts | undefined, body: TripBody | undefined): Reading {
  const still = readStill(facts);
  const creationText = clean(facts?.creationDate);
  const creation: Reading = { stamp: readStamp(creationText, ""), words: creationText };
  const readings = [still, creation].filter((reading) => reading.stamp !== undefined);
  // Of two wall clocks the one with its offset knows more.
  const best = readings.find((reading) => reading.stamp?.offset !== undefined) ?? readings[0];
  if (best !== undefined) return best;
  const headerText = clean(facts?.mediaCreateDate);
  const header = readStamp(headerText, "");
  if (header === undefined || isZeroOfHeader(header.wall)) return { stamp: undefined, words: still.words };
  if (body?.videoClock === "body") return { stamp: { wall: header.wall }, words: headerText };
  return { stamp: { wall: header.wall, utc: true }, words: headerText };
}

/** ISO 14496-12 counts from 1904; a writer without a clock leaves 0, or the 0 of the Unix epoch. */
function isZeroOfHeader(wall: Temporal.PlainDateTime): boolean {
  const text = wall.toString();
  return text === "1904-01-01T00:00:00" || text === "1970-01-01T00:00:00";
}

const stampForm =
  /^(\d{4})[:-](\d{2})[:-](\d{2})[ T](\d{2}):(\d{2}):(\d{2})(?:\.(\d+))?\s?(Z|[+-]\d{2}:\d{2})?$/;

function readStamp(text: string, fraction: string): Stamp | undefined {
  const found = stampForm.exec(text);
  if (found === null) return undefined;
  const field = (group: number): number => Number(found[group]);
  if (field(1) < firstYear || field(1) > lastYear) return undefined;
  const part = fraction === "" ? (found[7] ?? "") : fraction;
  // A decimal fraction: `05` is .05 s. Padded as text, since .283 × 1000 is no whole number in binary.
  const millisecond = Number(part.padEnd(3, "0").slice(0, 3));
  const fields = {
    year: field(1),
    month: field(2),
    day: field(3),
    hour: field(4),
    minute: field(5),
    second: field(6),
    millisecond,
  };
  try {
    const wall = Temporal.PlainDateTime.from(fields, { overflow: "reject" });
    const offset = found[8] === undefined ? undefined : readOffset(found[8]);
    return offset === undefined ? { wall } : { wall, offset };
  } catch (error) {
    // 31 February, 24:00:00 and the like.
    if (error instanceof RangeError) return undefined;
    throw error;
  }
}

/** Exif OffsetTime*: `+HH:MM`; no zone is further than 14 hours from UTC. */
function readOffset(text: string): number | undefined {
  if (text === "Z") return 0;
  const found = /^([+-])(\d{2}):([0-5]\d)$/.exec(text);
  if (found === null) return undefined;
  const minutes = Number(found[2]) * 60 + Number(found[3]);
  if (minutes > 14 * 60) return undefined;
  return (found[1] === "-" ? -minutes : minutes) * 60_000;
}

/** SubSec digits; "" where there are none. */
function readFraction(text: string | undefined): string {
  const trimmed = clean(text);
  return /^\d+$/.test(trimmed) ? trimmed : "";
}

/** Exif text ends with NUL and may be padded with blanks. */
function clean(text: string | undefined): string {
  return (text ?? "")
    .replace(/\0[\s\S]*$/, "")
    .trim()
    .slice(0, longestWords);
}

/** Blanks, zeros and separators in place of the digits (Exif 2.2, DateTimeOriginal). */
function saysNothing(text: string): boolean {
  return /^[\s0:./+-]*$/.test(text);
}

function clamp(at: number): number {
  if (!Number.isFinite(at)) return 0;
  return Math.trunc(Math.min(latest, Math.max(earliest, at)));
}
