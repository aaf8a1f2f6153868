/** To which trip a card belongs. */

import { expect, test } from "vitest";
import { type CardDay, type TripCandidate, tripOfCard } from "../../daemon/core/tripOfCard.ts";
import type { Day, TripId } from "../../shared/identity.ts";
import type { TripProfile } from "../../shared/trip.ts";
import { millis } from "../../shared/units.ts";

function trip(
  id: string,
  from: string,
  to: string,
  serials: readonly string[] = [],
  zone = "UTC",
): TripCandidate {
  const profile: TripProfile = {
    trip: id,
    code: id,
    from: from as Day,
    to: to as Day,
    zone,
    dayStartsMinutes: 0,
    goal: { copies: 1, places: 1 },
    drives: [{ name: "Blue", role: "primary" }],
    bodies: serials.map((serial) => ({ serial, clockCorrection: millis(0), videoClock: "utc" })),
    folders: "{trip}/{day}",
    names: "{original}",
    after: { ejectCard: false },
    edits: { leaveOut: [], historyShare: 0.05 },
  };
  return { id: id as TripId, profile };
}

const day = (value: string, serial = "s1", files = 10, dated = true): CardDay => ({
  day: value as Day,
  serial,
  files,
  dated,
});

const june = trip("june", "2027-06-03", "2027-06-14");
const july = trip("july", "2027-07-01", "2027-07-09");

test("a card belongs to the trip whose dates cover its frames; strays are counted and go along", () => {
  const days = [day("2027-06-04"), day("2027-05-20", "s1", 3)];
  expect(tripOfCard(() => days, [june, july], undefined)).toEqual({
    decision: "trip",
    trip: "june",
    outside: 3,
  });
});

test("both ends of a trip belong to it", () => {
  for (const [value, decision] of [
    ["2027-06-03", "trip"],
    ["2027-06-14", "trip"],
    ["2027-06-02", "none"],
    ["2027-06-15", "none"],
  ] as const) {
    expect(tripOfCard(() => [day(value)], [june], undefined).decision, value).toBe(decision);
  }
});

test("a person's answer beats the dates", () => {
  const decided = tripOfCard(() => [day("2027-06-04", "s1", 7)], [june, july], "july" as TripId);
  expect(decided).toEqual({ decision: "trip", trip: "july", outside: 7 });
});

test("of two trips that cover the days, the one that lists every body seen", () => {
  const mine = trip("mine", "2027-06-01", "2027-06-30", ["s1", "s2"]);
  const theirs = trip("theirs", "2027-06-01", "2027-06-30", ["s3"]);
  const days = [day("2027-06-04", "s1"), day("2027-06-05", "s2"), day("2027-06-05", "")];
  expect(tripOfCard(() => days, [theirs, mine], undefined)).toMatchObject({ decision: "trip", trip: "mine" });
});

test("where bodies can't tell either, the answer is that there are several", () => {
  const one = trip("one", "2027-06-01", "2027-06-30", ["s1"]);
  const two = trip("two", "2027-06-04", "2027-06-05", ["s1"]);
  const several = { decision: "several", trips: ["one", "two"] };
  expect(tripOfCard(() => [day("2027-06-04")], [one, two], undefined)).toEqual(several);
  expect(tripOfCard(() => [day("2027-06-04", "unheard of")], [one, two], undefined)).toEqual(several);
  expect(tripOfCard(() => [day("2027-06-04", "")], [one, two], undefined)).toEqual(several);
});

test("a card across two trips is not given to one of them by guessing", () => {
  const days = [day("2027-06-04"), day("2027-07-02")];
  expect(tripOfCard(() => days, [june, july], undefined)).toMatchObject({ decision: "several" });
});

test("the file's own time counts only where no frame has a camera's time", () => {
  const undated = [day("2027-06-04", "", 5, false)];
  expect(tripOfCard(() => undated, [june], undefined)).toMatchObject({ decision: "trip", outside: 0 });
  const mixed = [day("2027-07-02"), day("2027-06-04", "", 500, false)];
  expect(tripOfCard(() => mixed, [june, july], undefined)).toMatchObject({ trip: "july" });
});

test("each trip is judged by the days of its own zone", () => {
  const far = trip("far", "2027-06-15", "2027-06-20", [], "Pacific/Kiritimati");
  const daysFor = (profile: TripProfile) => [day(profile.zone === "UTC" ? "2027-06-14" : "2027-06-15")];
  const early = trip("early", "2027-06-10", "2027-06-13");
  expect(tripOfCard(daysFor, [far, early], undefined)).toMatchObject({ decision: "trip", trip: "far" });
});

test("an empty card, or one of no trip, belongs to none", () => {
  expect(tripOfCard(() => [], [june], undefined)).toEqual({ decision: "none" });
  expect(tripOfCard(() => [day("2026-01-01")], [june], undefined)).toEqual({ decision: "none" });
});
