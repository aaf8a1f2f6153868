/** What was learnt from the records of drives, and what existed and is on none of them, as text. */

import type { RebuildJson } from "../../shared/api.ts";
import { counted } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { list } from "../core/verdict.ts";
import { renderNowhere } from "./renderNowhere.ts";
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
    learnt.elsewhere.map((other) => renderElsewhere(other, seeds, width)).join(""),
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
    const said = `${counted(learnt.disagreeing, "fact")} ${one ? "contradicts others and was" : "contradict others and were"} left out.`;
    lines.push(signed(seeds.dot, `${said} ${one ? "It doesn't" : "They don't"} count.`, width));
  }
  return lines.join("");
}

function renderElsewhere(other: RebuildJson["elsewhere"][number], seeds: Seeds, width: number): string {
  const name = printable(other.drive, 60);
  return signed(
    seeds.away,
    `${name} holds ${counted(other.files, "file")} that these don't; plug it in.`,
    width,
  );
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
  if (learnt.nowhereTotal > 0) {
    const cards = [...new Set(learnt.nowhere.map((file) => file.card).filter((card) => card !== ""))];
    const named = cards.length === 0 || cards.length > 4 ? "the cards named above" : list(cards);
    steps.push(
      `Put ${named} in, and plug in any other drive of the trip: \`scrubjay rebuild\` with that one learns what it knows.`,
    );
  } else if (learnt.trips.length > 0) steps.push("All that existed is on a known drive.");
  steps.push("`scrubjay status` shows what is where, and `scrubjay scrub` reads every copy again.");
  return steps.join(" ");
}
