/**
 * What a text may be at most before a YAML parser sees it. The parser calls itself for each level and compares each key
 * with every other, so that a text of nothing but brackets would take the whole process along, and one of keys would
 * hold it up. Every level takes a sign of its own (YAML 1.2.2, 7.4 and 8.2), so the signs are counted, wherever they
 * stand: in one pass and without understanding the text, too strict for a telephone book, never for a trip.
 */

import type { ProfileFault } from "../../shared/trip.ts";

/** characters. */
const longest = 100_000;
/** A trip has some dozens. */
const linesMost = 2_000;
/** Lists and maps within a line, and fields of templates. A closing one too many is a fault of its own for the parser. */
const bracket = /[[\]{}]/g;
const bracketsMost = 800;
/** What begins an entry or a value: `-`, `?`, `:` before a blank, bracket or comma; `:` behind quotes, a bracket or blanks. */
const mark = /[-?:](?=[\s,[\]{}]|$)|(?:["'\]}]|^)[ \t]*:/g;
const marksMost = 1_000;
/** Of one line: `- { name: Blue, role: primary, place: car }` has four. */
const marksOfLineMost = 64;
/** Each could end an entry of a list or map within a line. */
const comma = /,/g;
const commasMost = 2_000;
/** columns of blanks in front of a line: each level takes one at least. */
const indentMost = 64;

/** Why the text isn't read at all; undefined for one that may be. */
export function beyondBounds(text: string): ProfileFault | undefined {
  if (text.length > longest) return fault(1, "this file is longer than any profile", `${longest} characters`);
  const lines = text.split(/\r\n?|\n/);
  if (lines.length > linesMost)
    return fault(linesMost + 1, "this file has more lines than any profile", `${linesMost} lines`);
  let brackets = 0;
  let marks = 0;
  let commas = 0;
  for (const [index, line] of lines.entries()) {
    const here = index + 1;
    const marksHere = countOf(mark, line);
    brackets += countOf(bracket, line);
    marks += marksHere;
    commas += countOf(comma, line);
    if (brackets > bracketsMost)
      return fault(here, "there are more brackets than in any profile", `${bracketsMost} of [ ] { }`);
    if (marksHere > marksOfLineMost)
      return fault(here, "this line has more keys than any of a profile", `${marksOfLineMost} of : - ?`);
    if (marks > marksMost)
      return fault(here, "there are more keys than in any profile", `${marksMost} of : - ?`);
    if (commas > commasMost)
      return fault(here, "there are more commas than in any profile", `${commasMost} commas`);
    const indent = /^[ \t]*/.exec(line)?.[0].length ?? 0;
    if (indent > indentMost)
      return fault(here, "this is indented further than any profile", `${indentMost} blanks`);
  }
  return undefined;
}

function countOf(sign: RegExp, line: string): number {
  return line.match(sign)?.length ?? 0;
}

function fault(line: number, what: string, most: string): ProfileFault {
  return { severity: "error", line, column: 1, key: "", what, allowed: `at most ${most}` };
}
