/**
 * The board as text: is everything safe, what to do, which seeds are in which caches, what is under way, what is the
 * matter. Rows are what exists, columns are where, the last column is the verdict.
 *
 * Not its job: deciding any of it; that is in the document.
 */

import type { CardStatusJson, DriveStatusJson, StatusJson, WorkJson } from "../../shared/api.ts";
import { counted, formatBytes, formatCount, formatSpan } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { bytes, millis } from "../../shared/units.ts";
import { formatCautions } from "./cautions.ts";
import { dayOfTrip, fullMoment, shortMoment } from "./moments.ts";
import { type Seeds, seedsFor } from "./seeds.ts";
import { padTo, paragraph, table, widthOf } from "./table.ts";

const width = 96;

/** @param unicode whether the terminal shows the seeds' signs; ASCII ones otherwise */
export function renderStatus(status: StatusJson, unicode: boolean): string {
  const seeds = seedsFor(unicode);
  const shownCards = status.cards.filter((card) => card.present || !card.clear);
  const parts = [
    renderHead(status, seeds),
    paragraph(printable(status.headline, 500), width, " ") +
      paragraph(printable(status.advice, 2_000), width, " "),
    renderMatrix(status, shownCards, seeds),
    status.work.map((work) => renderWork(work, seeds)).join(""),
    status.alerts.map((alert) => renderAlert(alert, status.at, seeds)).join(""),
    shownCards.some((card) => card.clear) ? paragraph(formatCautions, width, " ") : "",
  ];
  return parts.filter((part) => part !== "").join("\n");
}

function renderHead(status: StatusJson, seeds: Seeds): string {
  const { trip } = status;
  const name =
    trip === null
      ? "Scrubjay"
      : `${printable(trip.name)} ${seeds.dot} ${dayOfTrip(status.at, trip.from, trip.to)}`;
  const moment = fullMoment(status.at);
  return ` ${padTo(name, Math.max(widthOf(name) + 2, width - 2 - widthOf(moment)))}${moment}\n`;
}

function renderMatrix(status: StatusJson, cards: readonly CardStatusJson[], seeds: Seeds): string {
  const drives = status.drives.filter((drive) => drive.role !== null);
  if (drives.length === 0 && cards.length === 0) return "";
  const rows: string[][] = [
    ["", ...drives.map((drive) => printable(drive.name, 40))],
    ["", ...drives.map((drive) => whereIs(drive, status.at, seeds))],
    ...cards.map((card) => [
      nameOf(card),
      ...drives.map((drive) => cellOf(card, drive, seeds)),
      shortVerdict(card),
    ]),
  ];
  if (status.frames.files > 0) {
    rows.push(["all files", ...drives.map((drive) => holdsOf(drive, seeds)), goalOf(status)]);
  }
  if (drives.some((drive) => drive.owed.files > 0)) {
    rows.push(["owed", ...drives.map((drive) => owedOf(drive, seeds))]);
  }
  return table(rows, " ");
}

function nameOf(card: CardStatusJson): string {
  return card.present ? printable(card.name, 40) : `${printable(card.name, 40)}, not here`;
}

/** What fits behind a row; the whole sentence and its reasons are in `scrubjay cards`. */
function shortVerdict(card: CardStatusJson): string {
  if (card.clear) return "may be formatted";
  if (card.lackingTotal === 0) return printable(card.verdict, 80);
  return `keep this card: ${counted(card.lackingTotal, "file")} short of copies`;
}

function whereIs(drive: DriveStatusJson, now: string, seeds: Seeds): string {
  const place = drive.place === null ? "" : printable(drive.place, 40);
  if (drive.present) return place;
  const since = drive.lastSeen === null ? "" : shortMoment(drive.lastSeen, now);
  const gone = drive.id === null ? "not introduced" : since === "" ? "not here" : `not here since ${since}`;
  return place === "" ? gone : `${place} ${seeds.dot} ${gone}`;
}

function cellOf(card: CardStatusJson, drive: DriveStatusJson, seeds: Seeds): string {
  const held = card.held?.find((each) => each.drive === drive.name)?.files;
  const total = card.files - card.leavings.length;
  if (held === undefined || total <= 0) return "";
  if (held >= total) return `${drive.present ? seeds.verified : seeds.away} ${formatCount(total)}`;
  const amount = held === 0 ? formatCount(total) : `${formatCount(held)}/${formatCount(total)}`;
  return `${held > 0 && drive.present ? seeds.written : seeds.owed} ${amount}`;
}

function holdsOf(drive: DriveStatusJson, seeds: Seeds): string {
  const amount = formatCount(drive.holds.files);
  if (drive.holds.files === 0) return `${seeds.owed} 0`;
  if (!drive.present) return `${seeds.away} ${amount}`;
  return `${drive.readBack.cache > 0 ? seeds.unsure : seeds.verified} ${amount}`;
}

function owedOf(drive: DriveStatusJson, seeds: Seeds): string {
  if (drive.owed.files === 0) return "nothing";
  return `${seeds.owed} ${formatCount(drive.owed.files)}, ${formatBytes(bytes(drive.owed.bytes))}`;
}

function goalOf(status: StatusJson): string {
  const { frames } = status;
  if (frames.atGoal === frames.total) return "at goal";
  return `${formatCount(frames.atGoal)} of ${counted(frames.total, "frame")} at goal`;
}

function renderWork(work: WorkJson, seeds: Seeds): string {
  const from = printable(work.from, 60);
  if (work.kind === "survey") return ` looking at ${from}\n`;
  const done = work.totalBytes > 0 ? Math.floor((work.doneBytes / work.totalBytes) * 100) : 0;
  const facts = [
    `${done} %`,
    `${formatBytes(bytes(work.doneBytes))} of ${formatBytes(bytes(work.totalBytes))}`,
  ];
  if (work.bytesPerSecond > 0) facts.push(`${formatBytes(bytes(work.bytesPerSecond))}/s`);
  if (work.secondsLeft !== null) facts.push(`${formatSpan(millis(work.secondsLeft * 1000))} left`);
  const to = work.to.map((name) => printable(name, 40)).join(", ");
  return ` copying ${from} ${seeds.arrow} ${to}: ${facts.join(", ")}\n`;
}

function renderAlert(alert: StatusJson["alerts"][number], now: string, seeds: Seeds): string {
  const sign =
    alert.severity === "urgent" ? seeds.damaged : alert.severity === "warning" ? seeds.owed : seeds.dot;
  const first = ` ${padTo(sign, 3)}`;
  const text = [alert.happened, alert.safe, alert.next].filter((part) => part !== "").join(" ");
  const since = shortMoment(alert.since, now);
  const said = `${printable(text, 3_000)}${since === "" ? "" : ` (${alert.severity}, since ${since})`}`;
  return paragraph(said, width, first, " ".repeat(widthOf(first)));
}
