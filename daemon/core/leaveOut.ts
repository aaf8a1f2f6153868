/**
 * Which work files a profile leaves out: patterns of names as in POSIX pattern matching (XCU 2.14: `*`, `?`, `[...]`
 * within one name), with `**` for any folders. They hold below the trip's folder, from its top, whatever the case. A
 * pattern that names a folder leaves out all below it.
 *
 * Invariants: a pattern is matched name by name, and may hold only so many wildcards in one name, so no pattern takes
 * longer than a few milliseconds for a path, however it was thought up.
 * Not its job: where the patterns stand (`profileEdits.ts`), what is a work file.
 */

import picomatch from "picomatch/posix.js";
import { nameKey, type RelativePath } from "../../shared/identity.ts";

/** characters of one pattern. A path below a trip's folder has at most 1,000 bytes. */
export const patternLongest = 500;
/** `*` in one name. A matcher that goes back does so at most 255³ / 6 times for the longest name of a file system. */
const starsMost = 3;
/** Names of a pattern, `**` among them. */
const partsMost = 40;

/** What is wrong with a pattern, and what is allowed. */
export interface PatternFault {
  /** characters from its beginning. */
  readonly at: number;
  readonly what: string;
  readonly allowed: string;
}

/** Undefined for a pattern that can be matched. */
export function patternFault(pattern: string): PatternFault | undefined {
  const fault = (at: number, what: string, allowed: string): PatternFault => ({ at, what, allowed });
  if (pattern.trim() === "") return fault(0, "this pattern is empty", "such as Catalogue/Previews/**");
  if (pattern.length > patternLongest)
    return fault(0, `this pattern is ${pattern.length} characters long`, `at most ${patternLongest}`);
  const parts = pattern.split("/");
  if (parts.length > partsMost)
    return fault(0, `this pattern has ${parts.length} names`, `at most ${partsMost}`);
  let at = 0;
  for (const [index, part] of parts.entries()) {
    const last = index === parts.length - 1;
    if (part === "" && !(last && index > 0))
      return index === 0
        ? fault(at, "this pattern begins with '/'", "a path below the trip's folder, such as Exports/**")
        : fault(at, "'//' stands in this pattern", "one '/' between names");
    if (part === "." || part === "..")
      return fault(at, `'${part}' names no file`, "names of files and folders");
    if (part.includes("\\"))
      return fault(at + part.indexOf("\\"), "'\\' stands in this pattern", "'/' between names");
    if (part !== "**" && part.split("*").length - 1 > starsMost)
      return fault(at, `'*' stands more than ${starsMost} times in one name`, `at most ${starsMost}`);
    at += part.length + 1;
  }
  return undefined;
}

/** Whether a path is left out. Patterns with a fault leave nothing out. */
export function leftOut(patterns: readonly string[]): (path: RelativePath) => boolean {
  const matchers = patterns.filter((pattern) => patternFault(pattern) === undefined).map(matcherOf);
  if (matchers.length === 0) return () => false;
  return (path) => {
    const names = path.split("/").map(nameKey);
    return matchers.some((matches) => matches(names));
  };
}

/** One name of a pattern, or any number of folders. */
type Part = ((name: string) => boolean) | "folders";

function matcherOf(pattern: string): (names: readonly string[]) => boolean {
  const parts = pattern.replace(/\/$/, "").split("/").map(partOf);
  return (names) => {
    // reached[i]: the parts so far take exactly the first i names.
    let reached: readonly boolean[] = names.map((_, index) => index === 0).concat(false);
    for (const part of parts) reached = after(reached, part, names);
    // What is below a path that matches is left out with it; a trip's folder itself is none.
    return reached.some((is, index) => is && index > 0);
  };
}

function after(reached: readonly boolean[], part: Part, names: readonly string[]): readonly boolean[] {
  if (part === "folders") {
    let any = false;
    return reached.map((is) => {
      any ||= is;
      return any;
    });
  }
  return reached.map((_, index) => {
    const name = names[index - 1];
    return reached[index - 1] === true && name !== undefined && part(name);
  });
}

function partOf(part: string): Part {
  if (part === "**") return "folders";
  if (!/[*?[]/.test(part)) {
    const key = nameKey(part);
    return (name) => name === key;
  }
  // Braces, extended patterns and the rest aren't POSIX's: their signs stand for themselves.
  const plain = part.replace(/[!(){}+@|^$]/g, (sign, at: number) =>
    inBrackets(part, at) ? sign : `\\${sign}`,
  );
  return picomatch(nameKey(plain), {
    dot: true,
    nocase: true,
    nobrace: true,
    noextglob: true,
    nonegate: true,
    noglobstar: true,
    posix: true,
    literalBrackets: false,
  });
}

/** Whether what stands there is between `[` and the `]` that ends it (XCU 2.14.1). */
function inBrackets(part: string, at: number): boolean {
  const open = part.lastIndexOf("[", at);
  return open >= 0 && open < at && part.indexOf("]", open + 2) >= at;
}
