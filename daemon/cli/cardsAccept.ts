/** `scrubjay cards accept CARD PATH`: someone knows that a file of a card is damaged, and lets the card go. */

import { printable } from "../../shared/text.ts";
import { daemonClient } from "../api/client.ts";
import { inSentence } from "../core/verdict.ts";
import { findCard } from "./cards.ts";
import type { Call, Command } from "./command.ts";
import { paragraph } from "./table.ts";
import { columnsOf, outJson } from "./terminal.ts";

export const cardsAccept: Command = {
  name: "cards accept",
  operands: ["CARD", "PATH"],
  options: {},
  does: "says that a damaged file of a card is known and keeps the card no longer",
  more: "CARD is a card's number, id or label; PATH stands in `scrubjay cards`. Nothing is changed on any medium.\nExit status: 0 done, 64 no such card, or no damaged file of that path.",
  run,
};

async function run(call: Call): Promise<number> {
  const [word = "", path = ""] = call.operands;
  const client = daemonClient(call.home.run);
  const { id } = findCard(await client.cards(), word);
  const accepted = await client.acceptDamage(id, path);
  if (call.json) outJson(call.terminal, accepted);
  else {
    const which = `${printable(accepted.path, 1_000)} of ${inSentence(printable(accepted.name))}`;
    const said =
      `${which} is known to be damaged now, and the card isn't kept for it any more. The file stays copied as the card gives it. ` +
      "Once the card is formatted nothing better will be had of it: try a second reader first, it may read it better.";
    call.terminal.out(paragraph(said, columnsOf(call.terminal)));
  }
  return 0;
}
