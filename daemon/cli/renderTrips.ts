/** Trips and the faults of their profiles as text. */

import type { TripSummaryJson } from "../../shared/api.ts";
import { printable } from "../../shared/text.ts";
import type { ProfileFault } from "../../shared/trip.ts";
import { tableOrList } from "./table.ts";
import { usualColumns } from "./terminal.ts";

/** One line each, as the GNU Coding Standards write errors: `FILE:LINE:COL: error: what. allowed`. */
export function renderFaults(file: string, faults: readonly ProfileFault[]): string {
  return faults
    .map((fault) => {
      const place = `${printable(file)}:${fault.line}:${fault.column}`;
      const key = fault.key === "" ? "" : `${printable(fault.key)}: `;
      return `${place}: ${fault.severity}: ${key}${ended(fault.what)} Allowed: ${fault.allowed}\n`;
    })
    .join("");
}

/** @param width columns */
export function renderTrips(trips: readonly TripSummaryJson[], width = usualColumns): string {
  if (trips.length === 0) return "No trip is described yet. Add one with `scrubjay trip add FILE`.\n";
  const rows = trips.map((trip) => [
    printable(trip.name),
    printable(trip.code),
    `${trip.from} to ${trip.to}`,
    trip.zone,
    trip.id,
  ]);
  return tableOrList(["trip", "code", "days", "zone", "id"], rows, width);
}

/** As a sentence: a question has its own mark. */
function ended(sentence: string): string {
  return sentence.endsWith("?") ? sentence : `${sentence}.`;
}
