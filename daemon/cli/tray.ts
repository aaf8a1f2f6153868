/** `scrubjay tray`: the icon in the panel, until it is quit. What it does is `tray/main.ts`; here its parts. */

import { mkdir } from "node:fs/promises";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { UserMistake } from "../../shared/problems.ts";
import { daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { outJson } from "./terminal.ts";

export const tray: Command = {
  name: "tray",
  operands: [],
  options: {},
  does: "shows an icon in the panel with the board's sentence and a menu, until it is quit",
  more: "One is enough for one person; a second one says so and ends. Starts the daemon if none runs. Where there is no tray it says so and waits for one; the page does everything: `scrubjay open`.\nExit status: 0 stopped by SIGTERM, SIGINT or its own menu, 64 one runs already.",
  run,
};

/** Beside this file's folder once it is built. */
const builtCli = fileURLToPath(new URL("../cli.js", import.meta.url));

async function run(call: Call): Promise<number> {
  // Loaded only here: the other commands need neither bus nor adapters.
  const [{ runTray }, { selectTray }, { startDaemon }, { openInBrowser }, { holdLock }] = await Promise.all([
    import("../../tray/main.ts"),
    import("../../tray/platform/select.ts"),
    import("../../tray/startDaemon.ts"),
    import("../platform/select.ts"),
    import("../ledger/oneOnly.ts"),
  ]);
  await mkdir(call.home.run, { recursive: true, mode: 0o700 });
  const lock = holdLock(join(call.home.run, "tray.lock"));
  if (lock === undefined)
    throw new UserMistake("Scrubjay's tray is running already.", "Its icon is in the panel; one is enough.");
  const stop = new AbortController();
  const stopped = () => stop.abort();
  for (const signal of ["SIGINT", "SIGTERM"] as const) process.once(signal, stopped);
  try {
    const parts = {
      ...(await selectTray()),
      daemon: daemonClient(call.home.run),
      startDaemon: () => startDaemon(builtCli, call.home.state),
      openInBrowser,
      say: (line: string) => call.terminal.err(`scrubjay: ${line}\n`),
      pause: call.terminal.pause,
    };
    await runTray(parts, stop.signal);
  } finally {
    for (const signal of ["SIGINT", "SIGTERM"] as const) process.removeListener(signal, stopped);
    lock.release();
  }
  if (call.json) outJson(call.terminal, { stopped: true });
  return 0;
}
