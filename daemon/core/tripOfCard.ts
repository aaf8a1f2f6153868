/**
 * To which trip a card belongs. A person's answer comes first; otherwise the dates of its frames, then its bodies.
 *
 * Invariant: never guesses. Where dates and bodies leave more than one trip, or none, the answer says so.
 * Frames outside the dates of the trip that was found are counted and go along: one stray frame holds up no card.
 */

import type { Day, TripId } from "../../shared/identity.ts";
import type { TripProfile } from "../../shared/trip.ts";

/** Files of one body on one shooting day. */
export interface CardDay {
  readonly day: Day;
  /** "" where the files don't say. */
  readonly serial: string;
  readonly files: number;
  /** Whether the day rests on what the camera wrote, not only on the file's own time. */
  readonly dated: boolean;
}

export interface TripCandidate {
  readonly id: TripId;
  readonly profile: TripProfile;
}

export type TripDecision =
  | {
      readonly decision: "trip";
      readonly trip: TripId /** Files outside its dates. */;
      readonly outside: number;
    }
  | { readonly decision: "none" }
  | { readonly decision: "several"; readonly trips: readonly TripId[] };

/**
 * @param daysFor what is on the card, by the days of this profile's zone, clocks and `day-starts`
 * @param assigned the trip that a person said; ignored if it is no longer described
 */
export function tripOfCard(
  daysFor: (profile: TripProfile) => readonly CardDay[],
  trips: readonly TripCandidate[],
  assigned: TripId | undefined,
): TripDecision {
  const said = trips.find((trip) => trip.id === assigned);
  if (said !== undefined) return found(said, daysFor(said.profile));

  const covering = trips
    .map((trip) => ({ trip, days: daysFor(trip.profile) }))
    .filter(({ trip, days }) => evidence(days).some((day) => covers(trip.profile, day.day)));
  const only = narrowed(covering);
  if (only === undefined) {
    return covering.length === 0
      ? { decision: "none" }
      : { decision: "several", trips: covering.map(({ trip }) => trip.id) };
  }
  return found(only.trip, only.days);
}

interface Covering {
  readonly trip: TripCandidate;
  readonly days: readonly CardDay[];
}

/** The one trip left, after bodies had their say where dates alone couldn't tell. */
function narrowed(covering: readonly Covering[]): Covering | undefined {
  if (covering.length <= 1) return covering[0];
  const byBodies = covering.filter(({ trip, days }) => listsAllBodies(trip.profile, days));
  return byBodies.length === 1 ? byBodies[0] : undefined;
}

function listsAllBodies(profile: TripProfile, days: readonly CardDay[]): boolean {
  const listed = new Set(profile.bodies.map((body) => body.serial));
  const seen = new Set(days.map((day) => day.serial).filter((serial) => serial !== ""));
  return seen.size > 0 && [...seen].every((serial) => listed.has(serial));
}

/** A file's own time says when it was written somewhere, so it counts only where no camera's time stands. */
function evidence(days: readonly CardDay[]): readonly CardDay[] {
  const dated = days.filter((day) => day.dated);
  return dated.length > 0 ? dated : days;
}

/** Civil dates of four-digit years sort as text. */
function covers(profile: TripProfile, day: Day): boolean {
  return profile.from <= day && day <= profile.to;
}

function found(trip: TripCandidate, days: readonly CardDay[]): TripDecision {
  let outside = 0;
  for (const day of evidence(days)) if (!covers(trip.profile, day.day)) outside += day.files;
  return { decision: "trip", trip: trip.id, outside };
}
