/**
 * What a trip profile says of work files: which aren't mirrored, and what share of a drive their earlier versions may
 * take.
 *
 * Not its job: how a pattern is matched (`leaveOut.ts`).
 */

import { printable } from "../../shared/text.ts";
import type { TripProfile } from "../../shared/trip.ts";
import { patternFault } from "./leaveOut.ts";
import {
  type Faults,
  type Field,
  isListed,
  offsetInside,
  readList,
  readMap,
  readScalar,
  readText,
} from "./yamlNodes.ts";

export const editsKeys: readonly string[] = ["leave-out", "history"];

/** Of a drive of 1 TB 50 GB: months of catalogues, while frames still have nearly all of it. */
const defaultHistoryShare = 0.05;
/** Percent. A drive that goes for its larger part to history holds too few frames. */
const historyMost = 50;
/** More are more likely a list that was made by a program; each is tried on every path. */
const patternsMost = 100;

const patternAllowed = "a pattern such as Catalogue/Previews/**, or a list of them";
const historyAllowed = `a percentage from 0 % to ${historyMost} %, such as 5 %`;

export function readEdits(
  field: Field | undefined,
  source: string,
  faults: Faults,
): TripProfile["edits"] | undefined {
  if (field === undefined) return { leaveOut: [], historyShare: defaultHistoryShare };
  const fields = readMap(field.node, field.at, field.key, editsKeys, faults);
  if (fields === undefined) return undefined;
  const leaveOut = readPatterns(fields.get("leave-out"), source, faults);
  const historyShare = readShare(fields.get("history"), faults);
  return leaveOut === undefined || historyShare === undefined ? undefined : { leaveOut, historyShare };
}

function readPatterns(
  field: Field | undefined,
  source: string,
  faults: Faults,
): readonly string[] | undefined {
  if (field === undefined) return [];
  const items = isListed(field) ? readList(field, patternAllowed, faults) : [field];
  if (items === undefined) return undefined;
  if (items.length > patternsMost) {
    const what = `${items.length} patterns are listed`;
    faults.error(field.at, field.key, what, `at most ${patternsMost}; '**' stands for any folders`);
    return undefined;
  }
  const patterns = items.map((item) => readPattern(item, source, faults));
  return patterns.every((pattern) => pattern !== undefined) ? patterns : undefined;
}

function readPattern(field: Field, source: string, faults: Faults): string | undefined {
  const pattern = readText(field, patternAllowed, faults);
  if (pattern === undefined) return undefined;
  const fault = patternFault(pattern);
  if (fault === undefined) return pattern;
  faults.error(offsetInside(field, source, fault.at), field.key, printable(fault.what), fault.allowed);
  return undefined;
}

function readShare(field: Field | undefined, faults: Faults): number | undefined {
  if (field === undefined) return defaultHistoryShare;
  const scalar = readScalar(field, historyAllowed, faults);
  if (scalar === undefined) return undefined;
  const found = /^(\d{1,3}(?:\.\d{1,2})?) ?%$/.exec(typeof scalar.value === "string" ? scalar.value : "");
  const percent = found === null ? undefined : Number(found[1]);
  if (percent !== undefined && percent <= historyMost) return percent / 100;
  const shown = printable(scalar.source ?? String(scalar.value), 60);
  faults.error(field.at, field.key, `'${shown}' is no share of a drive that fits here`, historyAllowed);
  return undefined;
}
