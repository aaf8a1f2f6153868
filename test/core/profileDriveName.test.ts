/** Another drive in a profile: the name changes, every other character stays. */

import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { readProfile } from "../../daemon/core/profile.ts";
import { renameDrive } from "../../daemon/core/profileDriveName.ts";

const example = readFileSync("config/example-trip.yaml", "utf8");

test("in the example profile one word changes, comments and all else stay", () => {
  const changed = renameDrive(example, "Rust", "Moss");
  expect(changed).toBe(example.replace("name: Rust", "name: Moss"));
  expect(readProfile(changed ?? "").profile?.drives).toEqual([
    { name: "Blue", role: "primary", place: "on me" },
    { name: "Slate", role: "secondary", place: "room safe" },
    { name: "Moss", role: "further", place: "car" },
  ]);
});

test("a name is found in any case and composition, and the new one is written as given", () => {
  expect(renameDrive(example, "RUST", "moss")).toBe(example.replace("name: Rust", "name: moss"));
  // UAX #15: e with an acute accent, composed and decomposed.
  expect(renameDrive("drives: [{ name: Caf\u00e9 }]", "cafe\u0301", "Moss")).toBe("drives: [{ name: Moss }]");
});

test("block and flow style, quotes and comments stay as they were", () => {
  const block = [
    "drives: # Rust is the old one",
    "  - role: further # Rust",
    '    name:   "Rust"   # bought in 2025',
    "    place: Rust",
    "  - { 'name': 'Slate', role: primary, place: 'Rust' }",
    "  - name: Blue # on me",
    "    role: secondary",
    "",
  ].join("\r\n");
  expect(renameDrive(block, "rust", "Moss")).toBe(block.replace('"Rust"', '"Moss"'));
  expect(renameDrive(block, "Slate", "Anna's")).toBe(block.replace("'Slate'", "'Anna''s'"));
  expect(renameDrive(block, "Blue", "Moss")).toBe(block.replace("name: Blue", "name: Moss"));
  expect(renameDrive("drives: [{name: Rust}, {name: Blue}]", "Rust", "Moss")).toBe(
    "drives: [{name: Moss}, {name: Blue}]",
  );
});

test("a name that occurs elsewhere is not touched there", () => {
  const text = [
    "# Rust: the drive in the car",
    "trip: Rust",
    "code: Rust",
    "drives:",
    "  - { name: Rusty, role: secondary, place: Rust }",
    "  - { role: primary, place: Rust, name: Rust } # Rust",
    "bodies: [{ serial: Rust, letter: A }]",
    "folders: '{trip}/Rust'",
  ].join("\n");
  expect(renameDrive(text, "Rust", "Moss")).toBe(text.replace("name: Rust }", "name: Moss }"));
});

test("a name that would be something else without quotes gets them", () => {
  const names = [
    "12",
    "true",
    "null",
    "~",
    "a, b",
    "a: b",
    "a #b",
    "- a",
    "{a}",
    "*a",
    "&a",
    "!a",
    "'a'",
    "",
  ];
  for (const name of [...names, '"a"', "a]", "a}", "@a", "%a", "0x1F", "1e3", "?", "写真", "a\\b"]) {
    for (const text of [
      "drives: [{ name: Rust, role: further }, { name: Blue }] # x",
      "drives:\n  - name: Rust # x\n    role: further\n  - name: 'Blue'\n",
    ]) {
      const changed = renameDrive(text, "Rust", name) ?? "";
      const [before = "", after = ""] = text.split("Rust");
      expect(changed.startsWith(before) && changed.endsWith(after), name).toBe(true);
      const written = changed.slice(before.length, changed.length - after.length);
      expect([name, JSON.stringify(name)]).toContain(written);
      // Back again, which finds it only if it reads as that name.
      expect(renameDrive(changed, name, "Blue 2"), name).toContain("Blue 2");
      expect(renameDrive(changed, "Blue", "x"), name).toContain("x");
    }
  }
  expect(renameDrive("drives: [{ name: Rust }]", "Rust", "12")).toBe('drives: [{ name: "12" }]');
  expect(renameDrive("drives: [{ name: Rust }]", "Rust", "a, role: b")).toBe(
    'drives: [{ name: "a, role: b" }]',
  );
  expect(renameDrive("drives: [{ name: 'Rust' }]", "Rust", "a\nb")).toBe('drives: [{ name: "a\\nb" }]');
});

test("a name over several lines becomes one line, and what follows stays", () => {
  const text = "drives:\n  - name: |-\n      Rust\n    role: further # old\n  - name: Blue\n";
  expect(renameDrive(text, "Rust", "Moss")).toBe(
    'drives:\n  - name: "Moss"\n    role: further # old\n  - name: Blue\n',
  );
});

test("what lists no such drive, or is no sound YAML, is left alone", () => {
  for (const text of [
    "",
    "Rust",
    "drives: Rust",
    "drives: [Rust]",
    "drives: { name: Rust }",
    "drives: [{ name: Blue }]",
    "drives: [{ names: Rust }]",
    "drives: [{ name: [Rust] }]",
    "name: Rust",
    "drives: [{ name: Rust }",
    "drives: [{ name: Rust, name: Blue }]",
    "other: &a Rust\ndrives: [{ name: *a }]",
  ])
    expect(renameDrive(text, "Rust", "Moss"), text).toBeUndefined();
});
