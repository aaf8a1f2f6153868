/** Patterns of work files that are left out: what they take, and that no pattern takes long. */

import { expect, test } from "vitest";
import { leftOut, patternFault } from "../../daemon/core/leaveOut.ts";
import { relativePath } from "../../shared/identity.ts";
import { hostileText, seeded } from "./seeded.ts";

const takes = (pattern: string, path: string): boolean => {
  expect(patternFault(pattern), pattern).toBeUndefined();
  return leftOut([pattern])(relativePath(path));
};

test.each([
  ["Catalogue/Previews/**", "Catalogue/Previews/0/a.dat"],
  ["Catalogue/Previews", "Catalogue/Previews/0/a.dat"],
  ["Catalogue/Previews/", "Catalogue/Previews/0/a.dat"],
  ["catalogue/PREVIEWS", "Catalogue/Previews/a.dat"],
  ["*.tmp", "Notes.TMP"],
  ["*.tmp", ".hidden.tmp"],
  ["**/*.tmp", "a/b/c.tmp"],
  ["**/*.tmp", "c.tmp"],
  ["**/Cache", "a/Cache/b/c"],
  ["a/**/b", "a/b"],
  ["a/**/b", "a/x/y/b"],
  ["**", "anything/at/all"],
  ["a?c", "abc"],
  ["img[0-9][!x]", "img7y"],
  ["[[:alpha:]]1", "a1"],
  ["Cafe\u0301*", "Caf\u00e9 1.jpg"],
  ["(one) {two}+!*", "(one) {two}+!.jpg"],
  ["@(a)*", "@(a)b"],
  ["!a*", "!ab"],
  ["[ab", "[ab"],
])("'%s' leaves out '%s'", (pattern, path) => {
  expect(takes(pattern, path)).toBe(true);
});

test.each([
  ["Catalogue/Previews/**", "Catalogue/Catalogue.db"],
  ["Previews", "Catalogue/Previews/a"],
  ["*.tmp", "a/b.tmp"],
])("'%s' keeps '%s'", (pattern, path) => {
  expect(takes(pattern, path)).toBe(false);
});

test.each([
  ["a?c", "ac"],
  ["img[!0-9]", "img7"],
  ["!a*", "b"],
  ["@(a)*", "ab"],
  ["a{b,c}*", "ab"],
  ["a.*", "abc"],
  ["a|b*", "b"],
  ["Catalogue", "Catalogue 2/a"],
])("'%s' keeps '%s': signs that aren't POSIX's stand for themselves", (pattern, path) => {
  expect(takes(pattern, path)).toBe(false);
});

test("no pattern leaves nothing out", () => {
  expect(leftOut([])(relativePath("a"))).toBe(false);
});

test.each([
  ["", 0, /empty/],
  ["/Exports", 0, /begins with/],
  ["a//b", 2, /'\/\/'/],
  ["a/../b", 2, /names no file/],
  ["a\\b", 1, /'\\'/],
  ["a/*b*c*d*e", 2, /more than 3 times/],
  ["a".repeat(501), 0, /501 characters/],
  ["a/".repeat(41), 0, /names/],
])("'%s' is no pattern: what is wrong is said with its place", (pattern, at, what) => {
  const fault = patternFault(pattern);
  expect(fault?.at).toBe(at);
  expect(fault?.what).toMatch(what);
  expect(fault?.allowed).toMatch(/./);
  expect(leftOut([pattern])(relativePath(pattern.replace(/^$|^\/|\/\/|\.\.\/|\\/g, "x").slice(0, 200)))).toBe(
    false,
  );
});

/** ms for one path; a matcher that tries every way would take hours for these. */
const longest = 200;

test.each([
  ["*a*a*b", "a".repeat(255)],
  ["*?????????*?????????*b", "a".repeat(255)],
  ["*[a-z]*[a-z]*1", "a".repeat(255)],
  [`${"**/".repeat(39)}b`, `${"a/".repeat(400)}c`],
  [`${"**/*a*a*b/".repeat(19)}x`, `${"a".repeat(200)}/${"a".repeat(200)}/${"a/".repeat(200)}c`],
  [`*${"[[:alpha:]]".repeat(40)}*b`, "a".repeat(255)],
  ["[".repeat(500), "a".repeat(255)],
  [`${"?".repeat(400)}b`, "a".repeat(255)],
])("the hostile pattern %s is matched in no time", (pattern, path) => {
  const matches = leftOut([pattern]);
  const begun = performance.now();
  matches(relativePath(path));
  expect(performance.now() - begun).toBeLessThan(longest);
});

test("whatever stands there, it is a pattern or a fault, and matching ends", () => {
  const random = seeded(7);
  for (let tries = 0; tries < 300; tries += 1) {
    const pattern = hostileText(random, 12);
    if (patternFault(pattern) === undefined) leftOut([pattern])(relativePath("Catalogue/a[b]*.db"));
  }
});
