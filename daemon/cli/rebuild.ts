/** `scrubjay rebuild MOUNT...`: a new computer learns from the drives all that they know. */

import { resolve } from "node:path";
import { daemonClient } from "../api/client.ts";
import { type Call, type Command, usage } from "./command.ts";
import { renderRebuild } from "./renderRebuild.ts";
import { columnsOf, outJson, writesUnicode } from "./terminal.ts";

/** What the daemon takes in one call. */
const mountsMost = 20;

export const rebuild: Command = {
  name: "rebuild",
  operands: ["MOUNT..."],
  options: {
    owner: { value: "ID", does: "the drives of this owner are yours as well" },
  },
  does: "makes the ledger anew from the records on drives",
  more: "Reads the records of the drives mounted there and what stands on them; trips get their profiles back. Nothing on a drive is changed.\nExit status: 0 all that existed is on a known drive by the records, 64 refused (a card, no drive, another owner's), 65 something is on no known drive.",
  run,
};

async function run(call: Call): Promise<number> {
  if (call.operands.length > mountsMost)
    throw usage(rebuild, `At most ${mountsMost} drives are read in one call; ${call.operands.length} given.`);
  const { owner } = call.options;
  if (owner?.trim() === "") throw usage(rebuild, "--owner is empty.");
  const mounts = call.operands.map((mount) => resolve(mount));
  const learnt = await daemonClient(call.home.run).rebuild(mounts, owner);
  if (call.json) outJson(call.terminal, learnt);
  else call.terminal.out(renderRebuild(learnt, writesUnicode(call.terminal.env), columnsOf(call.terminal)));
  return learnt.nowhereTotal > 0 ? 65 : 0;
}
