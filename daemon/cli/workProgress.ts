/**
 * How far long work of the daemon is, on standard error while it is waited for: a line that is drawn anew each second on
 * a terminal, a plain line every half minute elsewhere.
 *
 * Invariants: standard output stays untouched; a daemon that doesn't answer is no failure here, whoever waits says so.
 */

import type { WorkJson } from "../../shared/api.ts";
import { percentOf, timeLeft } from "../../shared/boardTable.ts";
import { formatBytes } from "../../shared/format.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { bytes, millis } from "../../shared/units.ts";
import type { DaemonClient } from "../api/client.ts";
import { widthOf } from "./table.ts";
import type { Terminal } from "./terminal.ts";

const second = millis(1_000);
/** Seconds between plain lines. */
const plainEvery = 30;
/** ECMA-48 8.3.41, EL: erases what is right of the cursor, which CR put in the first column. */
const startOver = "\r\u001b[K";

/** The work that is shown, and how its line begins. */
export interface ShownWork {
  readonly kind: WorkJson["kind"];
  readonly doing: string;
}

/** Shows progress until `waited` settles. @returns what it resolves with, or its failure */
export async function whileWorking<T>(
  terminal: Terminal,
  client: Pick<DaemonClient, "status">,
  waited: Promise<T>,
  shown: ShownWork,
): Promise<T> {
  const done = new AbortController();
  const far = async (): Promise<string> => {
    const works = await worksOf(client, shown.kind);
    return works.length === 0 ? "" : `${shown.doing}: ${works.map(howFar).join("; ")}`;
  };
  const showing = showLines(terminal, far, done.signal);
  try {
    return await waited;
  } finally {
    done.abort();
    await showing;
  }
}

/** Draws what `far` says until `stop` aborts; "" is nothing to say. */
export async function showLines(
  terminal: Terminal,
  far: () => Promise<string>,
  stop: AbortSignal,
): Promise<void> {
  const width = terminal.errColumns;
  let drawn = false;
  for (let seconds = 1; !stop.aborted; seconds += 1) {
    await terminal.pause(second, stop);
    if (width === undefined && seconds % plainEvery !== 0) continue;
    const line = stop.aborted ? "" : await far();
    if (stop.aborted || line === "") continue;
    terminal.err(width === undefined ? `${line}\n` : `${startOver}${cut(line, width - 1)}`);
    drawn = width !== undefined;
  }
  if (drawn) terminal.err(startOver);
}

async function worksOf(
  client: Pick<DaemonClient, "status">,
  kind: WorkJson["kind"],
): Promise<readonly WorkJson[]> {
  try {
    return (await client.status()).work.filter((work) => work.kind === kind);
  } catch (error) {
    if (error instanceof UserMistake) return [];
    throw error;
  }
}

/** `Blue, 51 % of 52.3 GB, 4 min left`: short, since it has to fit into one line. */
export function howFar(work: WorkJson): string {
  const done = `${percentOf(work)} % of ${formatBytes(bytes(work.totalBytes))}`;
  return [printable(work.from, 60), done, ...timeLeft(work)].join(", ");
}

/** What fits into one line: a longer one would break, and could not be drawn over. */
function cut(line: string, width: number): string {
  let shown = line;
  while (shown !== "" && widthOf(shown) > width) shown = shown.slice(0, -1);
  return shown;
}
