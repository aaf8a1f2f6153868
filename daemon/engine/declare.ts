/**
 * What a person declares and the daemon can't find out: a drive is lost for good; a file that is damaged on its card is
 * known to be. Each is written down as facts, so that every drive's record knows it too.
 */

import type { AcceptedJson, DriveLostJson } from "../../shared/api.ts";
import { type CardId, nameKey } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { asArgument, inSentence, printable } from "../../shared/text.ts";
import { encodeFact } from "../record/journal.ts";
import { judgedCards } from "./cardBoard.ts";
import type { Engine } from "./engine.ts";
import { nowhereJson } from "./rebuild.ts";

/** @throws UserMistake when no drive is called so, or it is plugged in */
export function declareLost(engine: Engine, name: string): DriveLostJson {
  const { ledger, clock, hashing } = engine.ports;
  const key = nameKey(name.trim());
  const shown = printable(name, 60);
  const drive = ledger.drives().find((each) => nameKey(each.name) === key);
  if (drive === undefined) {
    const before = ledger.lostDrives().some((each) => nameKey(each.name) === key);
    throw new UserMistake(
      before ? `${shown} was declared lost before. Nothing was changed.` : `No drive is known as ${shown}.`,
      before
        ? `Introduce another in its place: \`scrubjay drive add MOUNT --name ${asArgument(name)}\`.`
        : "`scrubjay drive list` shows the known drives.",
    );
  }
  if (engine.presence.drives.some((each) => each.id === drive.id))
    throw new UserMistake(
      `${printable(drive.name)} is plugged in. Nothing was changed.`,
      "A drive that is here isn't lost. If it is to take part no more, take it out first.",
    );
  const trips = ledger.trips().filter((trip) => ledger.nameInTrip(drive.id, trip.id) !== undefined);
  const shares = trips.map((trip) => ledger.share(trip.id, drive.id));
  const clearBefore = clearCards(engine);
  const nowhereBefore = new Set(ledger.nowhere().map(({ trip, path }) => `${trip}/${path}`));
  const at = clock.now();
  const facts = trips.map((trip) =>
    encodeFact({ kind: "drive-lost", trip: trip.id, at, drive: drive.id }, hashing),
  );
  ledger.apply(facts);
  ledger.loseDrive(drive.id, at);
  ledger.clearFaults(drive.id);
  engine.bay.tell(facts);
  ledger.note("drive", drive.id, `${printable(drive.name)} was declared lost`, at);
  for (const each of engine.presence.drives) engine.edits.lookAgain(each.id);
  engine.refresh();
  const nowhere = ledger.nowhere().filter(({ trip, path }) => !nowhereBefore.has(`${trip}/${path}`));
  const clearNow = new Set(clearCards(engine));
  return {
    id: drive.id,
    name: printable(drive.name),
    held: {
      files: shares.reduce((sum, share) => sum + share.holdsFiles, 0),
      bytes: shares.reduce((sum, share) => sum + share.holdsBytes, 0),
    },
    short: engine.tripBook.trips.reduce((sum, { id, profile }) => {
      const { files, filesAtGoal } = ledger.totals(id, profile.goal.copies);
      return sum + files - filesAtGoal;
    }, 0),
    nowhere: nowhereJson(engine, nowhere),
    nowhereTotal: nowhere.length,
    withdrawn: clearBefore.filter((card) => !clearNow.has(card)).map((card) => engine.nameOfCard(card)),
  };
}

function clearCards(engine: Engine): readonly CardId[] {
  return judgedCards(engine)
    .filter(({ files, verdict }) => files > 0 && verdict.clear)
    .map(({ row }) => row.id);
}

/**
 * @param path as it stands on the card, or as people see it
 * @throws UserMistake when the card has no such file, or nothing is known to be wrong with it
 */
export function acceptDamage(engine: Engine, card: CardId, path: string): AcceptedJson {
  const { ledger, clock, hashing } = engine.ports;
  const name = engine.nameOfCard(card);
  const shown = printable(path, 1_000);
  const files = ledger.cardFiles(card);
  const file =
    files.find((each) => each.path === path) ?? files.find((each) => printable(each.path, 1_000) === path);
  if (file === undefined)
    throw new UserMistake(`${name} has no file ${shown}.`, "`scrubjay cards` names its damaged files.");
  if (file.damage === "" || file.original === undefined || file.trip === undefined)
    throw new UserMistake(
      `Nothing is known to be wrong with ${shown} on ${inSentence(name)}.`,
      "Only a file that is damaged as the card gives it can be accepted so.",
    );
  const fact = encodeFact(
    {
      kind: "accepted",
      trip: file.trip,
      at: clock.now(),
      card,
      path: file.path,
      original: file.original,
      damage: file.damage,
    },
    hashing,
  );
  ledger.apply([fact]);
  engine.bay.tell([fact]);
  ledger.clearFaults(card, file.path);
  ledger.note(
    "card",
    card,
    `${shown} is known to be damaged, said by hand: it keeps the card no more`,
    clock.now(),
  );
  engine.refresh();
  return { card, name, path: printable(file.path, 1_000) };
}

/** What vanished from a card is of no concern; the drives' records know that too. */
export function forgetVanished(engine: Engine, card: CardId): void {
  const { ledger, clock, hashing } = engine.ports;
  const row = ledger.card(card);
  const trip = row?.trip ?? row?.assigned;
  ledger.forgetVanished(card);
  if (trip === undefined) return;
  const fact = encodeFact({ kind: "dismissed", trip, at: clock.now(), card }, hashing);
  ledger.apply([fact]);
  engine.bay.tell([fact]);
}
