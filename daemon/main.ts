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
import { UserMistake } from "../shared/problems.ts";
import { printable } from "../shared/text.ts";
import { bytes } from "../shared/units.ts";
import { readPageFiles } from "./api/pageFiles.ts";
import { createApi } from "./api/server.ts";
import { Engine } from "./engine/engine.ts";
import { boardFace } from "./faces/boardFace.ts";
import { editsFace } from "./faces/editsFace.ts";
import { framesFace } from "./faces/framesFace.ts";
import { homeFace } from "./faces/homeFace.ts";
import { tripsFace } from "./faces/tripsFace.ts";
import { type HomeFolders, homeFolders } from "./home/homeFolders.ts";
import { FolderPictureCache } from "./home/pictureCache.ts";
import { removeRunFile, writeRunFile } from "./home/runFile.ts";
import { keepTripFile, listTripFiles } from "./home/tripFiles.ts";
import { holdLock } from "./ledger/oneOnly.ts";
import { SqliteLedger } from "./ledger/sqliteLedger.ts";
import { openInBrowser, selectPlatform } from "./platform/select.ts";

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
  let openPage = (_matter: string): void => undefined;
  const onChosen = (matter: string) => openPage(matter);
  const platform = await selectPlatform({ practice, cache: home.cache, onChosen });
  const engine = new Engine({
    ...platform,
    ledger,
    pictureCache: await FolderPictureCache.open(home.cache, bytes(limits.pictureCacheBytes)),
    limits,
    tripFiles: {
      list: () => listTripFiles(home.config),
      keep: (id, text) => keepTripFile(home.config, id, text),
    },
  });
  const face = {
    ...boardFace(engine),
    trips: tripsFace(engine, home),
    frames: framesFace(engine),
    edits: editsFace(engine),
    home: homeFace(engine, [home.config, home.state, home.run, home.cache]),
  };
  const token = randomBytes(32).toString("hex");
  const api = createApi(face, token, readPageFiles(pageFolder), logBug);
  const { port } = await api.listen();
  openPage = (matter) => void openInBrowser(api.link(matter));
  await writeRunFile(home.run, { port, token, pid: process.pid });
  const where = practice === undefined ? "cards and drives" : `the folders in ${printable(practice)}`;
  process.stderr.write(`scrubjay: watching ${where}; SIGTERM or Ctrl-C stops it\n`);
  try {
    return await workUntil(stopped, engine);
  } finally {
    await api.close();
    await engine.stop();
    await Promise.all([platform.metadata.close(), platform.pictures.close(), platform.sidecars.close()]);
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
