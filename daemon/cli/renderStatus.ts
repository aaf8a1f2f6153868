/**
 * The board as text: is everything safe, what to do, which seeds are in which caches, what is under way, what is the
 * matter. Rows are what exists, columns are where, the last column is the verdict.
 *
 * Not its job: deciding any of it; that is in the document.
 */

import type { StatusJson, WorkJson } from "../../shared/api.ts";
import {
  type BoardCell,
  type BoardColumn,
  boardTable,
  cardsOnBoard,
  copyingWords,
  mayBeFormatted,
  workFacts,
} from "../../shared/boardTable.ts";
import { formatCautions } from "../../shared/cautions.ts";
import { dayOfTrip, fullMoment, shortMoment } from "../../shared/moments.ts";
import { inSentence, printable } from "../../shared/text.ts";
import { type Seeds, seedsFor } from "./seeds.ts";
import { padTo, paragraph, signed, table, widestOf, widthOf } from "./table.ts";
import { usualColumns } from "./terminal.ts";

/**
 * @param unicode whether the terminal shows the seeds' signs; ASCII ones otherwise
 * @param width columns
 */
export function renderStatus(status: StatusJson, unicode: boolean, width = usualColumns): string {
  const seeds = seedsFor(unicode);
  const shownCards = cardsOnBoard(status);
  const parts = [
    renderHead(status, seeds, width),
    paragraph(printable(status.headline, 500), width, " ") +
      paragraph(printable(status.advice, 2_000), width, " "),
    renderMatrix(status, seeds, width),
    status.work.map((work) => paragraph(workOf(work, seeds), width, " ", "   ")).join(""),
    status.alerts.map((alert) => renderAlert(alert, status.at, seeds, width)).join(""),
    shownCards.some(mayBeFormatted) ? paragraph(formatCautions, width, " ") : "",
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

function renderMatrix(status: StatusJson, seeds: Seeds, width: number): string {
  const { columns, rows } = boardTable(status);
  if (columns.length === 0 && rows.every((row) => row.card === undefined)) return "";
  const cell = ({ sign, text }: BoardCell): string => (sign === undefined ? text : `${seeds[sign]} ${text}`);
  const where = ({ place, whyAway }: BoardColumn): string =>
    [place, whyAway].filter((part) => part !== "").join(` ${seeds.dot} `);
  return layOut(
    [
      { name: "", cells: columns.map((column) => column.name), verdict: "" },
      { name: "", cells: columns.map(where), verdict: "" },
      ...rows.map((row) => ({ name: row.name, cells: row.cells.map(cell), verdict: cell(row.verdict) })),
    ],
    width,
  );
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

function workOf(work: WorkJson, seeds: Seeds): string {
  const from = inSentence(printable(work.from, 60));
  if (work.kind === "survey") return `looking at ${from}`;
  const facts = workFacts(work);
  if (work.kind === "scrub") return `reading ${from} again: ${facts.join(", ")}`;
  const to = work.to.map((name) => printable(name, 40)).join(", ");
  return `${copyingWords[work.kind].toLowerCase()} ${from} ${seeds.arrow} ${to}: ${facts.join(", ")}`;
}

function renderAlert(alert: StatusJson["alerts"][number], now: string, seeds: Seeds, width: number): string {
  const sign =
    alert.severity === "urgent" ? seeds.damaged : alert.severity === "warning" ? seeds.owed : seeds.dot;
  const text = [alert.happened, alert.safe, alert.next].filter((part) => part !== "").join(" ");
  const since = shortMoment(alert.since, now);
  const said = `${printable(text, 3_000)}${since === "" ? "" : ` (${alert.severity}, since ${since})`}`;
  return signed(sign, said, width);
}
