/**
 * Single values of a trip profile: names, labels, days, zones, times. Each reader gives the value or notes the fault
 * at its place and gives undefined.
 *
 * Not its job: how values fit together (`profile.ts`).
 */

import { Temporal } from "temporal-polyfill";
import type { Day } from "../../shared/identity.ts";
import { printable } from "../../shared/text.ts";
import { nearest } from "./nearest.ts";
import { bytesOf, safePart } from "./safeName.ts";
import { type Faults, type Field, readText } from "./yamlNodes.ts";

/** Zones by their name in the tz database (its file `backward`, 2025) where Intl lists only an earlier one. */
const renamedZones = [
  "UTC",
  "America/Nuuk",
  "Asia/Ho_Chi_Minh",
  "Asia/Kathmandu",
  "Asia/Kolkata",
  "Asia/Yangon",
  "Atlantic/Faroe",
  "Europe/Kyiv",
];

/** A text that is used in names as it is, and therefore must be legal on every drive. */
export function readName(
  field: Field | undefined,
  allowed: string,
  longest: number,
  faults: Faults,
): string | undefined {
  const name = field === undefined ? undefined : readText(field, allowed, faults);
  if (field === undefined || name === undefined) return undefined;
  if (saysNothing(name, field, allowed, faults)) return undefined;
  const bytes = bytesOf(name);
  if (bytes > longest) {
    faults.error(field.at, field.key, `this is ${bytes} bytes long in UTF-8`, `at most ${longest} bytes`);
    return undefined;
  }
  if (safePart(name) !== name || name !== name.trim()) {
    const why = `'${printable(name)}' can't be used in names: exFAT, NTFS or HFS+ refuse or change it`;
    const rule = 'no " * / : < > ? \\ | or controls, no blank or dot at an end, no device name such as CON';
    faults.error(field.at, field.key, why, rule);
    return undefined;
  }
  return name;
}

/** A short text for people that isn't used in paths. */
export function readLabel(
  field: Field | undefined,
  item: Field,
  name: string,
  allowed: string,
  faults: Faults,
): string | undefined {
  if (field === undefined) {
    faults.error(item.at, `${item.key}.${name}`, `'${name}' is missing`, allowed);
    return undefined;
  }
  const text = readText(field, allowed, faults);
  if (text === undefined) return undefined;
  if (saysNothing(text, field, allowed, faults)) return undefined;
  if (text === text.trim() && text.length <= 60 && printable(text) === text) return text;
  faults.error(
    field.at,
    field.key,
    `'${printable(text, 60)}' can't be shown well`,
    `${allowed}; up to 60 visible characters`,
  );
  return undefined;
}

export function readDay(field: Field | undefined, faults: Faults): Day | undefined {
  if (field === undefined) return undefined;
  const allowed = "a date that exists, YYYY-MM-DD, from 1980 to 2107";
  const text = readText(field, allowed, faults);
  if (text === undefined) return undefined;
  if (saysNothing(text, field, allowed, faults)) return undefined;
  const year = Number(text.slice(0, 4));
  // The years that FAT and exFAT can note (File Times; exFAT specification 7.4.8).
  if (/^\d{4}-\d{2}-\d{2}$/.test(text) && year >= 1980 && year <= 2107 && isRealDate(text))
    return text as Day;
  faults.error(field.at, field.key, `'${printable(text, 60)}' is no date`, allowed);
  return undefined;
}

export function readZone(field: Field | undefined, faults: Faults): string | undefined {
  if (field === undefined) return undefined;
  const allowed = "an IANA time zone such as Atlantic/Faroe or UTC";
  const zone = readText(field, allowed, faults);
  if (zone === undefined || saysNothing(zone, field, allowed, faults)) return undefined;
  if (/^[A-Za-z]/.test(zone) && isZone(zone)) return zone;
  const near = nearest(zone, [...renamedZones, ...Intl.supportedValuesOf("timeZone")]);
  const hint = near === undefined ? "" : `; did you mean '${near}'?`;
  faults.error(field.at, field.key, `'${printable(zone, 60)}' is no time zone${hint}`, allowed);
  return undefined;
}

export function readDayStarts(field: Field | undefined, faults: Faults): number | undefined {
  if (field === undefined) return 0;
  const allowed = 'a time of day in quotes, "00:00" to "23:59"';
  const text = readText(field, allowed, faults);
  if (text === undefined) return undefined;
  const found = /^([01]\d|2[0-3]):([0-5]\d)$/.exec(text);
  if (found !== null) return Number(found[1]) * 60 + Number(found[2]);
  faults.error(field.at, field.key, `'${printable(text, 60)}' is no time of day`, allowed);
  return undefined;
}

function saysNothing(text: string, field: Field, allowed: string, faults: Faults): boolean {
  if (text.trim() !== "") return false;
  faults.error(field.at, field.key, "this is empty", allowed);
  return true;
}

/** Whether a text `YYYY-MM-DD` names a day that exists. */
export function isRealDate(text: string): boolean {
  try {
    const [year, month, day] = text.split("-").map(Number);
    if (year === undefined || month === undefined || day === undefined) return false;
    Temporal.PlainDate.from({ year, month, day }, { overflow: "reject" });
    return true;
  } catch (error) {
    if (error instanceof RangeError) return false;
    throw error;
  }
}

/** Whether this computer knows the zone. */
export function isZone(zone: string): boolean {
  try {
    new Intl.DateTimeFormat("en", { timeZone: zone });
    return true;
  } catch (error) {
    if (error instanceof RangeError) return false;
    throw error;
  }
}
