/**
 * `scrubjay cards accept CARD PATH`: someone knows that a file of a card is damaged, and lets the card go.
 *
 * A path that isn't written as `cards` shows it is looked up among the card's damaged files, so that a file's name is
 * enough. What fits none of them is the daemon's to refuse; a guess is shown, never taken.
 */

import type { AcceptedJson, CardStatusJson } from "../../shared/api.ts";
import { nameKey } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { inSentence, printable } from "../../shared/text.ts";
import { type DaemonClient, daemonClient } from "../api/client.ts";
import { nearest } from "../core/nearest.ts";
import { findCard } from "./cards.ts";
import type { Call, Command } from "./command.ts";
import { paragraph } from "./table.ts";
import { columnsOf, outJson } from "./terminal.ts";

/** Paths that are named where several fit. */
const namedMost = 4;

export const cardsAccept: Command = {
  name: "cards accept",
  operands: ["CARD", "PATH"],
  options: {},
  does: "says that a damaged file of a card is known and keeps the card no longer",
  more: "CARD is a card's number, id or label; PATH stands in `scrubjay cards`, and its end is enough where one damaged file has it. Nothing is changed on any medium.\nExit status: 0 done, 64 no such card, no damaged file of that path, or several.",
  run,
};

async function run(call: Call): Promise<number> {
  const [word = "", path = ""] = call.operands;
  const client = daemonClient(call.home.run);
  const card = findCard(await client.cards(), word);
  const accepted = await accept(client, card, path);
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

async function accept(client: DaemonClient, card: CardStatusJson, given: string): Promise<AcceptedJson> {
  const found = damagedFile(card, given);
  try {
    return await client.acceptDamage(card.id, found ?? given);
  } catch (error) {
    const near = found === undefined ? nearestDamaged(card, given) : undefined;
    if (!(error instanceof UserMistake) || error.exit !== 64 || near === undefined) throw error;
    throw new UserMistake(error.message, `Did you mean ${near}? ${error.next}`);
  }
}

/**
 * The damaged file that is meant: by its whole path, from the card's root or the computer's, else by the end of it.
 *
 * @returns its path as `cards` shows it; undefined if none fits
 * @throws UserMistake when several fit
 */
function damagedFile(card: CardStatusJson, given: string): string | undefined {
  const paths = (card.damaged ?? []).map((file) => file.path);
  if (paths.includes(given)) return given;
  const wanted = nameKey(belowRoot(card, given));
  const whole = paths.filter((path) => nameKey(path) === wanted);
  const fitting = whole.length > 0 ? whole : paths.filter((path) => nameKey(path).endsWith(`/${wanted}`));
  if (fitting.length < 2) return fitting[0];
  const name = inSentence(printable(card.name));
  const named = fitting.slice(0, namedMost).map((path) => printable(path, 1_000));
  const rest = fitting.length - named.length;
  throw new UserMistake(
    `'${printable(given, 60)}' fits ${fitting.length} damaged files of ${name}. Nothing was changed.`,
    `Name one of them whole: ${named.join(", ")}${rest > 0 ? ` and ${rest} more` : ""}.`,
  );
}

function belowRoot({ mount }: CardStatusJson, given: string): string {
  const inside = mount !== null && given.startsWith(`${mount}/`) ? given.slice(mount.length) : given;
  return inside.replace(/^(?:\.?\/)+/, "");
}

/** The damaged file whose path, as far as one is given, differs least. */
function nearestDamaged(card: CardStatusJson, given: string): string | undefined {
  const word = belowRoot(card, given);
  const parts = word.split("/").length;
  const ends = new Map(
    (card.damaged ?? []).map(({ path }) => [path.split("/").slice(-parts).join("/"), path] as const),
  );
  const near = ends.get(nearest(word, [...ends.keys()]) ?? "");
  return near === undefined ? undefined : printable(near, 1_000);
}
