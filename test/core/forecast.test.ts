/** When a drive will be full is said days before; how much a day takes is what the last ones took. */

import { expect, test } from "vitest";
import { type FillView, fillsSoon, pace } from "../../daemon/core/forecast.ts";
import type { Day } from "../../shared/identity.ts";
import { bytes } from "../../shared/units.ts";

const taken = (...perDay: readonly (readonly [string, number])[]) =>
  perDay.map(([day, gigabytes]) => ({ day: `2027-06-${day}` as Day, bytes: bytes(gigabytes * 1e9) }));

const view = (more: Partial<FillView>): FillView => ({
  id: "kc",
  days: taken(["03", 20], ["04", 10], ["05", 30]),
  today: "2027-06-06" as Day,
  to: "2027-06-14" as Day,
  drives: [{ name: "Slate", roomBytes: 50e9 }],
  ...more,
});

test("a day takes what the last three shooting days took on average", () => {
  expect(pace(taken(["01", 500], ["03", 20], ["04", 10], ["05", 30]), "2027-06-06" as Day)).toBe(20e9);
});

test("today isn't over: it counts only once it is more than the days before", () => {
  expect(pace(taken(["04", 20], ["06", 5]), "2027-06-06" as Day)).toBe(20e9);
  expect(pace(taken(["04", 20], ["06", 45]), "2027-06-06" as Day)).toBe(45e9);
});

test("a drive that lasts two more days of eight is warned of, with the days, the room and what a day takes", () => {
  const [alert, ...more] = fillsSoon(view({}));
  expect(more).toEqual([]);
  expect(alert).toMatchObject({
    code: "drive-fills-soon",
    severity: "warning",
    about: "kc/Slate",
    happened:
      "Slate is full in about 2 days: it has room for 50 GB, a day took 20 GB lately, and the trip has 8 more days.",
  });
  expect(alert?.next).toContain("scrubjay drive replace Slate NAME");
});

test("one that lasts for days, but not to the end, is a note; one that lasts to the end is nothing", () => {
  expect(fillsSoon(view({ drives: [{ name: "Slate", roomBytes: 100e9 }] }))[0]?.severity).toBe("note");
  expect(fillsSoon(view({ drives: [{ name: "Slate", roomBytes: 159.9e9 }] }))).toHaveLength(1);
  expect(fillsSoon(view({ drives: [{ name: "Slate", roomBytes: 160e9 }] }))).toEqual([]);
});

test("a drive without room for the next day says so, and a negative room is none", () => {
  for (const roomBytes of [19e9, -3e9])
    expect(fillsSoon(view({ drives: [{ name: "Slate", roomBytes }] }))[0]?.happened).toContain(
      "full with the next day's frames",
    );
});

test("before the first frame, on the last day and afterwards nothing is foretold", () => {
  expect(fillsSoon(view({ days: [] }))).toEqual([]);
  for (const today of ["2027-06-14", "2027-07-01"])
    expect(fillsSoon(view({ today: today as Day, drives: [{ name: "Slate", roomBytes: 0 }] }))).toEqual([]);
});

test("each drive is judged by its own room", () => {
  const drives = [
    { name: "Blue", roomBytes: 500e9 },
    { name: "Rust", roomBytes: 10e9 },
  ];
  expect(fillsSoon(view({ drives })).map((alert) => alert.about)).toEqual(["kc/Rust"]);
});
