/** Each card with its verdict and reasons as text, and the cautions once if any may be formatted. */

import type { CardStatusJson } from "../../shared/api.ts";
import { counted, formatBytes, formatCount } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { formatCautions } from "./cautions.ts";
import { fullMoment } from "./moments.ts";
import { paragraph } from "./table.ts";

const width = 96;
/** Lines. The rest is counted; `--json` has more of them. */
const shownMost = 5;

export function renderCards(cards: readonly CardStatusJson[]): string {
  if (cards.length === 0) return "No card was seen yet. Put one in.\n";
  const sorted = [...cards].sort((a, b) => Number(b.present) - Number(a.present));
  const blocks = sorted.map(renderCard);
  if (cards.some((card) => card.clear)) blocks.push(paragraph(formatCautions, width));
  return blocks.join("\n");
}

function renderCard(card: CardStatusJson): string {
  const label = card.label === "" ? "" : ` '${printable(card.label)}'`;
  const where = card.present
    ? `here, at ${printable(card.mount ?? "")}`
    : `not here since ${fullMoment(card.lastSeen)}`;
  const trip = card.trip === null ? "no trip" : printable(card.trip);
  const content = `${counted(card.frames, "frame")}, ${counted(card.files, "file")}, ${formatBytes(bytes(card.bytes))}`;
  const lines = [
    `${printable(card.name)}${label}: ${where}\n`,
    paragraph(printable(card.verdict, 2_000), width, "  "),
    `  ${trip}; ${content}; id ${printable(card.id)}\n`,
  ];
  for (const file of card.lacking.slice(0, shownMost)) {
    const state = `${file.verified} of ${file.goal} copies; ${printable(file.why, 500)}`;
    lines.push(paragraph(`${printable(file.path)}: ${state}`, width, "    ", "      "));
  }
  const more = card.lackingTotal - Math.min(card.lacking.length, shownMost);
  if (more > 0) lines.push(`    and ${counted(more, "more file")}\n`);
  if (card.leavings.length > 0) {
    const named = card.leavings
      .slice(0, shownMost)
      .map((each) => `${printable(each.path)} (${printable(each.why)})`);
    const rest = card.leavings.length - named.length;
    const others = rest > 0 ? `, and ${formatCount(rest)} more` : "";
    lines.push(paragraph(`Not copied: ${named.join(", ")}${others}.`, width, "    ", "      "));
  }
  if (card.undated.length > 0) {
    const what = `${counted(card.undated.length, "frame")} without a usable time of its own, filed by the file's time.`;
    lines.push(paragraph(what, width, "    "));
  }
  return lines.join("");
}
