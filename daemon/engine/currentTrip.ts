/** Which trip is meant when none is named. */

import { rfc3339 } from "../../shared/format.ts";
import type { KnownTrip } from "./dating.ts";
import type { Engine } from "./engine.ts";

/** The trip of today, else the one that was copied to last, else the next one. */
export function currentTrip(engine: Engine): KnownTrip | undefined {
  const today = (trip: KnownTrip): string => rfc3339(engine.now(), trip.profile.zone).slice(0, 10);
  const running = engine.tripBook.trips.find(
    (trip) => trip.profile.from <= today(trip) && today(trip) <= trip.profile.to,
  );
  if (running !== undefined) return running;
  const latest = engine.ports.ledger.latestTripWithOriginals();
  const used = engine.tripBook.trips.find((trip) => trip.id === latest);
  if (used !== undefined) return used;
  const byStart = [...engine.tripBook.trips].sort((a, b) => (a.profile.from < b.profile.from ? -1 : 1));
  return byStart.find((trip) => trip.profile.from > today(trip)) ?? byStart.at(-1);
}
