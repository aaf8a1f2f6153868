/** `eject`: which volume a name means, and why it can't be ejected now. */

import { nameKey } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import type { Volume } from "../ports/volumes.ts";
import type { Engine } from "./engine.ts";

/** What is to be ejected. */
export interface Ejectable {
  readonly name: string;
  readonly kind: "drive" | "card";
  readonly volume: Volume;
}

/**
 * The drive of this name, else the card: `card 7`, its label, or its id.
 * @throws UserMistake when nothing that is plugged in is called so, or several are.
 */
export function findEjectable(engine: Engine, name: string): Ejectable {
  const key = nameKey(name.trim());
  const drives = engine.presence.drives
    .filter((drive) => nameKey(drive.name) === key)
    .map((drive): Ejectable => ({ name: printable(drive.name), kind: "drive", volume: drive.volume }));
  const cards = engine.presence.cards
    .filter(({ id, volume }) =>
      [id, engine.nameOfCard(id), volume.label].some((each) => nameKey(each) === key),
    )
    .map((card): Ejectable => ({ name: engine.nameOfCard(card.id), kind: "card", volume: card.volume }));
  const found = drives.length > 0 ? drives : cards;
  const [only, ...others] = found;
  const shown = printable(name, 60);
  if (only === undefined)
    throw new UserMistake(
      `Nothing that is plugged in is called ${shown}.`,
      "`scrubjay drive list` and `scrubjay cards` show what is here.",
    );
  if (others.length > 0)
    throw new UserMistake(
      `${shown} is the name of ${found.length} volumes that are in.`,
      "Name the card by its id; `scrubjay cards` shows it.",
    );
  return only;
}

/** @throws UserMistake (not yet) while it is being written or read. */
export function refuseWhileBusy(engine: Engine, { name, volume }: Ejectable): void {
  const { work } = engine;
  // What gives way is broken off for the ejection.
  if (work === undefined || work.yields) return;
  const written = work.drives.has(volume.id);
  const read = work.source === volume.id;
  if (!written && !read) return;
  throw new UserMistake(
    `${name} is being ${written ? "written" : "read"}. Nothing was interrupted.`,
    "Wait until it is done (`scrubjay wait`), then eject it.",
    1,
  );
}
