/** `scrubjay wait`: returns when there is nothing left to do with what is plugged in. */

import { counted, formatBytes } from "../../shared/format.ts";
import { bytes } from "../../shared/units.ts";
import { daemonClient } from "../api/client.ts";
import { type Call, type Command, usage } from "./command.ts";
import { paragraph } from "./table.ts";
import { columnsOf, outJson } from "./terminal.ts";

/** seconds. */
const longestTimeout = 86_400;
/** seconds. The daemon needs this much for one look at what is plugged in. */
const shortestTimeout = 1;

export const wait: Command = {
  name: "wait",
  operands: [],
  options: {
    timeout: { value: "SECONDS", does: "give up after this time; without it, wait as long as it takes" },
  },
  does: "returns when there is nothing left to do with what is plugged in",
  more: "A time under a second is one second: enough for one look.\nExit status: 0 nothing is left, nothing is owed and each card that is in is clear; 1 not yet.",
  run,
};

async function run(call: Call): Promise<number> {
  const client = daemonClient(call.home.run);
  const timeout = readTimeout(call.options["timeout"]);
  const answer = await client.wait(timeout === undefined ? undefined : Math.max(shortestTimeout, timeout));
  const owed = answer.owed.files > 0;
  if (call.json) {
    outJson(call.terminal, answer);
  } else {
    const done = answer.idle
      ? "Nothing is left to do with what is plugged in."
      : (await client.status()).work.length > 0
        ? "The time is up; work goes on."
        : "The time is up. Nothing is being read or copied at this moment, but the last look isn't over.";
    const amount = `${counted(answer.owed.files, "copy", "copies")} (${formatBytes(bytes(answer.owed.bytes))})`;
    const rest = owed ? ` Drives owe ${amount}; \`scrubjay status\` says which.` : "";
    const keep =
      answer.cardsNotClear > 0
        ? ` ${counted(answer.cardsNotClear, "card")} must be kept; \`scrubjay cards\` says why.`
        : "";
    call.terminal.out(paragraph(`${done}${rest}${keep}`, columnsOf(call.terminal)));
  }
  return answer.idle && !owed && answer.cardsNotClear === 0 ? 0 : 1;
}

function readTimeout(text: string | undefined): number | undefined {
  if (text === undefined) return undefined;
  const seconds = Number(text);
  if (/^\d+(\.\d{1,3})?$/.test(text) && seconds <= longestTimeout) return seconds;
  throw usage(wait, `--timeout takes seconds, 0 to ${longestTimeout}.`);
}
