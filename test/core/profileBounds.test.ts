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
  // A tag or an anchor may stand between two levels of one line (YAML 1.2.2, 6.9).
  ["lists in lists behind anchors", "- &a ".repeat(15_000)],
  ["keys in keys behind tags", "? !a ".repeat(15_000)],
  ["maps in maps on one line", "a: ".repeat(30_000)],
  ["maps in maps within brackets, a line each", `x: [${"a:\n".repeat(1_900)}`],
  ["maps in maps behind quotes", `x: {${'"a":'.repeat(24_000)}`],
  ["closings of nothing", `trip: ${"]".repeat(90_000)}`],
  ["keys in one map of one line", `x: {${Array.from({ length: 15_000 }, (_, key) => `k${key}`).join(",")}}`],
  ["maps by indent", Array.from({ length: 400 }, (_, level) => `${" ".repeat(level)}a:`).join("\n")],
  ["too many keys", Array.from({ length: 20_000 }, (_, key) => `k${key}: 1`).join("\n")],
  ["too many line breaks written as escapes", `trip: "${"\\n".repeat(90_000)}"`],
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

test("the fault points at the line that goes too far", () => {
  const { faults } = readProfile(`${example}\n# one more\nnames: ${"a: ".repeat(100)}`);
  expect(faults.map(({ line, column }) => [line, column])).toEqual([[example.split("\n").length + 2, 1]]);
});

test("as many levels as the bounds let through are read, changed and refused without harm", () => {
  const deepest = [
    `x: ${"[".repeat(799)}`,
    `x: ${"[".repeat(399)}${"]".repeat(399)}`,
    `x: ${"{a: ".repeat(60)}`,
    `${"- &a ".repeat(64)}`,
    `${"? !a ".repeat(64)}`,
    `x: [${"a:\n".repeat(990)}`,
    Array.from({ length: 64 }, (_, level) => `${" ".repeat(level)}a:`).join("\n"),
  ];
  for (const text of deepest) {
    expect(beyondBounds(text)).toBeUndefined();
    expect(readProfile(text).profile).toBeUndefined();
    expect(() => [
      formOf(text),
      examplesOf(text, [], new Map()),
      changeProfile(text, [{ key: "code", value: "K" }]),
    ]).not.toThrow();
  }
});

test("a comment may have a ruler", () => {
  expect(beyondBounds(`# ${"-".repeat(98)}\n# ${":".repeat(98)}\n${example}`)).toBeUndefined();
});

test("changes are bounded by how much text they read again: hundreds in a profile, few in a long text", () => {
  const changes = (many: number) =>
    Array.from({ length: many }, (_, nth) => ({ key: "code", value: `K${nth}` }));
  expect(changeProfile(example, changes(200))).toBe(example.replace("code: KC", "code: K199"));
  const long = `${example}\n${"# a line that says nothing of the trip at all\n".repeat(1_900)}`;
  expect(beyondBounds(long)).toBeUndefined();
  expect(changeProfile(long, changes(5))).toContain("code: K4");
  expect(changeProfile(long, changes(20))).toBeUndefined();
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
