/**
 * Which letter stands for which camera body in a trip's file names.
 *
 * Invariants: the profile's word comes first; a letter once given stays, unless the profile gives it to another body;
 * no two bodies share one. Files whose body is unknown share one letter of their own.
 * Not its job: renaming what is filed already; that never happens.
 */

import type { TripBody } from "../../shared/trip.ts";

/**
 * The letter of each serial number.
 * @param known letters given on earlier cards of this trip
 * @param serials in order of appearance; "" is the unknown body
 */
export function assignLetters(
  bodies: readonly TripBody[],
  known: ReadonlyMap<string, string>,
  serials: Iterable<string>,
): Map<string, string> {
  const fromProfile = new Map<string, string>();
  for (const body of bodies) if (body.letter !== undefined) fromProfile.set(body.serial, body.letter);
  const claimed = new Set(fromProfile.values());
  const unknown = unknownLetter(claimed);

  const result = new Map<string, string>(fromProfile);
  result.set("", unknown);
  const taken = new Set(result.values());
  for (const [serial, letter] of known) {
    if (result.has(serial) || taken.has(letter)) continue;
    result.set(serial, letter);
    taken.add(letter);
  }
  for (const serial of serials) {
    if (result.has(serial)) continue;
    const letter = nextFree(taken);
    taken.add(letter);
    result.set(serial, letter);
  }
  return result;
}

/** X for unknown, or the shortest row of Xs that the profile left. */
function unknownLetter(claimed: ReadonlySet<string>): string {
  return ["X", "XX", "XXX"].find((letter) => !claimed.has(letter)) ?? nextFree(claimed);
}

/** A to Z, then AA, AB and so on. */
function nextFree(taken: ReadonlySet<string>): string {
  for (let index = 1; ; index += 1) {
    let letters = "";
    for (let rest = index; rest > 0; rest = Math.floor((rest - 1) / 26)) {
      letters = String.fromCharCode(65 + ((rest - 1) % 26)) + letters;
    }
    if (!taken.has(letters)) return letters;
  }
}
