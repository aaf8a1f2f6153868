/** Letters of camera bodies in file names. */

import { expect, test } from "vitest";
import { assignLetters } from "../../daemon/core/bodies.ts";
import type { TripBody } from "../../shared/trip.ts";
import { millis } from "../../shared/units.ts";

const body = (serial: string, letter?: string): TripBody => ({
  serial,
  clockCorrection: millis(0),
  videoClock: "utc",
  ...(letter === undefined ? {} : { letter }),
});

test("the profile's letter first, then the one given before, then the next free one", () => {
  const letters = assignLetters([body("s1", "B")], new Map([["s2", "A"]]), ["s3", "s2", "s1", "s4", "s3"]);
  expect([...["s1", "s2", "s3", "s4"].map((serial) => letters.get(serial))]).toEqual(["B", "A", "C", "D"]);
});

test("a letter that the profile gives away is not kept by the body that had it", () => {
  const letters = assignLetters([body("s1", "A")], new Map([["s2", "A"]]), ["s2", "s1"]);
  expect(letters.get("s1")).toBe("A");
  expect(letters.get("s2")).toBe("B");
});

test("the unknown body has X, or XX where the profile took X, and no other body gets it", () => {
  expect(assignLetters([], new Map(), [""]).get("")).toBe("X");
  const taken = assignLetters([body("s1", "X")], new Map([["", "X"]]), ["", "s1"]);
  expect(taken.get("")).toBe("XX");
  expect(taken.get("s1")).toBe("X");
});

test("after Z comes AA, and no two of many bodies share a letter", () => {
  const serials = Array.from({ length: 800 }, (_, index) => `s${index}`);
  const letters = assignLetters([], new Map(), ["", ...serials]);
  expect(letters.get("s24")).toBe("Z"); // X is left out
  expect(letters.get("s25")).toBe("AA");
  expect(new Set(letters.values()).size).toBe(801);
  for (const letter of letters.values()) expect(letter).toMatch(/^[A-Z]{1,3}$/);
});

test("a body listed without a letter gets the next free one when it appears", () => {
  expect(assignLetters([body("s1"), body("s2", "A")], new Map(), ["s1"]).get("s1")).toBe("B");
});
