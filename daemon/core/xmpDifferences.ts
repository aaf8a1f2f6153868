/** What differs between two sidecars, property by property, as people compare them. Not its job: reading XMP. */

import type { DifferenceJson } from "../../shared/editsApi.ts";
import { printable } from "../../shared/text.ts";

/** characters of a value: the text of a mask or a history can be as long as a book. */
const valueLongest = 300;

/** Properties whose values differ, or that one side hasn't, by their names; texts are printable. */
export function differencesOf(
  kept: ReadonlyMap<string, string>,
  other: ReadonlyMap<string, string>,
): readonly DifferenceJson[] {
  const names = [...new Set([...kept.keys(), ...other.keys()])].sort();
  return names
    .filter((name) => kept.get(name) !== other.get(name))
    .map((name) => ({ property: printable(name), ...shownApart(kept.get(name), other.get(name)) }));
}

/** Both values shortened; where that hides what differs, it is told. */
function shownApart(
  kept: string | undefined,
  other: string | undefined,
): Pick<DifferenceJson, "kept" | "other"> {
  const [left, right] = [shown(kept), shown(other)];
  if (left === null || right === null || left !== right) return { kept: left, other: right };
  return { kept: `${left} (differs in the middle)`, other: `${right} (differs in the middle)` };
}

function shown(value: string | undefined): string | null {
  return value === undefined ? null : printable(value, valueLongest);
}
