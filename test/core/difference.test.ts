/** Damaged, or written by another program: what tells them apart. */

import { expect, test } from "vitest";
import { type Standing, whatBecame } from "../../daemon/core/difference.ts";
import { bytes, instant } from "../../shared/units.ts";

const noon = Date.parse("2027-06-05T12:00:00Z");
const verified = { size: bytes(1_000), times: [instant(noon)] };
const standing = (more: Partial<Standing>): Standing => ({
  size: bytes(1_000),
  modified: instant(noon),
  brokenBy: undefined,
  ...more,
});
const hours = (count: number) => instant(noon + count * 3_600_000);

test.each<[string, "damaged" | "changed", Partial<Standing>]>([
  ["same size, same time: no program did that", "damaged", {}],
  ["a time off by less than FAT's two seconds", "damaged", { modified: instant(noon + 1_990) }],
  ["a time that FAT tells in another zone (Linux vfat: local time)", "damaged", { modified: hours(-5) }],
  ["a zone with three quarters of an hour (Asia/Kathmandu)", "damaged", { modified: hours(5.75) }],
  ["cut short, as a file system that lost its end gives it", "damaged", { size: bytes(600) }],
  ["a new time and a broken structure", "damaged", { modified: hours(100.1), brokenBy: "it has no end" }],
  ["a new time and nothing in it", "damaged", { modified: hours(100.1), size: bytes(0) }],
  ["a new time, whole", "changed", { modified: hours(100.1) }],
  ["a new time, shorter and whole", "changed", { modified: hours(100.1), size: bytes(900) }],
  ["the old time kept on purpose, longer and whole", "changed", { size: bytes(1_400) }],
  ["a day and more later at the same minute", "changed", { modified: hours(48) }],
])("%s: %s", (_what, answer, now) => {
  expect(whatBecame(verified, standing(now))).toBe(answer);
});

test("where the copy's time isn't known, only its size tells", () => {
  const unknown = { size: bytes(1_000), times: [] };
  expect(whatBecame(unknown, standing({ modified: hours(100.1) }))).toBe("damaged");
  expect(whatBecame(unknown, standing({ size: bytes(1_400) }))).toBe("changed");
});

test("a file that two cards showed with two times was given either", () => {
  const two = { size: bytes(1_000), times: [hours(-100.1), instant(noon)] };
  expect(whatBecame(two, standing({}))).toBe("damaged");
});
