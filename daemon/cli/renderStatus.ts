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
import { damagedOf, damagedOnly, inOrder } from "./renderCards.ts";
import { whyAway } from "./renderDrives.ts";
import { type Seeds, seedsFor } from "./seeds.ts";
import { padTo, paragraph, signed, table, widestOf, widthOf } from "./table.ts";
import { usualColumns } from "./terminal.ts";

/**
 * @param unicode whether the terminal shows the seeds' signs; ASCII ones otherwise
 * @param width columns
 */
export function renderStatus(status: StatusJson, unicode: boolean, width = usualColumns): string {
  const seeds = seedsFor(unicode);
  const shownCards = inOrder(status.cards).filter((card) => card.present || !card.clear);
  const parts = [
    renderHead(status, seeds, width),
    paragraph(printable(status.headline, 500), width, " ") +
      paragraph(printable(status.advice, 2_000), width, " "),
    renderMatrix(status, shownCards, seeds, width),
    status.work.map((work) => paragraph(workOf(work, seeds), width, " ", "   ")).join(""),
    status.alerts.map((alert) => renderAlert(alert, status.at, seeds, width)).join(""),
    shownCards.some((card) => card.clear) ? paragraph(formatCautions, width, " ") : "",
  ];
  return parts.filter((part) => part !== "").join("\n");
}

function renderHead(status: StatusJson, seeds: Seeds, width: number): string {
  const { trip } = status;
  const name =
    trip === null
      ? "Scrubjay"
      : `${printable(trip.name)} ${seeds.dot} ${dayOfTrip(status.at, trip.from, trip.to)}`;
  const moment = fullMoment(status.at);
  const column = width - 2 - widthOf(moment);
  if (widthOf(name) + 2 <= column) return ` ${padTo(name, column)}${moment}\n`;
  return paragraph(name, width, " ") + paragraph(moment, width, " ");
}

interface MatrixRow {
  readonly name: string;
  /** One for each drive. */
  readonly cells: readonly string[];
  readonly verdict: string;
}

function renderMatrix(
  status: StatusJson,
  cards: readonly CardStatusJson[],
  seeds: Seeds,
  width: number,
): string {
  const drives = status.drives.filter((drive) => drive.role !== null);
  if (drives.length === 0 && cards.length === 0) return "";
  const rowOf = (name: string, cell: (drive: DriveStatusJson) => string, verdict = ""): MatrixRow => ({
    name,
    cells: drives.map(cell),
    verdict,
  });
  const rows = [
    rowOf("", (drive) => printable(drive.name, 40)),
    rowOf("", (drive) => whereIs(drive, status.at, seeds)),
    ...cards.map((card) =>
      rowOf(nameOf(card), (drive) => cellOf(card, drive, seeds), shortVerdict(card, seeds)),
    ),
  ];
  if (status.frames.files > 0)
    rows.push(rowOf("filed so far", (drive) => holdsOf(drive, seeds), goalOf(status)));
  if (drives.some((drive) => drive.owed.files > 0))
    rows.push(rowOf("owed so far", (drive) => owedOf(drive, seeds)));
  return layOut(rows, width);
}

/** The verdict behind its row; below it where that is too wide; all of a row below each other where even that is. */
function layOut(rows: readonly MatrixRow[], width: number): string {
  const whole = table(
    rows.map((row) => [row.name, ...row.cells, row.verdict]),
    " ",
  );
  if (widestOf(whole) <= width) return whole;
  const bare = table(
    rows.map((row) => [row.name, ...row.cells]),
    " ",
  );
  if (widestOf(bare) > width) return stacked(rows, width);
  const indent = " ".repeat(3 + Math.max(...rows.map((row) => widthOf(row.name))));
  const lines = bare.trimEnd().split("\n");
  return rows
    .map(({ verdict }, index) => {
      const below = verdict === "" ? "" : paragraph(verdict, width, indent);
      return `${lines[index] ?? ""}\n${below}`;
    })
    .join("");
}

/** Each drive in a line of its own: first where they are, then what they hold of each row. */
function stacked([names, places, ...rows]: readonly MatrixRow[], width: number): string {
  const drives = names?.cells ?? [];
  const linesOf = (row: MatrixRow | undefined, indent: string): string => {
    const filled = drives.map((drive, index) => [drive, row?.cells[index] ?? ""] as const);
    return table(
      filled.filter(([, cell]) => cell !== ""),
      indent,
    );
  };
  const blocks = rows.map((row) => {
    const name = row.verdict === "" ? row.name : `${row.name}: ${row.verdict}`;
    return paragraph(name, width, " ", "   ") + linesOf(row, "   ");
  });
  return linesOf(places, " ") + blocks.join("");
}

function nameOf(card: CardStatusJson): string {
  return card.present ? printable(card.name, 40) : `${printable(card.name, 40)}, not here`;
}

/** What fits behind a row; the whole sentence and its reasons are in `scrubjay cards`. */
function shortVerdict(card: CardStatusJson, seeds: Seeds): string {
  const gone = card.vanished?.length ?? 0;
  const uncopied = gone === 0 ? "" : `; ${counted(gone, "file")} gone, never copied`;
  if (card.clear)
    return `${card.files > card.leavings.length ? "may be formatted" : "holds no files"}${uncopied}`;
  const damaged = damagedOf(card).length;
  const short = card.lackingTotal - damagedOnly(card).length;
  if (damaged === 0 && short <= 0) return printable(card.verdict, 80);
  const reasons = [
    ...(damaged > 0 ? [`${counted(damaged, "file")} damaged`] : []),
    ...(short > 0 ? [`${counted(short, "file")} short of copies`] : []),
  ];
  return `${damaged > 0 ? `${seeds.damaged} ` : ""}keep this card: ${reasons.join(", ")}${uncopied}`;
}

function whereIs(drive: DriveStatusJson, now: string, seeds: Seeds): string {
  const place = drive.place === null ? "" : printable(drive.place, 40);
  if (drive.present) return place;
  const since = drive.lastSeen === null ? "" : shortMoment(drive.lastSeen, now);
  const gone = whyAway(drive) ?? (since === "" ? "not here" : `not here since ${since}`);
  return place === "" ? gone : `${place} ${seeds.dot} ${gone}`;
}

function cellOf(card: CardStatusJson, drive: DriveStatusJson, seeds: Seeds): string {
  const share = card.held?.find((each) => each.drive === drive.name);
  const total = card.files - card.leavings.length;
  if (share === undefined || total <= 0) return "";
  const held = share.files;
  if (held >= total) {
    const verified = (share.unsure ?? 0) > 0 ? seeds.unsure : seeds.verified;
    return `${drive.present ? verified : seeds.away} ${formatCount(total)}`;
  }
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

function workOf(work: WorkJson, seeds: Seeds): string {
  const from = printable(work.from, 60);
  if (work.kind === "survey") return `looking at ${from}`;
  const facts = [
    `${percentOf(work)} %`,
    `${formatBytes(bytes(work.doneBytes))} of ${formatBytes(bytes(work.totalBytes))}`,
  ];
  if (work.bytesPerSecond > 0) facts.push(`${formatBytes(bytes(work.bytesPerSecond))}/s`);
  facts.push(...timeLeft(work));
  if (work.kind === "scrub") return `reading ${from} again: ${facts.join(", ")}`;
  const to = work.to.map((name) => printable(name, 40)).join(", ");
  return `copying ${from} ${seeds.arrow} ${to}: ${facts.join(", ")}`;
}

/** Whole percent of its bytes that are done. */
export function percentOf(work: WorkJson): number {
  return work.totalBytes > 0 ? Math.floor((work.doneBytes / work.totalBytes) * 100) : 0;
}

/** `4 min left`; none while it can't be told. */
export function timeLeft(work: WorkJson): readonly string[] {
  return work.secondsLeft === null ? [] : [`${formatSpan(millis(work.secondsLeft * 1000))} left`];
}

function renderAlert(alert: StatusJson["alerts"][number], now: string, seeds: Seeds, width: number): string {
  const sign =
    alert.severity === "urgent" ? seeds.damaged : alert.severity === "warning" ? seeds.owed : seeds.dot;
  const text = [alert.happened, alert.safe, alert.next].filter((part) => part !== "").join(" ");
  const since = shortMoment(alert.since, now);
  const said = `${printable(text, 3_000)}${since === "" ? "" : ` (${alert.severity}, since ${since})`}`;
  return signed(sign, said, width);
}
