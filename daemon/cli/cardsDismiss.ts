/** `scrubjay cards dismiss CARD`: a card that is out is of no concern (a friend's, or formatted meanwhile). */

import { counted } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { daemonClient } from "../api/client.ts";
import { findCard } from "./cards.ts";
import type { Call, Command } from "./command.ts";
import { outJson } from "./terminal.ts";

export const cardsDismiss: Command = {
  name: "cards dismiss",
  operands: ["CARD"],
  options: {},
  does: "says that a card that is out is of no concern any more",
  more: "CARD is a card's number, id or label. It leaves the board until it is put in again; nothing is changed on any medium.\nExit status: 0 done, 64 no such card, or it is in.",
  run,
};

async function run(call: Call): Promise<number> {
  const [word = ""] = call.operands;
  const client = daemonClient(call.home.run);
  const { id } = findCard(await client.cards(), word);
  const dismissed = await client.dismissCard(id);
  if (call.json) outJson(call.terminal, dismissed);
  else {
    const unread =
      dismissed.unread === 0
        ? ""
        : ` ${counted(dismissed.unread, "file")} on it ${dismissed.unread === 1 ? "was" : "were"} never copied: keep the card if you want them.`;
    call.terminal.out(`${printable(dismissed.name)} is of no concern until it is put in again.${unread}\n`);
  }
  return 0;
}
