/** What was learnt from the records of drives, and what existed and is on none of them, as text. */

import type { RebuildJson } from "../../shared/api.ts";
import { counted } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { list } from "../core/verdict.ts";
import { putCardsIn, renderNowhere } from "./renderNowhere.ts";
import { type Seeds, seedsFor } from "./seeds.ts";
import { paragraph, signed, tableOrList } from "./table.ts";
import { usualColumns } from "./terminal.ts";

/**
 * @param unicode whether the terminal shows the seeds' signs; ASCII ones otherwise
 * @param width columns
 */
export function renderRebuild(learnt: RebuildJson, unicode: boolean, width = usualColumns): string {
  const seeds = seedsFor(unicode);
  const parts = [
    renderTrips(learnt, width),
    learnt.drives.length === 0 ? "" : renderDrives(learnt, width),
    renderDoubts(learnt, seeds, width),
    learnt.elsewhere.length === 0 ? "" : renderElsewhere(learnt, seeds, width),
    learnt.nowhereTotal === 0 ? "" : renderLost(learnt, seeds, width),
    paragraph(nextStep(learnt), width, " "),
  ];
  return parts.filter((part) => part !== "").join("\n");
}

function renderTrips(learnt: RebuildJson, width: number): string {
  const from = list(learnt.drives.map((drive) => drive.name));
  if (learnt.trips.length === 0) return paragraph(`${from || "These drives"} know of no trip.`, width, " ");
  return learnt.trips
    .map((trip) => {
      const amount = `${counted(trip.frames, "frame")}, ${counted(trip.files, "file")}`;
      const said = `${printable(trip.name, 100)} is known again: ${amount}. Its profile is back as ${printable(trip.id, 60)}.`;
      return paragraph(said, width, " ", "   ");
    })
    .join("");
}

function renderDrives(learnt: RebuildJson, width: number): string {
  const rows = learnt.drives.map((drive) => [
    printable(drive.name, 60),
    printable(drive.mount),
    counted(drive.files, "file"),
  ]);
  const text = tableOrList(["drive", "where", "holds"], rows, width - 1);
  return text.replace(/^(?=.)/gm, " ");
}

/** What of the records didn't hold. */
function renderDoubts(learnt: RebuildJson, seeds: Seeds, width: number): string {
  const lines: string[] = [];
  if (learnt.torn > 0) {
    const one = learnt.torn === 1;
    const said = `${counted(learnt.torn, "line")} of the records ${one ? "was torn or altered and was" : "were torn or altered and were"} passed over.`;
    lines.push(signed(seeds.dot, `${said} The rest of them was read.`, width));
  }
  if (learnt.disagreeing > 0) {
    const one = learnt.disagreeing === 1;
    const [contradict, belong, were] = one
      ? ["contradicts", "belongs", "was"]
      : ["contradict", "belong", "were"];
    const said = `${counted(learnt.disagreeing, "entry", "entries")} ${contradict} others, or ${belong} to a file whose own line is torn, and ${were} left out.`;
    lines.push(signed(seeds.dot, said, width));
  }
  return lines.join("");
}

/** It is known from records alone: nobody looked at those drives yet. */
function renderElsewhere(learnt: RebuildJson, seeds: Seeds, width: number): string {
  const { elsewhere, nowhereTotal } = learnt;
  const where = list(
    elsewhere.map(({ drive, files }) => `${printable(drive, 40)} (${counted(files, "file")})`),
  );
  const what = nowhereTotal > 0 ? "a part of what" : "what";
  const them = elsewhere.length === 1 ? "it" : "them";
  const said = `By the records, ${what} these drives don't hold is on ${where}; plug ${them} in, and it is looked for.`;
  return signed(seeds.away, said, width);
}

function renderLost(learnt: RebuildJson, seeds: Seeds, width: number): string {
  const one = learnt.nowhereTotal === 1;
  const said =
    `${counted(learnt.nowhereTotal, "file")} existed and ${one ? "is" : "are"} on no known drive. ` +
    "What the drives hold is safe, nothing on them was changed. " +
    `Format no card before you have put it in: what is still on one is copied again by itself.`;
  return signed(seeds.damaged, said, width) + renderNowhere(learnt.nowhere, learnt.nowhereTotal, width);
}

function nextStep(learnt: RebuildJson): string {
  const steps: string[] = [];
  if (learnt.nowhereTotal > 0) steps.push(putCardsIn(learnt.nowhere, learnt.nowhereTotal));
  else if (learnt.trips.length > 0 && learnt.elsewhere.length === 0)
    steps.push("All that existed is on a known drive.");
  steps.push(
    "`scrubjay status` shows what is where, and `scrubjay scrub` reads every copy again.",
    "Plug in the other drives of the trip too: what only their records know is learnt when they come.",
  );
  return steps.join(" ");
}
