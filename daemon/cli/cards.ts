/** `scrubjay cards`: each card with its verdict; `cards assign`: a person's answer to which trip one belongs. */

import type { CardStatusJson } from "../../shared/api.ts";
import { nameKey } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { renderCards } from "./renderCards.ts";
import { columnsOf, outJson, writesUnicode } from "./terminal.ts";

export const cardsList: Command = {
  name: "cards",
  operands: [],
  options: {},
  does: "shows each card with its verdict and reasons",
  more: "Exit status: 0 every card that is in is clear to format, 1 not yet.",
  run: list,
};

export const cardsAssign: Command = {
  name: "cards assign",
  operands: ["CARD", "TRIP"],
  options: {},
  does: "says to which trip a card belongs, when dates and bodies can't",
  more: "CARD is a card's number, id or label; TRIP a trip's id, code or name.\nExit status: 0 it is assigned, 64 no such card or trip, or several of them.",
  run: assign,
};

async function list(call: Call): Promise<number> {
  const cards = await daemonClient(call.home.run).cards();
  if (call.json) outJson(call.terminal, cards);
  else call.terminal.out(renderCards(cards, writesUnicode(call.terminal.env), columnsOf(call.terminal)));
  return cards.every((card) => !card.present || card.clear) ? 0 : 1;
}

async function assign(call: Call): Promise<number> {
  const [word = "", trip = ""] = call.operands;
  const client = daemonClient(call.home.run);
  const card = findCard(await client.cards(), word);
  await client.assignCard(card.id, trip);
  if (call.json) outJson(call.terminal, { card: card.id, trip });
  else call.terminal.out(`${printable(card.name)} belongs to ${printable(trip)} now.\n`);
  return 0;
}

/** By id first; then by number, name or label, the cards that are in before all others. */
export function findCard(cards: readonly CardStatusJson[], word: string): CardStatusJson {
  const key = nameKey(word);
  const matching = cards.filter((card) =>
    [card.id, card.name, card.name.replace(/^card /i, ""), card.label].some((name) => nameKey(name) === key),
  );
  const exact = matching.find((card) => card.id === word);
  const present = matching.filter((card) => card.present);
  const [only, ...more] = exact !== undefined ? [exact] : present.length > 0 ? present : matching;
  const shown = printable(word, 60);
  const next = "`scrubjay cards` shows the cards with their ids.";
  if (only === undefined) throw new UserMistake(`No card is known as '${shown}'.`, next);
  if (more.length > 0) throw new UserMistake(`'${shown}' fits several cards.`, next);
  return only;
}
