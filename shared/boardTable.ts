/**
 * The board as a table of who holds what: rows are what exists, columns are where, the last column is the verdict.
 * Terminal and page draw the same table, each with its own signs.
 *
 * Not its job: deciding anything; that is in the document.
 */

import type {
  CardStatusJson,
  DamagedJson,
  DriveStatusJson,
  LackingJson,
  StatusJson,
  WorkJson,
} from "./api.ts";
import type { EditsStatusJson } from "./editsApi.ts";
import { counted, formatBytes, formatCount, formatSpan } from "./format.ts";
import { shortMoment } from "./moments.ts";
import { printable } from "./text.ts";
import { bytes, millis } from "./units.ts";

/** The seed code: shape first, always with a number or word beside it. */
export type SeedSign = "owed" | "written" | "verified" | "unsure" | "damaged" | "away";

export interface BoardCell {
  readonly sign: SeedSign | undefined;
  readonly text: string;
}

export interface BoardColumn {
  readonly name: string;
  /** `room safe · not here since 08:10` in its two parts; each may be "". */
  readonly place: string;
  readonly whyAway: string;
}

export interface BoardRow {
  readonly name: string;
  /** The card it is about; undefined for what all cards together make. */
  readonly card: CardStatusJson | undefined;
  /** One for each column. */
  readonly cells: readonly BoardCell[];
  readonly verdict: BoardCell;
}

export interface BoardTable {
  readonly columns: readonly BoardColumn[];
  readonly rows: readonly BoardRow[];
}

const nothing: BoardCell = { sign: undefined, text: "" };

export function boardTable(status: StatusJson): BoardTable {
  const drives = status.drives.filter((drive) => drive.role !== null);
  const rows: BoardRow[] = cardsOnBoard(status).map((card) => ({
    name: card.present ? printable(card.name, 40) : `${printable(card.name, 40)}, not here`,
    card,
    cells: drives.map((drive) => cellOf(card, drive)),
    verdict: shortVerdict(card),
  }));
  if (status.frames.files > 0)
    rows.push({
      name: "filed so far",
      card: undefined,
      cells: drives.map(holdsOf),
      verdict: { sign: undefined, text: goalOf(status) },
    });
  const { edits } = status;
  if (edits !== undefined)
    rows.push({
      name: "your edits",
      card: undefined,
      cells: drives.map((drive) => editsCell(edits, drive)),
      verdict: { sign: undefined, text: editsVerdict(edits) },
    });
  if (drives.some((drive) => drive.owed.files > 0))
    rows.push({ name: "owed so far", card: undefined, cells: drives.map(owedOf), verdict: nothing });
  return { columns: drives.map((drive) => columnOf(drive, status.at)), rows };
}

/** Cards that are in, and those that went before they were clear; by number, then as they were first seen. */
export function cardsOnBoard(status: StatusJson): readonly CardStatusJson[] {
  return cardsInOrder(status.cards).filter((card) => card.present || !card.clear);
}

export function cardsInOrder(cards: readonly CardStatusJson[]): readonly CardStatusJson[] {
  return [...cards].sort((a, b) => {
    const [left, right] = [numberOf(a), numberOf(b)];
    return left === right ? 0 : left - right;
  });
}

/** Its damaged files that nobody has accepted yet. */
export function damagedOf(card: CardStatusJson): readonly DamagedJson[] {
  return (card.damaged ?? []).filter((file) => !file.accepted);
}

/** Whether formatting it is what its verdict invites to: it is clear, and there is something on it to format. */
export function mayBeFormatted(card: CardStatusJson): boolean {
  return card.clear && card.files > card.leavings.length && (card.vanished ?? []).length === 0;
}

/** Files that have all their copies and keep the card by their damage alone. */
export function damagedOnly(card: CardStatusJson): readonly LackingJson[] {
  const damaged = new Set(damagedOf(card).map((file) => file.path));
  return card.lacking.filter((file) => file.goal > 0 && file.verified >= file.goal && damaged.has(file.path));
}

/** What comes before the name of what is copied from, while bytes go from one medium to others. */
export const copyingWords: Readonly<Record<Exclude<WorkJson["kind"], "survey" | "scrub">, string>> = {
  copy: "Copying",
  edits: "Mirroring work files of",
  homecoming: "Bringing home from",
};

/** Whether it is here and nothing is read from it or written to it; reading copies again gives way. */
export function isAtRest(
  status: StatusJson,
  each: { readonly name: string; readonly present: boolean },
): boolean {
  const work = status.work.filter(({ kind }) => kind !== "scrub");
  return each.present && !work.some(({ from, to }) => [from, ...to].includes(printable(each.name)));
}

/** Files that have all their copies and keep the card by damage or doubt alone. */
function keptOnly(card: CardStatusJson): readonly LackingJson[] {
  return card.lacking.filter((file) => file.goal > 0 && file.verified >= file.goal);
}

/** What was let go stays said, as long as the card isn't formatted. */
function clearWords(card: CardStatusJson): string {
  const known = (card.damaged ?? []).filter((file) => file.accepted).length;
  return known === 0 ? "may be formatted" : `may be formatted; ${counted(known, "file")} known to be damaged`;
}

/** Why a drive of this name can't be expected to come by itself; undefined if one can. */
export function whyAway(drive: DriveStatusJson): string | undefined {
  if (drive.lost === true) return "declared lost";
  return drive.id === null ? "not introduced" : undefined;
}

/** Whole percent of its bytes that are done. */
export function percentOf(work: WorkJson): number {
  return work.totalBytes > 0 ? Math.floor((work.doneBytes / work.totalBytes) * 100) : 0;
}

/** `4 min left`; none while it can't be told. */
export function timeLeft(work: WorkJson): readonly string[] {
  return work.secondsLeft === null ? [] : [`${formatSpan(millis(work.secondsLeft * 1000))} left`];
}

/** `52 %`, `26.1 GB of 50 GB`, `210 MB/s`, `4 min left`: as much of it as is known. */
export function workFacts(work: WorkJson): readonly string[] {
  const facts = [
    `${percentOf(work)} %`,
    `${formatBytes(bytes(work.doneBytes))} of ${formatBytes(bytes(work.totalBytes))}`,
  ];
  if (work.bytesPerSecond > 0) facts.push(`${formatBytes(bytes(work.bytesPerSecond))}/s`);
  return [...facts, ...timeLeft(work)];
}

function numberOf(card: CardStatusJson): number {
  const found = /^Card (\d+)$/.exec(card.name);
  return found === null ? Number.POSITIVE_INFINITY : Number(found[1]);
}

function columnOf(drive: DriveStatusJson, now: string): BoardColumn {
  const since = drive.lastSeen === null ? "" : shortMoment(drive.lastSeen, now);
  const away = whyAway(drive) ?? (since === "" ? "not here" : `not here since ${since}`);
  return {
    name: printable(drive.name, 40),
    place: drive.place === null ? "" : printable(drive.place, 40),
    whyAway: drive.present ? "" : away,
  };
}

/** What fits behind a row; the whole sentence and its reasons are the card's own. */
function shortVerdict(card: CardStatusJson): BoardCell {
  const gone = card.vanished?.length ?? 0;
  if (card.clear && gone === 0)
    return { sign: undefined, text: mayBeFormatted(card) ? clearWords(card) : "holds no files" };
  const damaged = damagedOf(card).length;
  const short = card.lackingTotal - keptOnly(card).length;
  if (damaged === 0 && short <= 0 && gone === 0)
    return { sign: undefined, text: printable(card.verdict, 80) };
  const reasons = [
    ...(damaged > 0 ? [`${counted(damaged, "file")} damaged`] : []),
    ...(short > 0 ? [`${counted(short, "file")} short of copies`] : []),
  ].join(", ");
  const lost = gone > 0 ? [`${counted(gone, "file")} gone, never copied`] : [];
  return {
    sign: damaged > 0 || gone > 0 ? "damaged" : undefined,
    text: `keep this card: ${[...(reasons === "" ? [] : [reasons]), ...lost].join("; ")}`,
  };
}

function cellOf(card: CardStatusJson, drive: DriveStatusJson): BoardCell {
  const share = card.held?.find((each) => each.drive === drive.name);
  const total = card.files - card.leavings.length;
  if (share === undefined || total <= 0) return nothing;
  const held = share.files;
  if (held >= total) {
    const verified = (share.unsure ?? 0) > 0 ? "unsure" : "verified";
    return { sign: drive.present ? verified : "away", text: formatCount(total) };
  }
  const text = held === 0 ? formatCount(total) : `${formatCount(held)}/${formatCount(total)}`;
  return { sign: held > 0 && drive.present ? "written" : "owed", text };
}

function holdsOf(drive: DriveStatusJson): BoardCell {
  const text = formatCount(drive.holds.files);
  if (drive.holds.files === 0) return { sign: "owed", text: "0" };
  if (!drive.present) return { sign: "away", text };
  return { sign: drive.readBack.cache > 0 ? "unsure" : "verified", text };
}

function owedOf(drive: DriveStatusJson): BoardCell {
  if (drive.owed.files === 0) return { sign: undefined, text: "nothing" };
  const text = `${formatCount(drive.owed.files)}, ${formatBytes(bytes(drive.owed.bytes))}`;
  return { sign: "owed", text };
}

/** Work files whose newest version it holds. */
function editsCell(edits: EditsStatusJson, drive: DriveStatusJson): BoardCell {
  const share = edits.drives.find((each) => each.drive === drive.name);
  if (share === undefined) return nothing;
  const text = formatCount(share.files);
  if (!drive.present) return { sign: "away", text };
  if (share.behind === 0) return { sign: "verified", text };
  return { sign: share.files === 0 ? "owed" : "written", text };
}

/** The gravest first. */
function editsVerdict({ drives, conflicts, waiting, waitingFor, leftOut, deleted }: EditsStatusJson): string {
  const parts: string[] = [];
  if (conflicts > 0) parts.push(`${formatCount(conflicts)} changed on two drives apart`);
  const behind = drives.filter((each) => each.behind > 0);
  if (behind.length > 0)
    parts.push(
      behind
        .map(({ drive, behind: files }, index) =>
          index === 0
            ? `${formatCount(files)} newer than on ${printable(drive, 40)}`
            : `${formatCount(files)} than on ${printable(drive, 40)}`,
        )
        .join(", "),
    );
  if (waiting > 0) {
    const [first] = waitingFor;
    const what =
      first === undefined
        ? counted(waiting, "file")
        : `${printable(first.path, 40)} ${printable(first.why, 60)}`;
    parts.push(`waiting: ${what}`);
  }
  if (parts.length === 0) parts.push("the same on all");
  if (deleted > 0) parts.push(`${formatCount(deleted)} deleted and kept`);
  if (leftOut.files > 0) parts.push(`${formatBytes(bytes(leftOut.bytes))} left out`);
  return parts.join("; ");
}

function goalOf({ frames }: StatusJson): string {
  if (frames.atGoal === frames.total) return "at goal";
  return `${formatCount(frames.atGoal)} of ${counted(frames.total, "frame")} at goal`;
}
