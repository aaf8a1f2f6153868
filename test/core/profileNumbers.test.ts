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
