/**
 * What the tray shows, from what the daemon tells: sign, tooltip and menu. The first two sentences are the board's own.
 *
 * Invariants: names from cards and drives are made harmless and short before they get here into a text; a card that may
 * be formatted is never named without what to do before that; nothing to eject is offered while it is read or written.
 * Not its job: how a host wants labels written (`platform/`).
 */

import type { CardStatusJson, DriveStatusJson, StatusJson, WorkJson } from "../shared/api.ts";
import { copyingWords, isAtRest } from "../shared/boardTable.ts";
import { counted, formatCount, formatSpan } from "../shared/format.ts";
import { inSentence, printable } from "../shared/text.ts";
import { millis } from "../shared/units.ts";
import { type Sign, turnSteps } from "./icon.ts";

/** What a person may choose. `eject` names a drive, or a card by its id. */
export type Choice =
  | { readonly does: "openPage" }
  | { readonly does: "pause" }
  | { readonly does: "goOn" }
  | { readonly does: "startDaemon" }
  | { readonly does: "quit" }
  | { readonly does: "eject"; readonly what: string; readonly name: string };

/** Plain text in every `text`. A `group` has a menu of its own. */
export type MenuEntry =
  | { readonly entry: "text"; readonly text: string }
  | { readonly entry: "choice"; readonly text: string; readonly choice: Choice }
  | { readonly entry: "group"; readonly text: string; readonly entries: readonly MenuEntry[] }
  | { readonly entry: "line" };

export interface TrayView {
  readonly sign: Sign;
  readonly tooltip: { readonly title: string; readonly text: string };
  readonly menu: readonly MenuEntry[];
}

/** Characters of a name from a card or drive. */
const nameMost = 40;
/** Characters of a line; longer ones are broken at blanks. */
const lineMost = 60;
/** Lines of advice; the tooltip has all of it, and the page. */
const adviceLinesMost = 4;
/** Drives, and cards; the rest is counted. */
const rowsMost = 8;

export function viewOf(status: StatusJson): TrayView {
  const title = printable(status.headline, 120);
  const text = printable(status.advice, 600);
  const paused = status.paused === true;
  return {
    sign: signOf(status),
    tooltip: { title: paused ? `${title} Paused.` : title, text },
    menu: [
      said(title),
      ...linesOf(text).map(said),
      { entry: "line" },
      ...(paused ? [said("Paused: nothing is read or written")] : []),
      ...status.work.map(workLine).map(said),
      ...rows(status.drives.filter(takesPart), driveLine, "drive"),
      ...rows(status.cards.filter(isOfConcern), cardLine, "card"),
      { entry: "line" },
      { entry: "choice", text: "Open the page", choice: { does: "openPage" } },
      paused
        ? { entry: "choice", text: "Continue", choice: { does: "goOn" } }
        : { entry: "choice", text: "Pause", choice: { does: "pause" } },
      ejectGroup(status),
      ...quit,
    ],
  };
}

/** While no daemon answers. */
export function viewWithoutDaemon(): TrayView {
  const title = "Scrubjay's daemon is not running.";
  const text = "Nothing is read from cards or written to drives meanwhile.";
  return {
    sign: { sign: "missing" },
    tooltip: { title, text },
    menu: [
      said(title),
      said(text),
      { entry: "line" },
      { entry: "choice", text: "Start it", choice: { does: "startDaemon" } },
      ...quit,
    ],
  };
}

const quit: readonly MenuEntry[] = [
  { entry: "line" },
  { entry: "choice", text: "Quit the tray", choice: { does: "quit" } },
];

function said(text: string): MenuEntry {
  return { entry: "text", text };
}

function signOf(status: StatusJson): Sign {
  if (status.alerts.some((alert) => alert.severity === "urgent")) return { sign: "lookNow" };
  // It turns with the seconds in which something moved: the daemon tells nothing anew while nothing does.
  if (status.work.some((work) => work.kind !== "scrub"))
    return { sign: "working", step: (Number(status.at.slice(17, 19)) || 0) % turnSteps };
  const missing =
    status.safe === false ||
    status.drives.some((drive) => !drive.present && drive.owed.files > 0) ||
    status.alerts.some((alert) => alert.severity === "warning");
  return { sign: missing ? "missing" : "atGoal" };
}

function workLine(work: WorkJson): string {
  const from = inSentence(printable(work.from, nameMost));
  if (work.kind === "survey") return `Looking at ${from}`;
  const done = work.totalBytes > 0 ? Math.floor((work.doneBytes / work.totalBytes) * 100) : 0;
  const left = work.secondsLeft === null ? "" : `, ${formatSpan(millis(work.secondsLeft * 1000))} left`;
  if (work.kind === "scrub") return `Reading ${from} again: ${done} %${left}`;
  const to = work.to.map((name) => printable(name, nameMost)).join(", ");
  return `${copyingWords[work.kind]} ${from} to ${printable(to, lineMost)}: ${done} %${left}`;
}

/** A drive of no current trip is told of while it is here. */
function takesPart(drive: DriveStatusJson): boolean {
  return drive.role !== null || drive.present;
}

function driveLine(drive: DriveStatusJson): string {
  const where = drive.present
    ? "here"
    : drive.lost === true
      ? "declared lost"
      : drive.id === null
        ? "not introduced"
        : "not here";
  const owes = drive.owed.files > 0 ? `, owes ${counted(drive.owed.files, "file")}` : "";
  const place = drive.place === null ? "" : ` (${printable(drive.place, nameMost)})`;
  return `${printable(drive.name, nameMost)}${place}: ${where}${owes}`;
}

function isOfConcern(card: CardStatusJson): boolean {
  return card.present || !card.clear;
}

function cardLine(card: CardStatusJson): string {
  const name = printable(card.name, nameMost);
  const shown = card.present ? name : `${name}, not here`;
  const gone = card.vanished?.length ?? 0;
  const uncopied = gone === 0 ? "" : `; ${counted(gone, "file")} gone, never copied`;
  if (!card.clear) return `${shown}: keep it${uncopied}`;
  if (card.files <= card.leavings.length) return `${shown}: holds no files${uncopied}`;
  return `${shown}: may be formatted; look at a few frames first${uncopied}`;
}

function rows<T>(all: readonly T[], line: (one: T) => string, kind: string): readonly MenuEntry[] {
  const shown = all.slice(0, rowsMost).map((each) => said(line(each)));
  const rest = all.length - shown.length;
  return rest > 0 ? [...shown, said(`and ${formatCount(rest)} more ${kind}${rest === 1 ? "" : "s"}`)] : shown;
}

/** What is here, at rest, and of which nothing is owed by taking it out: drives, and cards that are clear. */
function ejectGroup(status: StatusJson): MenuEntry {
  const drives = status.drives
    .filter((drive) => isAtRest(status, drive))
    .map((drive) => ejectChoice(drive.name, printable(drive.name, nameMost)));
  const cards = status.cards
    .filter((card) => card.clear && isAtRest(status, card))
    .map((card) => ejectChoice(card.id, printable(card.name, nameMost)));
  const entries = [...drives, ...cards].slice(0, 2 * rowsMost);
  return entries.length === 0
    ? said("Eject: nothing here is at rest")
    : { entry: "group", text: "Eject", entries };
}

function ejectChoice(what: string, name: string): MenuEntry {
  return { entry: "choice", text: name, choice: { does: "eject", what, name } };
}

/** Broken at blanks; what doesn't fit ends in `…`. */
function linesOf(text: string): readonly string[] {
  const lines: string[] = [];
  for (const word of text.split(" ").filter((each) => each !== "")) {
    const last = lines.at(-1);
    if (last !== undefined && last.length + 1 + word.length <= lineMost)
      lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(printable(word, lineMost));
  }
  const shown = lines.slice(0, adviceLinesMost);
  return lines.length > shown.length ? [...shown.slice(0, -1), `${shown.at(-1) ?? ""} …`] : shown;
}
