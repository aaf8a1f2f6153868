/** A form's change leaves every other value as it is written: a number keeps its zeros and its digits. */

import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { readProfile } from "../../daemon/core/profile.ts";
import { changeProfile } from "../../daemon/core/profileEdit.ts";
import { formOf } from "../../daemon/core/profileForm.ts";

const example = readFileSync(new URL("../../config/example-trip.yaml", import.meta.url), "utf8");
const serial = /serial: *"[^"]*"/;

for (const written of ["0012", "12345678901234567890", "1e3", "0x1F"])
  test(`an unquoted serial ${written} is as it was after another value changed`, () => {
    const text = example.replace(serial, `serial: ${written}`);
    expect(readProfile(text).profile, "its fault says: in quotes").toBeUndefined();
    for (const change of [
      { key: "bodies[0].zone", value: "UTC" },
      { key: "day-starts", value: null },
    ]) {
      const changed = changeProfile(text, [change]);
      if (changed === undefined) continue; // refused: also right
      expect(formOf(changed)?.bodies[0]?.serial).toBe(written);
      // Worse than the change: the fault is gone with it, so the trip can be saved with a serial that no body has.
      expect(readProfile(changed).profile).toBeUndefined();
    }
  });

test("a number that a change rewrites around it, in one line with it, keeps its characters", () => {
  const text =
    "code: KC\nbodies: [ { serial: 0012, letter: 0x1F }, { serial: 1e3 }, { serial: 12345678901234567891 } ]\n";
  const changed = changeProfile(text, [
    { key: "bodies[1]", value: null },
    { key: "bodies[1].zone", value: "standIn00000" },
  ]);
  expect(changed).toContain("serial: 0012, letter: 0x1F");
  expect(changed).toContain("serial: 12345678901234567891, zone: standIn00000");
});

test("a number that is changed itself is written as it is now", () => {
  for (const [before, value, after] of [
    ["goal: { copies: 0002, places: 0x2 }", "2", "goal: { copies: 2, places: 0x2 }"],
    ["goal: { copies: 3, places: 002 }", "12", "goal: { copies: 12, places: 002 }"],
  ] as const)
    expect(changeProfile(`${before}\n`, [{ key: "goal.copies", value }])).toBe(`${after}\n`);
});
