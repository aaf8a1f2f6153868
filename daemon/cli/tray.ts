/** `scrubjay tray`: the icon in the panel, until it is quit. What it does is `tray/main.ts`; here its parts. */

import { fileURLToPath } from "node:url";
import { daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { outJson } from "./terminal.ts";

export const tray: Command = {
  name: "tray",
  operands: [],
  options: {},
  does: "shows an icon in the panel with the board's sentence and a menu, until it is quit",
  more: "Starts the daemon if none runs. Where there is no tray it says so and waits for one; the page does everything: `scrubjay open`.\nExit status: 0 stopped by SIGTERM, SIGINT or its own menu.",
  run,
};

/** Beside this file's folder once it is built. */
const builtCli = fileURLToPath(new URL("../cli.js", import.meta.url));

async function run(call: Call): Promise<number> {
  // Loaded only here: the other commands need neither bus nor adapters.
  const [{ runTray }, { selectTray }, { startDaemon }, { openInBrowser }] = await Promise.all([
    import("../../tray/main.ts"),
    import("../../tray/platform/select.ts"),
    import("../../tray/startDaemon.ts"),
    import("../platform/select.ts"),
  ]);
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
  }
  if (call.json) outJson(call.terminal, { stopped: true });
  return 0;
}
