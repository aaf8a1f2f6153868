/** What differs between two sidecars: by name, sorted, never hidden by shortening. */

import { expect, test } from "vitest";
import { differencesOf } from "../../daemon/core/xmpDifferences.ts";

const of = (properties: Record<string, string>) => new Map(Object.entries(properties));

test("properties that differ or stand on one side alone are told in the order of their names", () => {
  const kept = of({ "xmp:Rating": "3", "dc:Subject": "cliff, kestrel", "xmp:Label": "Red" });
  const other = of({ "xmp:Rating": "5", "dc:Subject": "cliff, kestrel", "aux:Lens": "R2 50" });
  expect(differencesOf(kept, other)).toEqual([
    { property: "aux:Lens", kept: null, other: "R2 50" },
    { property: "xmp:Label", kept: "Red", other: null },
    { property: "xmp:Rating", kept: "3", other: "5" },
  ]);
});

test("two sidecars that say the same differ in nothing", () => {
  expect(differencesOf(of({ "xmp:Rating": "3" }), of({ "xmp:Rating": "3" }))).toEqual([]);
});

test("an empty value isn't the same as none", () => {
  expect(differencesOf(of({ "dc:Rights": "" }), of({}))).toEqual([
    { property: "dc:Rights", kept: "", other: null },
  ]);
});

test("long values are shortened, steering marks are shown, and what that hides is told", () => {
  const long = (middle: string) => `${"a".repeat(500)}${middle}${"b".repeat(500)}`;
  const [first, second] = differencesOf(
    of({ "crs:Mask": long("x"), "dc:Title": "one\u202e" }),
    of({ "crs:Mask": long("y"), "dc:Title": "two" }),
  );
  expect(first?.kept).toContain("differs in the middle");
  expect(first?.other).toContain("differs in the middle");
  expect(first?.kept?.length).toBeLessThan(340);
  expect(second).toEqual({ property: "dc:Title", kept: "one\\u{202e}", other: "two" });
});
