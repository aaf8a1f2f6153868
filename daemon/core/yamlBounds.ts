/**
 * What a text may be at most before a YAML parser sees it. The parser calls itself for each level, and a text of nothing
 * but brackets would take the whole process along; so levels are bounded by counting what could open one, in one pass
 * and without understanding it: too strict for a telephone book, never for a trip.
 */

import type { ProfileFault } from "../../shared/trip.ts";

/** characters. */
const longest = 100_000;
/** A trip has some dozens. */
const linesMost = 2_000;
/** `[` and `{`, wherever they stand: lists and maps within a line, and fields of templates. */
const openingsMost = 400;
/** columns of blanks in front of a line: each level takes one at least. */
const indentMost = 64;
/** Marks of lists and keys in a row, such as `- - -`. */
const marksInARow = /(?:[-?:][ \t]+){9}/;

/** Why the text isn't read at all; undefined for one that may be. */
export function beyondBounds(text: string): ProfileFault | undefined {
  if (text.length > longest) return fault(1, "this file is longer than any profile", `${longest} characters`);
  const lines = text.split(/\r\n?|\n/);
  if (lines.length > linesMost)
    return fault(linesMost + 1, "this file has more lines than any profile", `${linesMost} lines`);
  let openings = 0;
  for (const [index, line] of lines.entries()) {
    openings += line.match(/[[{]/g)?.length ?? 0;
    const indent = /^[ \t]*/.exec(line)?.[0].length ?? 0;
    if (openings > openingsMost)
      return fault(index + 1, "there are more brackets than in any profile", `${openingsMost} of [ and {`);
    if (indent > indentMost || marksInARow.test(line))
      return fault(index + 1, "this is nested deeper than any profile", "8 levels");
  }
  return undefined;
}

function fault(line: number, what: string, most: string): ProfileFault {
  return { severity: "error", line, column: 1, key: "", what, allowed: `at most ${most}` };
}
