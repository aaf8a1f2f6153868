/** `scrubjay eject NAME`: flush, unmount, say when it may be unplugged. */

import { daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { outJson } from "./terminal.ts";

export const eject: Command = {
  name: "eject",
  operands: ["NAME"],
  options: {},
  does: "flushes and unmounts a drive or card, and says when it may be unplugged",
  more: "NAME is a drive's name, a card as `card 7`, a card's label or its id.\nExit status: 0 it may be unplugged, 1 it is being written or read, 64 nothing that is in is called so, or several are, 74 the system doesn't let go of it.",
  run,
};

async function run(call: Call): Promise<number> {
  const [name = ""] = call.operands;
  const ejected = await daemonClient(call.home.run).eject(name);
  if (call.json) outJson(call.terminal, ejected);
  else call.terminal.out(`${ejected.name} may be ${ejected.kind === "card" ? "taken out" : "unplugged"}.\n`);
  return 0;
}
