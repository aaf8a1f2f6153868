/** `scrubjay drive lost NAME`: a drive is gone for good, and what it held counts no more. */

import type { DriveLostJson } from "../../shared/api.ts";
import { daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { renderDriveLost } from "./renderDriveLost.ts";
import { columnsOf, outJson, writesUnicode } from "./terminal.ts";

export const driveLost: Command = {
  name: "drive lost",
  operands: ["NAME"],
  options: {},
  does: "declares a drive lost for good: its copies count no more",
  more: "Says what is short of copies now. It can't be undone: found again, that drive is a new one. Nothing is changed on any medium.\nExit status: 0 nothing is short of copies, 1 files are short now, 64 no drive is called so, or it is plugged in, 65 files are on no drive any more.",
  run,
};

async function run(call: Call): Promise<number> {
  const [name = ""] = call.operands;
  const lost = await daemonClient(call.home.run).loseDrive(name);
  if (call.json) outJson(call.terminal, lost);
  else
    call.terminal.out(
      renderDriveLost(lost, undefined, writesUnicode(call.terminal.env), columnsOf(call.terminal)),
    );
  return exitOfLoss(lost);
}

/** How grave a loss is. */
export function exitOfLoss(lost: Pick<DriveLostJson, "short" | "nowhereTotal">): number {
  if (lost.nowhereTotal > 0) return 65;
  return lost.short > 0 ? 1 : 0;
}
