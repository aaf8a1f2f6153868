/** `scrubjay homecoming [TRIP]`: the trip is merged into its archive from the drives that are in, and verified there. */

import { resolve } from "node:path";
import type { ReceiptJson } from "../../shared/homeApi.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { millis } from "../../shared/units.ts";
import { type DaemonClient, daemonClient } from "../api/client.ts";
import { type Call, type Command, usage } from "./command.ts";
import { renderReceipt } from "./renderReceipt.ts";
import { columnsOf, outJson, type Terminal, writesUnicode } from "./terminal.ts";
import { whileWorking } from "./workProgress.ts";

/** How often it is asked whether it has ended. */
const askEvery = millis(300);

export const homecoming: Command = {
  name: "homecoming",
  operands: ["[TRIP]"],
  options: {
    to: { value: "FOLDER", does: "merge into this folder, in place of the archives of the profile" },
  },
  flags: {
    "dry-run": "write nothing and say what would come",
    history: "earlier versions of work files come along",
  },
  does: "merges a trip into its archive from the drives that are in, and verifies it there",
  more: "TRIP is a trip's name, code or id; without it, the one that `status` shows. What stands in the archive with the same content isn't brought again; another file of one name stays, and the trip's own goes beside it. Nothing on a drive is changed.\nEnding this command doesn't end the homecoming; `scrubjay status` shows how far it is. Broken off, it carries on when it is begun again.\nExit status: 0 all that is known of the trip is in the archive, 1 an archive isn't done or can't be used, or no drive is in, 65 something is missing, or damaged without another copy, 74 an I/O error, 78 the profile names no archive.",
  run,
};

async function run(call: Call): Promise<number> {
  const [trip] = call.operands;
  const { to } = call.options;
  if (to?.trim() === "") throw usage(homecoming, "--to is empty.");
  const client = daemonClient(call.home.run);
  const { terminal } = call;
  const begun = await client.comeHome({
    trip,
    to: to === undefined ? undefined : resolve(to),
    rehearsal: call.flags.has("dry-run"),
    history: call.flags.has("history"),
  });
  const named = printable(begun.trip?.name ?? "");
  const doing = call.flags.has("dry-run")
    ? "is being looked at, and nothing is written"
    : "is being brought home";
  terminal.err(`${named} ${doing}. Ctrl-C ends this command and not the homecoming.\n`);
  const receipt = await whileWorking(terminal, client, untilEnded(terminal, client, begun.trip?.id), {
    kind: "homecoming",
    doing: "Bringing home",
  });
  if (call.json) outJson(terminal, receipt);
  else terminal.out(renderReceipt(receipt, writesUnicode(terminal.env), columnsOf(terminal)));
  return exitOf(receipt);
}

async function untilEnded(
  terminal: Terminal,
  client: DaemonClient,
  trip: string | undefined,
): Promise<ReceiptJson> {
  const never = new AbortController().signal;
  for (;;) {
    const { running, receipt } = await client.homecoming(trip);
    if (!running && receipt !== null) return receipt;
    if (!running)
      throw new UserMistake(
        "The homecoming ended without a receipt.",
        "Begin it again; what was verified stays.",
        1,
      );
    await terminal.pause(askEvery, never);
  }
}

function exitOf({ complete, missingTotal, damage, stopped }: ReceiptJson): number {
  if (complete) return 0;
  if (stopped !== "") return 1;
  return missingTotal > 0 || damage.some(({ healed }) => !healed) ? 65 : 1;
}
