/**
 * `scrubjay cards dismiss CARD`: a card that is out is of no concern (a friend's, or formatted meanwhile), or what is
 * gone from one that is in.
 */

import type { DismissedJson } from "../../shared/api.ts";
import { counted } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { daemonClient } from "../api/client.ts";
import { findCard } from "./cards.ts";
import type { Call, Command } from "./command.ts";
import { paragraph } from "./table.ts";
import { columnsOf, outJson } from "./terminal.ts";

export const cardsDismiss: Command = {
  name: "cards dismiss",
  operands: ["CARD"],
  options: {},
  does: "says that a card that is out is of no concern any more, or what is gone from one that is in",
  more: "CARD is a card's number, id or label. One that is out leaves the board until it is put in again. Of one that is in, the files that are gone from it keep it no longer. Nothing is changed on any medium.\nExit status: 0 done, 64 no such card, or it is in and nothing is gone from it.",
  run,
};

async function run(call: Call): Promise<number> {
  const [word = ""] = call.operands;
  const client = daemonClient(call.home.run);
  const { id, present } = findCard(await client.cards(), word);
  const dismissed = await client.dismissCard(id);
  if (call.json) outJson(call.terminal, dismissed);
  else
    call.terminal.out(
      paragraph(present ? whatIsGone(dismissed) : whatIsOut(dismissed), columnsOf(call.terminal)),
    );
  return 0;
}

function whatIsGone({ name, vanished = 0 }: DismissedJson): string {
  const are = vanished === 1 ? "is" : "are";
  const gone = `${counted(vanished, "file")} that ${are} gone from it ${are} of no concern any more`;
  return `${printable(name)}: ${gone}; the card itself goes on as before.`;
}

function whatIsOut({ name, unread, vanished = 0 }: DismissedJson): string {
  const said = [`${printable(name)} is of no concern until it is put in again.`];
  if (vanished > 0) {
    const are = vanished === 1 ? "is" : "are";
    said.push(`${counted(vanished, "file")} that ${are} gone from it ${are} of no concern any more either.`);
  }
  if (unread > 0) {
    const were = unread === 1 ? "was" : "were";
    said.push(`${counted(unread, "file")} on it ${were} never copied: keep the card if you want them.`);
  }
  return said.join(" ");
}
