/**
 * Reading a trip profile: YAML 1.2 in, a complete profile or every fault out, each with its line and column, what is
 * wrong and what is allowed.
 *
 * Invariants: one reading finds all faults; a profile with an error is no profile; warnings don't stop one. A trip's
 * name and folders, once accepted, are legal on every drive.
 * Not its job: where profile files stand (`daemon/home/tripFiles.ts`), whether the named drives exist.
 */

import { Temporal } from "temporal-polyfill";
import { type Day, nameKey } from "../../shared/identity.ts";
import type { ProfileFault, TripProfile } from "../../shared/trip.ts";
import { readBodies } from "./profileBodies.ts";
import { readDrives, readGoal } from "./profileDrives.ts";
import { readEdits } from "./profileEdits.ts";
import { checkTemplates, readArchive, readFolders, readNames } from "./profileTemplates.ts";
import { readDay, readDayStarts, readName, readZone } from "./profileValues.ts";
import { beyondBounds } from "./yamlBounds.ts";
import { type Faults, type Field, readBoolean, readMap, readYaml } from "./yamlNodes.ts";

/** UTF-8 bytes of a trip's name: a folder's name that still leaves room for the rest of the path. */
const longestTrip = 100;
const longestCode = 16;
/** Days. A longer trip is more likely a slip in a year. */
const longestTripDays = 400;

/** In the order in which they are written. */
export const rootKeys: readonly string[] = [
  "trip",
  "code",
  "from",
  "to",
  "zone",
  "day-starts",
  "goal",
  "worth",
  "drives",
  "bodies",
  "folders",
  "names",
  "after",
  "edits",
  "archive",
];

type Fields = ReadonlyMap<string, Field>;

/** The profile, or undefined when there is an error among the faults. */
export function readProfile(text: string): {
  readonly profile: TripProfile | undefined;
  readonly faults: readonly ProfileFault[];
} {
  const beyond = beyondBounds(text);
  if (beyond !== undefined) return { profile: undefined, faults: [beyond] };
  const source = readYaml(text);
  const { faults } = source;
  const fields = readMap(source.root, 0, "", rootKeys, faults);
  const draft = fields === undefined ? undefined : readFields(fields, text, source.broken, faults);
  const list = faults.list();
  const sound = !list.some((fault) => fault.severity === "error");
  return { profile: sound && draft !== undefined ? draft : undefined, faults: list };
}

/** @param broken the YAML itself is faulty, so that missing keys may only have been misread */
function readFields(fields: Fields, text: string, broken: boolean, faults: Faults): TripProfile | undefined {
  const required = (name: string, allowed: string): Field | undefined => {
    const field = fields.get(name);
    if (field === undefined && !broken) faults.error(0, name, `'${name}' is missing`, allowed);
    return field;
  };
  const trip = readTrip(required("trip", "the trip's name, also its folder's name"), faults);
  const code = readCode(required("code", "a short text for file names, such as KC"), faults);
  const from = readDay(required("from", "the first day, YYYY-MM-DD"), faults);
  const toField = required("to", "the last day, YYYY-MM-DD");
  const to = readDay(toField, faults);
  checkDays(from, to, toField, faults);
  const zone = readZone(required("zone", "an IANA time zone such as Atlantic/Faroe"), faults);
  const dayStartsMinutes = readDayStarts(fields.get("day-starts"), faults);
  const drivesField = required("drives", "a list of drives with name, role and place");
  const listed = readDrives(drivesField, faults);
  const drives = listed?.drives;
  const goal = readGoal(fields, drivesField, listed, faults);
  const bodies = readBodies(fields.get("bodies"), faults);
  const folders = readFolders(fields.get("folders"), text, faults);
  const names = readNames(fields.get("names"), text, faults);
  const ejectCard = readAfter(fields.get("after"), faults);
  const edits = readEdits(fields.get("edits"), text, faults);
  const archive = readArchive(fields.get("archive"), text, faults);

  if (folders !== undefined && names !== undefined) {
    const at = fields.get("names") ?? fields.get("folders");
    const known = trip !== undefined && code !== undefined && from !== undefined && to !== undefined;
    checkTemplates(
      names.template,
      folders.template,
      at,
      known && from <= to ? { trip, code, from, to } : undefined,
      faults,
    );
  }
  if (trip === undefined || code === undefined || from === undefined || to === undefined) return undefined;
  if (zone === undefined || dayStartsMinutes === undefined || drives === undefined || goal === undefined)
    return undefined;
  if (bodies === undefined || folders === undefined || names === undefined || ejectCard === undefined)
    return undefined;
  if (edits === undefined || archive === undefined) return undefined;
  return {
    trip,
    code,
    from,
    to,
    zone,
    dayStartsMinutes,
    goal,
    drives,
    bodies,
    folders: folders.text,
    names: names.text,
    after: { ejectCard },
    edits,
    ...(archive === "none" ? {} : { archive }),
  };
}

function readTrip(field: Field | undefined, faults: Faults): string | undefined {
  const trip = readName(field, "the trip's name, also its folder's name", longestTrip, faults);
  if (field === undefined || trip === undefined) return undefined;
  if (nameKey(trip) === ".scrubjay") {
    faults.error(field.at, field.key, "this is the folder of the drive's own record", "any other name");
    return undefined;
  }
  return trip;
}

function readCode(field: Field | undefined, faults: Faults): string | undefined {
  return readName(field, "a short text for file names, such as KC", longestCode, faults);
}

function checkDays(
  from: Day | undefined,
  to: Day | undefined,
  toField: Field | undefined,
  faults: Faults,
): void {
  if (from === undefined || to === undefined || toField === undefined) return;
  if (to < from) {
    faults.error(
      toField.at,
      toField.key,
      `the last day ${to} is before the first, ${from}`,
      `${from} or later`,
    );
    return;
  }
  const days = Temporal.PlainDate.from(from).until(to, { largestUnit: "day" }).days + 1;
  if (days > longestTripDays) {
    faults.warning(
      toField.at,
      toField.key,
      `the trip lasts ${days} days; is the year right?`,
      "the last day",
    );
  }
}

function readAfter(field: Field | undefined, faults: Faults): boolean | undefined {
  if (field === undefined) return false;
  const fields = readMap(field.node, field.at, field.key, ["eject-card"], faults);
  const eject = fields?.get("eject-card");
  if (fields === undefined) return undefined;
  return eject === undefined ? false : readBoolean(eject, faults);
}
