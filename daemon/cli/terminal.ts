/**
 * Where a command's words go: its answer to standard output, all else to standard error. A value, so that commands
 * run in tests without a process of their own. How wide it is and what signs it shows are found out here.
 *
 * Invariant: JSON and the text of a profile reach standard output unchanged, whatever the terminal shows.
 */

import { homedir } from "node:os";
import { setTimeout } from "node:timers/promises";
import type { Millis } from "../../shared/units.ts";

export interface Terminal {
  /** Words for people. */
  out(text: string): void;
  /** For programs: goes to standard output as it is. */
  exact(text: string): void;
  err(text: string): void;
  /** How wide standard output is, in columns; undefined when it is no terminal. */
  readonly columns: number | undefined;
  /** How many lines standard output shows; undefined when it is no terminal. */
  readonly rows: number | undefined;
  /** The same of standard error, where progress is drawn. */
  readonly errColumns: number | undefined;
  /** Lets time pass; resolves sooner when `stop` aborts. */
  pause(span: Millis, stop: AbortSignal): Promise<void>;
  readonly env: Readonly<Record<string, string | undefined>>;
  /** The user's own folder. */
  readonly userHome: string;
}

/** Columns where nobody says how many there are. */
export const usualColumns = 96;
/** Columns. In fewer nothing can be laid out; the terminal breaks the lines then. */
const fewestColumns = 40;
/** Columns. Wider than any screen; keeps a slip in COLUMNS out of memory. */
const mostColumns = 500;

export function systemTerminal(): Terminal {
  const out = (text: string): void => {
    process.stdout.write(text);
  };
  return {
    out,
    exact: out,
    err: (text) => process.stderr.write(text),
    columns: process.stdout.columns,
    rows: process.stdout.rows,
    errColumns: process.stderr.columns,
    pause,
    env: process.env,
    userHome: homedir(),
  };
}

async function pause(span: Millis, stop: AbortSignal): Promise<void> {
  try {
    await setTimeout(span, undefined, { signal: stop });
  } catch (error) {
    if (!stop.aborted) throw error;
  }
}

/** How wide an answer may be: the terminal's own width, else COLUMNS (POSIX.1-2017, Base Definitions 8.3). */
export function columnsOf(terminal: Pick<Terminal, "columns" | "env">): number {
  const said = terminal.env["COLUMNS"] ?? "";
  const given = /^\d+$/.test(said) ? Number(said) : 0;
  const columns = [terminal.columns ?? 0, given].find((value) => value > 0) ?? usualColumns;
  return Math.min(mostColumns, Math.max(fewestColumns, columns));
}

/** One JSON document, and nothing else, on standard output. */
export function outJson(terminal: Terminal, value: unknown): void {
  terminal.exact(`${JSON.stringify(value, null, 2)}\n`);
}

/** Whether the locale writes UTF-8: POSIX looks at LC_ALL, then LC_CTYPE, then LANG; the first that isn't empty holds. */
export function writesUnicode(env: Readonly<Record<string, string | undefined>>): boolean {
  const locale = [env["LC_ALL"], env["LC_CTYPE"], env["LANG"]].find(
    (value) => value !== undefined && value !== "",
  );
  return /utf-?8/i.test(locale ?? "");
}

/** The same terminal; the marks of our own sentences become ASCII where its locale isn't UTF-8. Names stay as they are. */
export function inItsSigns(terminal: Terminal): Terminal {
  if (writesUnicode(terminal.env)) return terminal;
  return {
    ...terminal,
    out: (text) => terminal.out(asciiMarks(text)),
    exact: (text) => terminal.exact(text),
    err: (text) => terminal.err(asciiMarks(text)),
  };
}

const marks: Readonly<Record<string, string>> = {
  "“": '"',
  "”": '"',
  "„": '"',
  "‘": "'",
  "’": "'",
  "…": "...",
  "–": "-",
  "—": "-",
  "·": "-",
  "→": "->",
  "×": "x",
  "\u00a0": " ",
};

function asciiMarks(text: string): string {
  return text.replace(/[^\n\x20-\x7e]/gu, (mark) => marks[mark] ?? mark);
}
