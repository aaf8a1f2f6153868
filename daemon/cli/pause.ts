/** `scrubjay pause` and `continue`: the work waits, for a flight or an editor that needs the drives to itself. */

import { daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { outJson } from "./terminal.ts";

export const pause: Command = {
  name: "pause",
  operands: [],
  options: {},
  does: "lets the work wait: nothing is read or written until `continue`",
  more: "The file under way is finished first. Cards and drives are still seen and told of. A restart of the daemon goes on with the work.\nExit status: 0 it waits, 69 the daemon is not running.",
  run: async (call) => answer(call, true),
};

export const goOn: Command = {
  name: "continue",
  operands: [],
  options: {},
  does: "goes on with work that was paused",
  more: "Exit status: 0 it goes on, 69 the daemon is not running.",
  run: async (call) => answer(call, false),
};

async function answer(call: Call, paused: boolean): Promise<number> {
  const client = daemonClient(call.home.run);
  await (paused ? client.pause() : client.goOn());
  if (call.json) outJson(call.terminal, { paused });
  else
    call.terminal.out(
      paused ? "The work waits. `scrubjay continue` goes on with it.\n" : "The work goes on.\n",
    );
  return 0;
}
