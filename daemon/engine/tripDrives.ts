/**
 * The drives that a trip's profile names, with what is known of each: introduced, plugged in, lost. Those that were freed
 * of the trip have no part in it any more.
 */

import type { DriveStatusJson } from "../../shared/api.ts";
import { nameKey } from "../../shared/identity.ts";
import type { DriveRow } from "../ports/ledger.ts";
import type { KnownTrip } from "./dating.ts";
import type { Engine } from "./engine.ts";

/** A drive of a trip, with what is known of it. */
export interface TripDriveState {
  readonly name: string;
  readonly role: DriveStatusJson["role"];
  readonly place: string | undefined;
  readonly row: DriveRow | undefined;
  readonly present: boolean;
  /** The drive of this name was declared lost, and no other took its name. */
  readonly lost: boolean;
}

export function drivesOf(engine: Engine, trip: KnownTrip): readonly TripDriveState[] {
  const rows = engine.ports.ledger.drives();
  const lost = new Set(engine.ports.ledger.lostDrives().map((drive) => nameKey(drive.name)));
  const present = new Set(engine.presence.drives.map((drive) => drive.id));
  const taking = trip.profile.drives.filter(({ name }) => !engine.tripBook.isFreed(name, trip.id));
  return taking.map((drive) => {
    const row = rows.find((each) => nameKey(each.name) === nameKey(drive.name));
    return {
      name: drive.name,
      role: drive.role,
      place: drive.place,
      row,
      present: row !== undefined && present.has(row.id),
      lost: row === undefined && lost.has(nameKey(drive.name)),
    };
  });
}
