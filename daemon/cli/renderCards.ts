/** Each card with its verdict and reasons as text, and the cautions once if any may be formatted. */

import type { CardStatusJson } from "../../shared/api.ts";
import { cardsInOrder, damagedOf, damagedOnly, mayBeFormatted } from "../../shared/boardTable.ts";
import { formatCautions } from "../../shared/cautions.ts";
import { counted, formatBytes, formatCount } from "../../shared/format.ts";
import { datedMoment, fullMoment } from "../../shared/moments.ts";
import { printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { type Seeds, seedsFor } from "./seeds.ts";
import { padTo, paragraph } from "./table.ts";
import { usualColumns } from "./terminal.ts";

/** Lines. The rest is counted; `--json` has more of them. */
const shownMost = 5;
/** Lines. More of these, since each is lost or has to be judged by a person; `--json` has all. */
const damagedMost = 20;
/** Characters. A path that `cards accept` takes is shown whole. */
const longestPath = 1_000;

/**
 * @param unicode whether the terminal shows the seeds' signs; ASCII ones otherwise
 * @param width columns
 */
export function renderCards(
  cards: readonly CardStatusJson[],
  unicode: boolean,
  width = usualColumns,
): string {
  if (cards.length === 0) return "No card was seen yet. Put one in.\n";
  const seeds = seedsFor(unicode);
  const blocks = cardsInOrder(cards).map((card) => renderCard(card, seeds, width));
  if (cards.some(mayBeFormatted)) blocks.push(paragraph(formatCautions, width));
  return blocks.join("\n");
}

function renderCard(card: CardStatusJson, seeds: Seeds, width: number): string {
  // A card without a number is called by its label already.
  const labelled = card.label === "" || card.name.startsWith("Card “");
  const label = labelled ? "" : ` '${printable(card.label)}'`;
  const where = card.present
    ? `here, at ${printable(card.mount ?? "")}`
    : `not here since ${fullMoment(card.lastSeen)}`;
  const trip = card.trip === null ? "no trip" : printable(card.trip);
  const content = `${counted(card.frames, "frame")}, ${counted(card.files, "file")}, ${formatBytes(bytes(card.bytes))}`;
  const judged = card.judgedAt === undefined ? "" : datedMoment(card.judgedAt);
  const verdict = `${verdictOf(card)}${judged === "" ? "" : ` (${judged})`}`;
  const lines = [
    paragraph(`${printable(card.name)}${label}: ${where}`, width, "", "  "),
    paragraph(verdict, width, "  "),
    paragraph(`${trip}; ${content}; id ${printable(card.id)}`, width, "  ", "    "),
  ];
  lines.push(renderDamaged(card, seeds, width), renderVanished(card, seeds, width));
  const elsewhere = damagedOnly(card);
  const lacking = card.lacking.filter((file) => !elsewhere.includes(file));
  for (const file of lacking.slice(0, shownMost)) {
    // While nobody knows the card's trip there is no goal to count by.
    const count = file.goal > 0 ? `${file.verified} of ${counted(file.goal, "copy", "copies")}; ` : "";
    const said = `${printable(file.path)}: ${count}${printable(file.why, 500)}`;
    lines.push(paragraph(said, width, "    ", "      "));
  }
  const more = card.lackingTotal - elsewhere.length - Math.min(lacking.length, shownMost);
  if (more > 0) lines.push(`    and ${counted(more, "more file")}\n`);
  if (card.leavings.length > 0) {
    const named = firstOf(card.leavings.map((each) => `${printable(each.path)} (${printable(each.why)})`));
    lines.push(paragraph(`Not copied: ${named}.`, width, "    ", "      "));
  }
  if (card.undated.length > 0) {
    const named = firstOf(card.undated.map((path) => printable(path)));
    lines.push(paragraph(`${withoutTime(card.undated.length)}: ${named}.`, width, "    ", "      "));
  }
  return lines.join("");
}

/** The daemon's sentence, with what a person took on by accepting damage. */
function verdictOf(card: CardStatusJson): string {
  const verdict = printable(card.verdict, 2_000);
  const accepted = (card.damaged ?? []).filter((file) => file.accepted).length;
  if (!mayBeFormatted(card) || accepted === 0) return verdict;
  const are = accepted === 1 ? "is" : "are";
  return `${verdict.replace(/\.$/, "")}; ${formatCount(accepted)} of its files ${are} damaged, as you accepted.`;
}

/** Each by itself, those that someone knows of behind the others. */
function renderDamaged(card: CardStatusJson, seeds: Seeds, width: number): string {
  const all = [...damagedOf(card), ...(card.damaged ?? []).filter((file) => file.accepted)];
  const lines = all.slice(0, damagedMost).map(({ path, why, accepted }) => {
    const what = accepted ? "known to be damaged" : "damaged";
    return withSign(seeds.damaged, `${printable(path, longestPath)}: ${what}: ${printable(why, 500)}`, width);
  });
  return lines.join("") + moreOf(all.length, "damaged file");
}

function renderVanished(card: CardStatusJson, seeds: Seeds, width: number): string {
  const vanished = card.vanished ?? [];
  const lines = vanished
    .slice(0, damagedMost)
    .map((path) =>
      withSign(seeds.damaged, `${printable(path, longestPath)}: gone from the card and never copied`, width),
    );
  return lines.join("") + moreOf(vanished.length, "file that is gone", "files that are gone");
}

function withSign(sign: string, text: string, width: number): string {
  return paragraph(text, width, `    ${padTo(sign, 3)}`, "       ");
}

function moreOf(total: number, one: string, many = `${one}s`): string {
  const rest = total - damagedMost;
  return rest > 0
    ? `    and ${formatCount(rest)} more ${rest === 1 ? one : many}; \`--json\` names all\n`
    : "";
}

/** Holds whether or not any of them is filed yet. */
function withoutTime(files: number): string {
  return files === 1
    ? "1 file is of a frame without a usable time of its own; the file's time counts for it"
    : `${formatCount(files)} files are of frames without a usable time of their own; the files' times count for them`;
}

/** The first few, and how many more. */
function firstOf(names: readonly string[]): string {
  const rest = names.length - shownMost;
  const shown = names.slice(0, shownMost).join(", ");
  return rest > 0 ? `${shown} and ${formatCount(rest)} more` : shown;
}
