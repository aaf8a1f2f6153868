/**
 * A launcher for helper processes that must not outlive the daemon, however it ends: ExifTool kept open goes on
 * waiting for ever when its input has ended. setpriv is in util-linux; without it a killed daemon may leave one behind.
 */

import { access, constants } from "node:fs/promises";

const setpriv = "/usr/bin/setpriv";

/** The launcher and its arguments; the program's own come behind them. Empty where there is none. */
export async function endingWithParent(): Promise<readonly string[]> {
  try {
    await access(setpriv, constants.X_OK);
    return [setpriv, "--pdeathsig", "KILL"]; // prctl(2), PR_SET_PDEATHSIG
  } catch {
    return [];
  }
}
