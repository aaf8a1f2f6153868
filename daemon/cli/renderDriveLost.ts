/** What the loss of a drive leaves short, as text. */

import type { DriveLostJson } from "../../shared/api.ts";
import { counted, formatBytes } from "../../shared/format.ts";
import { asArgument, inSentence, printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { list } from "../core/verdict.ts";
import { putCardsIn, renderNowhere } from "./renderNowhere.ts";
import { type Seeds, seedsFor } from "./seeds.ts";
import { paragraph, signed } from "./table.ts";
import { usualColumns } from "./terminal.ts";

/** The drive that takes the place of the lost one. */
export interface Successor {
  readonly name: string;
  readonly present: boolean;
}

/**
 * @param successor the drive that takes its place; undefined while none does
 * @param unicode whether the terminal shows the seeds' signs; ASCII ones otherwise
 * @param width columns
 */
export function renderDriveLost(
  lost: DriveLostJson,
  successor: Successor | undefined,
  unicode: boolean,
  width = usualColumns,
): string {
  const seeds = seedsFor(unicode);
  const name = printable(lost.name, 60);
  const held =
    lost.held.files === 0
      ? "It held no copy."
      : `It held ${counted(lost.held.files, "file")} (${formatBytes(bytes(lost.held.bytes))}); they count no more.`;
  const parts = [
    paragraph(`${name} is declared lost. ${held}`, width, " "),
    renderShort(lost, seeds, width) + renderWithdrawn(lost, seeds, width),
    lost.nowhereTotal === 0 ? "" : renderGone(lost, seeds, width),
    paragraph(nextStep(lost, successor), width, " ") +
      paragraph(
        `This can't be undone: if ${name} is found again it is a new drive, and its files are found by reading them.`,
        width,
        " ",
      ),
  ];
  return parts.filter((part) => part !== "").join("\n");
}

function renderShort(lost: DriveLostJson, seeds: Seeds, width: number): string {
  if (lost.short === 0) return paragraph("No file is short of its copies now.", width, " ");
  const has = lost.short === 1 ? "has" : "have";
  const said = `${counted(lost.short, "file")} ${has} fewer copies than the goal now. What the other drives hold is untouched and counts as before.`;
  return signed(seeds.owed, said, width);
}

function renderWithdrawn({ withdrawn }: DriveLostJson, seeds: Seeds, width: number): string {
  if (withdrawn.length === 0) return "";
  const one = withdrawn.length === 1;
  const names = list(withdrawn.map((name, index) => (index === 0 ? name : inSentence(name))));
  const said = `${names} must not be formatted any more: ${one ? "its verdict is" : "their verdicts are"} withdrawn. Keep ${one ? "it and put it" : "them and put them"} in again. If a card was formatted already, nothing is lost as long as another drive holds its files.`;
  return signed(seeds.damaged, said, width);
}

function renderGone(lost: DriveLostJson, seeds: Seeds, width: number): string {
  const one = lost.nowhereTotal === 1;
  const said =
    `${counted(lost.nowhereTotal, "file")} ${one ? "is" : "are"} on no drive any more. ` +
    `Everything else is untouched. Format no card before you have put it in: what is still on one is copied again by itself.`;
  return signed(seeds.damaged, said, width) + renderNowhere(lost.nowhere, lost.nowhereTotal, width);
}

function nextStep(lost: DriveLostJson, successor: Successor | undefined): string {
  const cards = lost.nowhereTotal === 0 ? "" : `${putCardsIn(lost.nowhere, lost.nowhereTotal)} `;
  return `${cards}${whoTakesItsPlace(lost, successor)}`;
}

function whoTakesItsPlace({ name, short }: DriveLostJson, successor: Successor | undefined): string {
  const old = asArgument(name);
  if (successor !== undefined) {
    const shown = printable(successor.name, 60);
    if (short === 0) return `${shown} gets what comes from now on.`;
    return successor.present
      ? `${shown} is being filled now from what is plugged in; the rest follows by itself when a drive or card that has it comes.`
      : `Plug in ${shown} and the drives that hold the files, or put the cards in; what is owed is brought up by itself.`;
  }
  return (
    `Introduce another drive under its name with \`scrubjay drive add MOUNT --name ${old}\`, ` +
    `or put a known one in its place with \`scrubjay drive replace ${old} NAME\`; what it owes is brought up by itself.`
  );
}
