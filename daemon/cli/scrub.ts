/** `scrubjay scrub [DRIVE]`: every verified copy is read from its medium again. */

import type { ScrubJson } from "../../shared/api.ts";
import { daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { renderScrub } from "./renderScrub.ts";
import { columnsOf, outJson, writesUnicode } from "./terminal.ts";
import { whileWorking } from "./workProgress.ts";

export const scrub: Command = {
  name: "scrub",
  operands: ["[DRIVE]"],
  options: {},
  does: "reads every verified copy from its medium again and says what isn't as it was",
  more: "DRIVE is a drive's name; without it, all that are in. What is damaged is made good from another drive or a card that is in, and set aside then, never deleted.\nEnding this command doesn't end the reading; `scrubjay status` shows how far it is.\nExit status: 0 all is as verified, 1 a changed file is owed, not all could be read, or the drive isn't plugged in, 64 no such drive, 65 a copy was damaged or gone, even if it was made good. What was found before and isn't made good yet counts as well.",
  run,
};

async function run(call: Call): Promise<number> {
  const [drive] = call.operands;
  const client = daemonClient(call.home.run);
  const found = await whileWorking(call.terminal, client, client.scrub(drive), {
    kind: "scrub",
    doing: "Reading again",
  });
  if (call.json) outJson(call.terminal, found);
  else call.terminal.out(renderScrub(found, writesUnicode(call.terminal.env), columnsOf(call.terminal)));
  return exitOf(found);
}

function exitOf({ findings, complete }: ScrubJson): number {
  if (findings.some(({ what }) => what === "damaged" || what === "missing")) return 65;
  return !complete || findings.some(({ what, healed }) => what === "changed" && !healed) ? 1 : 0;
}
