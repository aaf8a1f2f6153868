/**
 * The drives of a trip profile, their roles and places, and whether the goal can be met with them.
 *
 * Not its job: which medium a drive is, and whether it exists.
 */

import { counted } from "../../shared/format.ts";
import { nameKey } from "../../shared/identity.ts";
import { printable } from "../../shared/text.ts";
import type { TripDrive, TripGoal } from "../../shared/trip.ts";
import { readLabel } from "./profileValues.ts";
import { type Faults, type Field, readList, readMap, readText, readWhole } from "./yamlNodes.ts";

/** What each word of `worth` asks for. */
const worths: Readonly<Record<string, TripGoal>> = {
  ordinary: { copies: 2, places: 1 },
  unrepeatable: { copies: 3, places: 2 },
};

/** The drives as far as they could be read: enough to tell whether the goal can be met, whatever else is wrong. */
export interface ListedDrives {
  /** Undefined while one of them is faulty. */
  readonly drives: readonly TripDrive[] | undefined;
  /** How many are listed, faulty ones too. */
  readonly count: number;
  /** The places that are named, one for each drive that names one; undefined while one of them can't be read. */
  readonly places: readonly string[] | undefined;
}

export function readDrives(field: Field | undefined, faults: Faults): ListedDrives | undefined {
  if (field === undefined) return undefined;
  const items = readList(field, "a list of drives, one line each", faults);
  if (items === undefined) return undefined;
  if (items.length === 0) {
    faults.error(field.at, field.key, "no drive takes part", "at least one drive");
    return undefined;
  }
  const drives: TripDrive[] = [];
  const rolesAt: { role: string; field: Field }[] = [];
  const names = new Map<string, string>();
  const places: string[] = [];
  let placesRead = true;
  for (const item of items) {
    const fields = readMap(item.node, item.at, item.key, ["name", "role", "place"], faults);
    if (fields === undefined) {
      placesRead = false;
      continue;
    }
    const name = readLabel(fields.get("name"), item, "name", "the drive's name, such as Blue", faults);
    const role = readRole(fields.get("role"), item, faults);
    const placeField = fields.get("place");
    const place =
      placeField === undefined
        ? undefined
        : readLabel(placeField, item, "place", "where the drive is kept", faults);
    if (place !== undefined) places.push(place);
    else if (placeField !== undefined) placesRead = false;
    if (name !== undefined) {
      const twin = names.get(nameKey(name));
      if (twin !== undefined) {
        const at = fields.get("name")?.at ?? item.at;
        faults.error(
          at,
          `${item.key}.name`,
          `two drives are called '${twin}'`,
          "a name for each drive, upper and lower case alike",
        );
      }
      names.set(nameKey(name), name);
    }
    if (role !== undefined) rolesAt.push({ role, field: fields.get("role") ?? item });
    if (name !== undefined && role !== undefined)
      drives.push({ name, role, ...(place === undefined ? {} : { place }) });
  }
  checkRoles(rolesAt, items.length, field, faults);
  return {
    drives: drives.length === items.length ? drives : undefined,
    count: items.length,
    places: placesRead ? places : undefined,
  };
}

export function readGoal(
  fields: ReadonlyMap<string, Field>,
  drivesField: Field | undefined,
  listed: ListedDrives | undefined,
  faults: Faults,
): TripGoal | undefined {
  const goalField = fields.get("goal");
  const worthField = fields.get("worth");
  if (goalField !== undefined && worthField !== undefined) {
    faults.error(worthField.keyAt, "worth", "'goal' and 'worth' both say how many copies", "one of them");
  }
  const read =
    goalField !== undefined
      ? readGoalMap(goalField, faults)
      : worthField !== undefined
        ? readWorth(worthField, faults)
        : worths["ordinary"];
  if (read === undefined) return undefined;

  const at = goalField ?? worthField ?? drivesField;
  if (at === undefined) return read;
  const impossible = (what: string, allowed: string): void => faults.error(at.at, at.key, what, allowed);
  const copies = counted(read.copies, "copy", "copies");
  if (listed !== undefined && read.copies > listed.count) {
    impossible(
      `${copies} need ${read.copies} drives, and ${listed.count} ${listed.count === 1 ? "takes" : "take"} part`,
      `up to ${counted(listed.count, "copy", "copies")}, or more drives`,
    );
  }
  if (read.places > read.copies) {
    impossible(
      `${copies} can't be in ${counted(read.places, "place")}`,
      `up to ${counted(read.copies, "place")}`,
    );
    return read;
  }
  if (listed?.places === undefined) return read;
  const named = listed.places;
  const places = new Set(named.map(nameKey)).size;
  if (read.places > Math.max(1, places)) {
    impossible(
      `copies in ${read.places} places are asked for, and the drives name ${counted(places, "place")}`,
      "a different 'place' for drives kept apart, or fewer places",
    );
  } else if (listed.count > 1 && places === 1 && named.length === listed.count && drivesField !== undefined) {
    const where = printable(named[0] ?? "", 60);
    faults.warning(
      drivesField.at,
      drivesField.key,
      `all drives are kept in one place, '${where}': one loss takes every copy`,
      "two places or more",
    );
  }
  return read;
}

function checkRoles(
  roles: readonly { readonly role: string; readonly field: Field }[],
  drives: number,
  field: Field,
  faults: Faults,
): void {
  const primaries = roles.filter((each) => each.role === "primary");
  for (const extra of primaries.slice(1)) {
    faults.error(
      extra.field.at,
      extra.field.key,
      "a second drive is primary",
      "one primary; secondary or further",
    );
  }
  // A role that couldn't be read may have been the primary.
  if (primaries.length > 0 || roles.length < drives) return;
  const secondary = roles.find((each) => each.role === "secondary");
  if (secondary !== undefined) {
    faults.error(
      secondary.field.at,
      secondary.field.key,
      "a secondary without a primary",
      "one drive with role: primary",
    );
  } else {
    faults.error(field.at, field.key, "no drive is primary", "one drive with role: primary");
  }
}

function readRole(field: Field | undefined, item: Field, faults: Faults): TripDrive["role"] | undefined {
  const allowed = "primary, secondary or further";
  if (field === undefined) {
    faults.error(item.at, `${item.key}.role`, "'role' is missing", allowed);
    return undefined;
  }
  const role = readText(field, allowed, faults);
  if (role === undefined) return undefined;
  if (role === "primary" || role === "secondary" || role === "further") return role;
  faults.error(field.at, field.key, `'${printable(role, 60)}' is no role`, allowed);
  return undefined;
}

function readGoalMap(field: Field, faults: Faults): TripGoal | undefined {
  const fields = readMap(field.node, field.at, field.key, ["copies", "places"], faults);
  if (fields === undefined) return undefined;
  const copiesField = fields.get("copies");
  const placesField = fields.get("places");
  if (copiesField === undefined) {
    faults.error(field.at, "goal.copies", "'copies' is missing", "how many drives shall hold each frame");
  }
  const copies = copiesField === undefined ? undefined : readWhole(copiesField, 1, 9, faults);
  const places = placesField === undefined ? 1 : readWhole(placesField, 1, 9, faults);
  return copies === undefined || places === undefined ? undefined : { copies, places };
}

function readWorth(field: Field, faults: Faults): TripGoal | undefined {
  const allowed = "ordinary (2 copies) or unrepeatable (3 copies in 2 places)";
  const word = readText(field, allowed, faults);
  if (word === undefined) return undefined;
  if (Object.hasOwn(worths, word)) return worths[word];
  faults.error(field.at, field.key, `'${printable(word, 60)}' is no worth`, allowed);
  return undefined;
}
