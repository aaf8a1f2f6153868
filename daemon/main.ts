/**
 * The composition root: reads where things stand, picks the adapters, starts and stops everything in order. The one
 * place that knows every room of the house; nothing is decided here.
 */

import { randomBytes } from "node:crypto";
import { mkdir } from "node:fs/promises";
import { homedir } from "node:os";
import { join, resolve } from "node:path";
import { fileURLToPath } from "node:url";
import { limits } from "../config/defaults.ts";
import type { DismissedJson } from "../shared/api.ts";
import { absolutePath, type CardId } from "../shared/identity.ts";
import { UserMistake } from "../shared/problems.ts";
import { printable } from "../shared/text.ts";
import type { DaemonFace } from "./api/face.ts";
import { readPageFiles } from "./api/pageFiles.ts";
import { createApi } from "./api/server.ts";
import {
  cardsJson,
  cardVerdict,
  drivesJson,
  happenedJson,
  isNews,
  owedOfTrips,
  statusJson,
  unclearCards,
} from "./engine/board.ts";
import { acceptDamage, declareLost, forgetVanished } from "./engine/declare.ts";
import { Engine } from "./engine/engine.ts";
import { introduceDrive } from "./engine/introduce.ts";
import { rebuildFrom } from "./engine/rebuild.ts";
import { scrubDrives } from "./engine/scrubRequest.ts";
import { type HomeFolders, homeFolders } from "./home/homeFolders.ts";
import { removeRunFile, writeRunFile } from "./home/runFile.ts";
import { keepTripFile, listTripFiles } from "./home/tripFiles.ts";
import { holdLock } from "./ledger/oneOnly.ts";
import { SqliteLedger } from "./ledger/sqliteLedger.ts";
import { selectPlatform } from "./platform/select.ts";

/** Where the build puts the page, beside the compiled daemon. */
const pageFolder = fileURLToPath(new URL("../page", import.meta.url));

/**
 * Runs the daemon until SIGTERM or SIGINT.
 * @returns the exit status.
 * @throws UserMistake when it can't start for a reason the user can mend.
 */
export async function runDaemon(options: { readonly practice: string | undefined }): Promise<number> {
  const home = homeFolders(process.env, homedir());
  for (const folder of [home.config, home.state, home.run])
    await mkdir(folder, { recursive: true, mode: 0o700 });
  const lock = holdLock(join(home.state, "daemon.lock"));
  if (lock === undefined)
    throw new UserMistake(
      "Scrubjay's daemon is running already.",
      "One is enough: `scrubjay status` shows what it does.",
    );
  const stopped = stopAsked();
  try {
    return await serve(home, options, stopped);
  } finally {
    lock.release();
  }
}

async function serve(
  home: HomeFolders,
  options: { readonly practice: string | undefined },
  stopped: Promise<void>,
): Promise<number> {
  const practice = options.practice === undefined ? undefined : resolve(options.practice);
  const ledger = openLedger(join(home.state, "ledger.sqlite"));
  const platform = await selectPlatform({ practice });
  const engine = new Engine({
    ...platform,
    ledger,
    limits,
    tripFiles: {
      list: () => listTripFiles(home.config),
      keep: (id, text) => keepTripFile(home.config, id, text),
    },
  });
  const token = randomBytes(32).toString("hex");
  const api = createApi(faceOf(engine), token, readPageFiles(pageFolder), logBug);
  const { port } = await api.listen();
  await writeRunFile(home.run, { port, token, pid: process.pid });
  const where = practice === undefined ? "cards and drives" : `the folders in ${printable(practice)}`;
  process.stderr.write(`scrubjay: watching ${where}; SIGTERM or Ctrl-C stops it\n`);
  try {
    return await workUntil(stopped, engine);
  } finally {
    await api.close();
    await engine.stop();
    await platform.metadata.close();
    ledger.close();
    await removeRunFile(home.run, process.pid);
  }
}

/** @throws UserMistake when it is no ledger, is damaged, or is from a later version. */
function openLedger(file: string): SqliteLedger {
  try {
    return new SqliteLedger(file);
  } catch (error) {
    const why = printable(error instanceof Error ? error.message : String(error));
    throw new UserMistake(
      `The ledger ${printable(file)} can't be opened: ${why}. Cards and drives were not touched.`,
      "Move it to another folder, start again, plug the drives in and run `scrubjay rebuild MOUNT...`: each of them knows all.",
      74,
    );
  }
}

/**
 * Resolves at SIGTERM or SIGINT, from now on. The handlers stay: a second signal while work is being put away must not
 * cut it short.
 */
function stopAsked(): Promise<void> {
  return new Promise((resolveStop) => {
    process.on("SIGTERM", () => resolveStop());
    process.on("SIGINT", () => resolveStop());
  });
}

/** @returns 0 when asked to stop. A bug in the engine ends the daemon before it could claim anything wrong. */
async function workUntil(stopped: Promise<void>, engine: Engine): Promise<number> {
  await new Promise<void>((resolveEnd, reject) => {
    engine.start(reject);
    void stopped.then(resolveEnd);
  });
  return 0;
}

/** For whoever mends it: the log of the service, or the terminal the daemon runs in. */
function logBug(bug: unknown): void {
  const trace = bug instanceof Error ? (bug.stack ?? bug.message) : String(bug);
  process.stderr.write(`scrubjay: a request failed by a fault of ours: ${printable(trace, 4_000)}\n`);
}

function faceOf(engine: Engine): DaemonFace {
  return {
    status: () => statusJson(engine),
    cards: () => cardsJson(engine),
    drives: () => drivesJson(engine),
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
  const unread = cardVerdict(engine, id)?.states.filter(isNews).length ?? 0;
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
