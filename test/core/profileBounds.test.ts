/** What no profile is isn't given to the YAML parser, which goes as deep as the text and would take the process along. */

import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { readProfile } from "../../daemon/core/profile.ts";
import { changeProfile } from "../../daemon/core/profileEdit.ts";
import { examplesOf } from "../../daemon/core/profileExamples.ts";
import { formOf } from "../../daemon/core/profileForm.ts";
import { beyondBounds } from "../../daemon/core/yamlBounds.ts";

const example = readFileSync(new URL("../../config/example-trip.yaml", import.meta.url), "utf8");

const texts: readonly (readonly [string, string])[] = [
  ["open brackets", `trip: ${"[".repeat(60_000)}`],
  ["open braces", `trip: ${"{".repeat(60_000)}`],
  ["closed brackets", `trip: ${"[".repeat(40_000)}${"]".repeat(40_000)}`],
  ["brackets with closings that are none", `trip: ${'[ "\n]\n", '.repeat(900)}`],
  ["lists in lists", `trip:\n${"- ".repeat(45_000)}`],
  ["keys in keys", `${"? ".repeat(45_000)}`],
  ["maps by indent", Array.from({ length: 400 }, (_, level) => `${" ".repeat(level)}a:`).join("\n")],
  ["too many keys", Array.from({ length: 20_000 }, (_, key) => `k${key}: 1`).join("\n")],
  ["too many characters", `trip: ${"a".repeat(100_001)}`],
];

test.each(texts)("%s are refused with one fault that says what is allowed", (_what, text) => {
  const { profile, faults } = readProfile(text);
  expect(profile).toBeUndefined();
  expect(faults).toHaveLength(1);
  expect(faults[0]?.allowed).toMatch(/^at most /);
});

test.each(texts)("%s give no form, no example and no change, and do no harm", (_what, text) => {
  expect(formOf(text)).toBeUndefined();
  expect(examplesOf(text, [], new Map())).toEqual([]);
  expect(changeProfile(text, [{ key: "code", value: "KC" }])).toBeUndefined();
});

test("the example is far within, and so is one with a dozen drives and fifty bodies", () => {
  expect(beyondBounds(example)).toBeUndefined();
  const bodies = Array.from(
    { length: 50 },
    (_, nth) => `  - { serial: "44${nth}", clock: "+00:00:01" } # it's mine`,
  );
  const drives = Array.from(
    { length: 12 },
    (_, nth) => `  - { name: Drive ${nth}, role: further, place: car }`,
  );
  expect(beyondBounds(`${example}\n${bodies.join("\n")}\n${drives.join("\n")}`)).toBeUndefined();
});
