/** What the API asks of the daemon, answered out of engine and ledger: the board, cards and drives. */

import type { DismissedJson } from "../../shared/api.ts";
import { absolutePath, type CardId } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import type { BoardFace } from "../api/face.ts";
import { drivesJson, happenedJson, holdingsJson, owedOfTrips, statusJson } from "../engine/board.ts";
import { cardsJson, judgedCard, unclearCards } from "../engine/cardBoard.ts";
import { acceptDamage, declareLost, forgetVanished } from "../engine/declare.ts";
import type { Engine } from "../engine/engine.ts";
import { introduceDrive } from "../engine/introduce.ts";
import { rebuildFrom } from "../engine/rebuild.ts";
import { scrubDrives } from "../engine/scrubRequest.ts";

export function boardFace(engine: Engine): BoardFace {
  return {
    status: () => statusJson(engine),
    cards: () => cardsJson(engine),
    drives: () => drivesJson(engine),
    holdings: () => holdingsJson(engine),
    happened: (before) => happenedJson(engine, before),
    addDrive: async (mount, name) => {
      const added = await introduceDrive(engine.ports, engine.presence, absolutePath(mount), name);
      engine.refresh();
      return added;
    },
    assignCard: async (card, trip) => assignCard(engine, card, trip),
    dismissCard: async (card) => dismissCard(engine, card),
    acceptDamage: async (card, path) => acceptDamage(engine, knownCard(engine, card), path),
    loseDrive: (name) => engine.between(async () => declareLost(engine, name)),
    scrub: (drive, stop) => scrubDrives(engine, drive, stop),
    rebuild: (mounts, owner) => engine.between(() => rebuildFrom(engine, mounts, owner)),
    eject: async (name) => {
      const { name: ejected, kind } = await engine.eject(name);
      return { name: ejected, kind };
    },
    pause: async () => engine.pause(),
    goOn: async () => engine.goOn(),
    refresh: async () => engine.refresh(),
    wait: async (timeout, stop) => {
      const ended = AbortSignal.any([stop, AbortSignal.timeout(timeout)]);
      const idle = await engine.untilIdle(ended);
      return { idle, owed: owedOfTrips(engine), cardsNotClear: unclearCards(engine) };
    },
  };
}

/** @throws UserMistake when no card has this id. */
function knownCard(engine: Engine, card: string): CardId {
  const row = engine.ports.ledger.cards().find((each) => each.id === card);
  if (row !== undefined) return row.id;
  throw new UserMistake(
    `No card is known as ${printable(card, 40)}.`,
    "`scrubjay cards` shows the known ones.",
  );
}

function dismissCard(engine: Engine, card: string): DismissedJson {
  const { ledger } = engine.ports;
  const id = knownCard(engine, card);
  const name = engine.nameOfCard(id);
  const vanished = ledger.vanished().filter((file) => file.card === id).length;
  const present = engine.presence.cards.some((each) => each.id === id);
  if (present && vanished === 0)
    throw new UserMistake(
      `${name} is in. Nothing was changed.`,
      "Take it out first, if it is of no concern; while it is in, it is copied.",
    );
  const unread = judgedCard(engine, id)?.news.length ?? 0;
  if (vanished > 0) forgetVanished(engine, id);
  if (!present) ledger.dismissCard(id, engine.now());
  const said = present ? "what is gone from it is of no concern" : "said to be of no concern";
  ledger.note("card", id, `${said}; ${unread} files on it were never read`, engine.now());
  engine.refresh();
  return { card: id, name, unread, vanished };
}

function assignCard(engine: Engine, card: string, trip: string): void {
  const { ledger } = engine.ports;
  const id = knownCard(engine, card);
  const key = trip.toLowerCase();
  const matching = engine.tripBook.trips.filter((each) =>
    [each.id, each.profile.code, each.profile.trip].some((name) => name.toLowerCase() === key),
  );
  const [only] = matching;
  if (only === undefined || matching.length > 1)
    throw new UserMistake(
      only === undefined
        ? `No trip is known as ${printable(trip, 60)}.`
        : `${printable(trip, 60)} fits several trips.`,
      "`scrubjay trip list` shows their ids.",
    );
  ledger.assignCard(id, only.id);
  ledger.note("card", id, `put to ${only.id} by hand`, engine.now());
  engine.desk.forgetDecisions(id);
  engine.refresh();
}
