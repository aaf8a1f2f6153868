/**
 * Starting the daemon from the tray, so that it outlives the tray: in a session of its own, and what it prints goes into
 * `<state>/daemon.log`. Not its job: whether one runs already; a second one says so and ends.
 */

import { spawn } from "node:child_process";
import { closeSync, mkdirSync, openSync } from "node:fs";
import { join } from "node:path";
import type { AbsolutePath } from "../shared/identity.ts";

/** @param cli the compiled command line. @param state the folder of ledger and logs. Fails with Node's own file errors. */
export function startDaemon(cli: string, state: AbsolutePath): void {
  mkdirSync(state, { recursive: true, mode: 0o700 });
  const log = openSync(join(state, "daemon.log"), "a", 0o600);
  const daemon = spawn(process.execPath, [cli, "daemon"], { detached: true, stdio: ["ignore", log, log] });
  daemon.on("error", () => undefined); // That it doesn't answer says it.
  daemon.unref();
  closeSync(log);
}
