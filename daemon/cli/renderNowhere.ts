/** What existed and is on no drive that is known, by name, under the day and the card where it may still be. */

import type { NowhereJson } from "../../shared/api.ts";
import { counted, formatBytes, formatCount } from "../../shared/format.ts";
import { fullDay } from "../../shared/moments.ts";
import { printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { list } from "../core/verdict.ts";
import { paragraph } from "./table.ts";

/** Lines. The rest is counted; `--json` has more of them. */
const namedMost = 40;

/**
 * @param files those that are known by name
 * @param total how many there are
 * @param width columns
 */
export function renderNowhere(files: readonly NowhereJson[], total: number, width: number): string {
  const severalTrips = new Set(files.map((file) => file.trip)).size > 1;
  const blocks: string[] = [];
  let left = namedMost;
  for (const group of groupsOf(files)) {
    if (left <= 0) break;
    const shown = group.slice(0, left);
    left -= shown.length;
    const [first] = group;
    if (first === undefined) continue;
    const size = group.reduce((sum, file) => sum + file.bytes, 0);
    const amount = `${counted(group.length, "file")}, ${formatBytes(bytes(size))}`;
    blocks.push(paragraph(`${headOf(first, severalTrips)} (${amount})`, width, "    ", "      "));
    for (const file of shown) blocks.push(paragraph(printable(file.path, 300), width, "      ", "        "));
  }
  const named = Math.min(namedMost, files.length);
  if (total > named) {
    const where =
      total > files.length ? `\`--json\` names ${formatCount(files.length)}` : "`--json` names them";
    blocks.push(paragraph(`and ${formatCount(total - named)} more; ${where}`, width, "    "));
  }
  return blocks.join("");
}

/**
 * Which cards to put in, as a sentence: those of all files that are known by name, not only of those that are shown.
 *
 * @param files those that are known by name; at least one
 * @param total how many there are
 */
export function putCardsIn(files: readonly NowhereJson[], total: number): string {
  const known = [...new Set(files.map((file) => file.card))].filter((card) => card !== "");
  if (known.length === 0) return "Put every card of the trip in.";
  const further = total > files.length ? ", and every other card of the trip" : "";
  return `Put ${list(known.sort(byNumbers.compare))} in${further}.`;
}

function headOf({ trip, day, card }: NowhereJson, withTrip: boolean): string {
  const parts = [
    ...(withTrip ? [printable(trip, 100)] : []),
    day === "" ? "no frames" : fullDay(day) || printable(day, 40),
    card === "" ? "card unknown" : printable(card, 60),
  ];
  return parts.join(", ");
}

/** By trip, day and card; what is no frame stands behind the days, what is of no known card behind the cards. */
function groupsOf(files: readonly NowhereJson[]): readonly (readonly NowhereJson[])[] {
  const groups = new Map<string, NowhereJson[]>();
  for (const file of [...files].sort(inOrder)) {
    const key = JSON.stringify([file.trip, file.day, file.card]);
    const group = groups.get(key);
    if (group === undefined) groups.set(key, [file]);
    else group.push(file);
  }
  return [...groups.values()];
}

const byNumbers = new Intl.Collator("en", { numeric: true });

function cardKey({ card }: NowhereJson): string {
  return `${card === "" ? 1 : 0} ${card}`;
}

function inOrder(a: NowhereJson, b: NowhereJson): number {
  const noFrame = Number(a.day === "") - Number(b.day === "");
  const keys = [
    [a.trip, b.trip],
    [a.day, b.day],
    [cardKey(a), cardKey(b)],
    [a.path, b.path],
  ] as const;
  const [trip = 0, ...rest] = keys.map(([left, right]) => byNumbers.compare(left, right));
  return [trip, noFrame, ...rest].find((order) => order !== 0) ?? 0;
}
