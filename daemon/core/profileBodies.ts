/**
 * The camera bodies of a trip profile: serial number, letter, clock error, zone.
 *
 * Not its job: giving letters to bodies without one (`bodies.ts`), applying clocks (`taken.ts`).
 */

import { isScalar } from "yaml";
import { printable } from "../../shared/text.ts";
import type { TripBody } from "../../shared/trip.ts";
import { millis } from "../../shared/units.ts";
import { readLabel, readZone } from "./profileValues.ts";
import { type Faults, type Field, readList, readMap, readScalar, readText } from "./yamlNodes.ts";

export function readBodies(field: Field | undefined, faults: Faults): readonly TripBody[] | undefined {
  if (field === undefined) return [];
  const items = readList(field, "a list of bodies, one line each", faults);
  if (items === undefined) return undefined;
  const bodies: TripBody[] = [];
  const serials = new Set<string>();
  const letters = new Set<string>();
  const doubled = (seen: Set<string>, value: string, at: Field | undefined, what: string): void => {
    if (seen.has(value) && at !== undefined) faults.error(at.at, at.key, what, "each once");
    seen.add(value);
  };
  for (const item of items) {
    const fields = readMap(
      item.node,
      item.at,
      item.key,
      ["serial", "letter", "clock", "zone", "video-time"],
      faults,
    );
    if (fields === undefined) continue;
    const serial = readSerial(fields.get("serial"), item, faults);
    const letter = readLetter(fields.get("letter"), faults);
    const correction = readClock(fields.get("clock"), faults);
    const zoneField = fields.get("zone");
    const zone = readZone(zoneField, faults);
    const videoClock = readVideoTime(fields.get("video-time"), faults);
    if (serial !== undefined) doubled(serials, serial, fields.get("serial"), "this body is listed twice");
    if (typeof letter === "string")
      doubled(letters, letter, fields.get("letter"), `two bodies have the letter ${letter}`);
    if (serial === undefined || letter === undefined || correction === undefined) continue;
    if (videoClock === undefined || (zoneField !== undefined && zone === undefined)) continue;
    bodies.push({
      serial,
      clockCorrection: millis(correction),
      videoClock,
      ...(letter === null ? {} : { letter }),
      ...(zone === undefined ? {} : { zone }),
    });
  }
  return bodies.length === items.length ? bodies : undefined;
}

/** Unquoted digits are accepted where YAML's number has the same text: leading zeros and long numbers would be lost. */
function readSerial(field: Field | undefined, item: Field, faults: Faults): string | undefined {
  const allowed = 'the serial number in quotes, such as "4410072"';
  const scalar = field === undefined ? undefined : readScalar(field, allowed, faults);
  if (field !== undefined && isScalar(scalar) && typeof scalar.value === "number") {
    const source = scalar.source ?? "";
    if (/^\d+$/.test(source) && String(scalar.value) === source) return source;
    const said = `as a number ${printable(source, 60)} would be read as ${scalar.value}`;
    faults.error(field.at, field.key, said, `in quotes: "${printable(source, 60)}"`);
    return undefined;
  }
  if (field !== undefined && scalar === undefined) return undefined;
  return readLabel(field, item, "serial", allowed, faults);
}

/** null: the body has none of its own. */
function readLetter(field: Field | undefined, faults: Faults): string | null | undefined {
  if (field === undefined) return null;
  const allowed = "one to three letters A to Z";
  const letter = readText(field, allowed, faults);
  if (letter === undefined) return undefined;
  if (/^[A-Z]{1,3}$/.test(letter)) return letter;
  faults.error(field.at, field.key, `'${printable(letter, 60)}' is no letter for names`, allowed);
  return undefined;
}

/** ms to add to the body's clock. */
function readClock(field: Field | undefined, faults: Faults): number | undefined {
  if (field === undefined) return 0;
  const allowed = 'what to add to this clock, "+HH:MM:SS" or "-HH:MM"';
  const text = readText(field, allowed, faults);
  if (text === undefined) return undefined;
  const correction = clockCorrection(text);
  if (correction === undefined)
    faults.error(field.at, field.key, `'${printable(text, 60)}' is no clock correction`, allowed);
  return correction;
}

/** ms that `+HH:MM:SS` or `-HH:MM` says; undefined for anything else. */
export function clockCorrection(text: string): number | undefined {
  const found = /^([+-])(\d{2}):([0-5]\d)(?::([0-5]\d))?$/.exec(text);
  if (found === null) return undefined;
  const seconds = Number(found[2]) * 3600 + Number(found[3]) * 60 + Number(found[4] ?? 0);
  return seconds === 0 ? 0 : (found[1] === "-" ? -seconds : seconds) * 1000;
}

function readVideoTime(field: Field | undefined, faults: Faults): TripBody["videoClock"] | undefined {
  if (field === undefined) return "utc";
  const allowed = "utc, or body where the video's header holds the body's own clock";
  const word = readText(field, allowed, faults);
  if (word === undefined) return undefined;
  if (word === "utc" || word === "body") return word;
  faults.error(field.at, field.key, `'${printable(word, 60)}' is no time of a video's header`, allowed);
  return undefined;
}
