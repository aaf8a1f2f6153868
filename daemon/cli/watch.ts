/**
 * `scrubjay watch`: the board in a terminal, drawn anew in place as it changes; a plain line for each change of its
 * two sentences where there is no terminal.
 */

import type { StatusJson } from "../../shared/api.ts";
import { shortMoment } from "../../shared/moments.ts";
import { millis } from "../../shared/units.ts";
import { type DaemonClient, daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { renderStatus } from "./renderStatus.ts";
import { columnsOf, type Terminal, writesUnicode } from "./terminal.ts";

export const watch: Command = {
  name: "watch",
  operands: [],
  options: {},
  does: "shows the board and keeps it up to date, until Ctrl-C",
  more: "Where the output is no terminal: a plain line each time what the board says changes. With --json: one status document a line.\nExit status: 0 stopped by Ctrl-C, 69 the daemon is not running, or it went.",
  run,
};

/** ECMA-48: cursor home (CUP), erase to the end of the line (EL) and of the screen (ED); DEC private mode 25, the cursor. */
const home = "\u001b[H";
const endLine = "\u001b[K";
const endScreen = "\u001b[J";
const hideCursor = "\u001b[?25l";
const showCursor = "\u001b[?25h";

async function run(call: Call): Promise<number> {
  const stop = new AbortController();
  const stopped = () => stop.abort();
  process.once("SIGINT", stopped);
  try {
    return await watchUntil(call.terminal, daemonClient(call.home.run), call.json, stop.signal);
  } finally {
    process.removeListener("SIGINT", stopped);
  }
}

/** @returns 0 when `stop` aborted. @throws UserMistake when the daemon isn't there or went */
export async function watchUntil(
  terminal: Terminal,
  client: Pick<DaemonClient, "events" | "status">,
  json: boolean,
  stop: AbortSignal,
): Promise<number> {
  const drawn = !json && terminal.columns !== undefined;
  let last = "";
  try {
    if (drawn) terminal.exact(`${hideCursor}${home}${endScreen}`);
    for await (const status of client.events(stop)) {
      if (json) terminal.exact(`${JSON.stringify(status)}\n`);
      else if (drawn) draw(terminal, status);
      else last = tell(terminal, status, last);
      if (stop.aborted) return 0;
    }
  } finally {
    if (drawn) terminal.exact(`${showCursor}\n`);
  }
  if (stop.aborted) return 0;
  // It went, or is starting anew: asking once more says which.
  await terminal.pause(millis(500), stop);
  await client.status();
  return watchUntil(terminal, client, json, stop);
}

/** As much of it as the screen holds; the headline stands first. */
function draw(terminal: Terminal, status: StatusJson): void {
  const text = renderStatus(status, writesUnicode(terminal.env), columnsOf(terminal));
  const lines = text.trimEnd().split("\n");
  const room = Math.max(5, (terminal.rows ?? 24) - 1);
  const shown =
    lines.length <= room
      ? lines
      : [...lines.slice(0, room - 1), " … and more; `scrubjay status` shows all of it"];
  // Through `out`, so that marks become ASCII where they must; what steers the screen goes as it is.
  terminal.exact(home);
  for (const line of shown) {
    terminal.out(line);
    terminal.exact(`${endLine}\n`);
  }
  terminal.exact(endScreen);
}

/** @returns what was said, so that it isn't said twice */
function tell(terminal: Terminal, status: StatusJson, last: string): string {
  const line = `${status.headline} ${status.advice}`;
  if (line !== last) terminal.out(`${shortMoment(status.at, status.at)} ${line}\n`);
  return line;
}
