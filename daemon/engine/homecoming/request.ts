/** What a person asks of a homecoming: which trip and archives are meant, how it stands, and its receipt on disk. */

import { rfc3339 } from "../../../shared/format.ts";
import type { HomeStateJson, ReceiptJson } from "../../../shared/homeApi.ts";
import { type AbsolutePath, nameKey, relativePath, under } from "../../../shared/identity.ts";
import { FileFault, UserMistake } from "../../../shared/problems.ts";
import { printable } from "../../../shared/text.ts";
import { suffixed } from "../../core/filing.ts";
import { receiptHtml } from "../../core/receiptHtml.ts";
import { incomingFolder, unfinishedFile } from "../../record/driveLayout.ts";
import { currentTrip } from "../currentTrip.ts";
import type { KnownTrip } from "../dating.ts";
import type { Engine } from "../engine.ts";
import { type Archive, openArchive } from "./archive.ts";
import { receiptOf } from "./receipt.ts";
import { Run, Target } from "./run.ts";

export interface HomeRequest {
  /** Id, code or name; undefined: the one the board shows. */
  readonly trip: string | undefined;
  readonly to: string | undefined;
  readonly rehearsal: boolean;
  readonly history: boolean;
}

/** @throws UserMistake where no trip, or more than one, is called so */
function tripOf(engine: Engine, name: string | undefined): KnownTrip | undefined {
  if (name === undefined) return currentTrip(engine);
  const key = nameKey(name.trim());
  const found = engine.tripBook.trips.filter(({ id, profile }) =>
    [id, profile.code, profile.trip].some((each) => nameKey(each) === key),
  );
  const exact = found.find(({ id }) => id === name);
  const [only, ...others] = exact === undefined ? found : [exact];
  if (only !== undefined && others.length === 0) return only;
  const shown = printable(name, 60);
  throw new UserMistake(
    only === undefined ? `No trip is known as ${shown}.` : `${shown} fits several trips.`,
    "`scrubjay trip list` shows their ids.",
  );
}

export function homeState(engine: Engine, name: string | undefined): HomeStateJson {
  const { run } = engine.homecoming;
  const trip = name === undefined && run !== undefined ? run.trip : tripOf(engine, name);
  if (trip === undefined) return { trip: null, archive: null, running: run !== undefined, receipt: null };
  const { archive, trip: called, zone } = trip.profile;
  const kept = engine.ports.ledger.archives.receipt(trip.id);
  const receipt =
    engine.homecoming.receiptOf(trip.id) ?? (kept === undefined ? null : (JSON.parse(kept) as ReceiptJson));
  return {
    trip: { id: trip.id, name: printable(called), zone },
    archive:
      archive === undefined
        ? null
        : {
            folder: printable(archive.folder, 1_000),
            tree: printable(archive.tree, 1_000),
            also: archive.also.map((folder) => printable(folder, 1_000)),
          },
    running: run !== undefined,
    receipt,
  };
}

/**
 * Begins a homecoming.
 * @param own this program's own folders, where no archive may be
 * @throws UserMistake when one is under way, no archive is named, none can be used, or no drive is in
 */
export async function beginHomecoming(
  engine: Engine,
  request: HomeRequest,
  own: readonly AbsolutePath[],
): Promise<HomeStateJson> {
  const { homecoming, tripBook, presence, bay } = engine;
  refuseSecond(engine);
  const trip = tripOf(engine, request.trip);
  if (trip === undefined)
    throw new UserMistake("No trip is described.", "Describe it first: `scrubjay trip add FILE`.", 78);
  const name = printable(trip.profile.trip);
  const { archive } = trip.profile;
  const folders =
    request.to === undefined
      ? archive === undefined
        ? []
        : [archive.folder, ...archive.also]
      : [request.to];
  if (folders.length === 0)
    throw new UserMistake(
      `The profile of ${name} names no archive. Nothing was written.`,
      "Add `archive: { folder: /archive }` to it, or name a folder with --to.",
      78,
    );
  await presence.look();
  const takesPart = presence.drives.some(({ name: drive }) => tripBook.tripsOf(drive).includes(trip));
  const holds = presence.drives.some(({ id }) => engine.ports.ledger.tripsHeld(id).includes(trip.id));
  if (!takesPart && !holds)
    throw new UserMistake(
      `No drive of ${name} is plugged in. Nothing was written.`,
      "Plug in as many of them as there are, then ask again.",
      1,
    );
  refuseNothing(engine, trip, name);
  const volumes = [
    ...presence.drives.map(({ volume }) => volume.root),
    ...presence.cards.map(({ volume }) => volume.root),
    ...presence.strangers.map(({ mount }) => mount),
  ];
  const forbidden = [...volumes, ...own];
  const targets: Target[] = [];
  let refusal: UserMistake | undefined;
  for (const folder of folders) {
    try {
      const opened = await openArchive(engine.ports, folder, {
        trip,
        profileText: tripBook.textOf(trip.id),
        rehearsal: request.rehearsal,
        forbidden,
        volumes,
        tell: (facts) => bay.tell(facts),
      });
      refuseSame(opened, targets);
      targets.push(new Target(folder, opened, ""));
    } catch (mistake) {
      if (!(mistake instanceof UserMistake)) throw mistake;
      refusal ??= mistake;
      targets.push(new Target(folder, undefined, `${mistake.message} ${mistake.next}`));
    }
  }
  if (refusal !== undefined && targets.every(({ archive: opened }) => opened === undefined)) throw refusal;
  // Another request may have come first meanwhile.
  refuseSecond(engine);
  const { rehearsal } = request;
  // The other side of a conflict stands in the drives' histories only.
  const history = request.history || engine.ports.ledger.edits.conflicts(trip.id).length > 0;
  homecoming.begin(new Run({ trip, rehearsal, history, begun: engine.now(), targets }));
  return homeState(engine, trip.id);
}

/** A trip of which nothing is known would be home at once. */
function refuseNothing({ ports: { ledger } }: Engine, trip: KnownTrip, name: string): void {
  if (ledger.archives.expected(trip.id).length > 0) return;
  if (ledger.cards().some((card) => (card.trip ?? card.assigned) === trip.id)) return;
  throw new UserMistake(
    `Nothing of ${name} was copied yet, as far as this computer knows. Nothing was written.`,
    "Put its cards in first; if it was copied by another computer, `scrubjay rebuild MOUNT...` reads what its drives know.",
    1,
  );
}

function refuseSecond({ homecoming: { run } }: Engine): void {
  if (run === undefined) return;
  throw new UserMistake(
    `${printable(run.trip.profile.trip)} is being brought home already. Nothing was interrupted.`,
    "`scrubjay status` shows how far it is; wait until it has ended.",
    1,
  );
}

/** One archive named twice would be counted as two copies. */
function refuseSame(opened: Archive, targets: readonly Target[]): void {
  for (const { archive, folder } of targets) {
    if (archive === undefined) continue;
    const nested =
      `${opened.folder}/`.startsWith(`${archive.folder}/`) ||
      `${archive.folder}/`.startsWith(`${opened.folder}/`);
    if (!nested && (opened.id === "" || opened.id !== archive.id)) continue;
    throw new UserMistake(
      `${printable(opened.folder, 1_000)} and ${printable(folder, 1_000)} are one archive, or one is inside the other.`,
      "A second copy is worth something in another place only: name a folder on another disk.",
      78,
    );
  }
}

/** The receipt of a run that ended: kept here, and as a file beside each archive's folder of the trip. */
export async function concludeRun(
  engine: Engine,
  run: Run,
  drives: ReceiptJson["drives"],
): Promise<ReceiptJson> {
  const around = {
    ports: engine.ports,
    presence: engine.presence,
    nameOfCard: engine.nameOfCard.bind(engine),
  };
  const receipt = receiptOf(around, run, drives);
  if (run.rehearsal) return receipt;
  const written = receiptHtml(receipt);
  for (const target of run.targets) {
    if (target.archive === undefined || !target.takesPart) continue;
    try {
      target.receipt = await putBeside(engine, target.archive, receipt, written);
    } catch (fault) {
      // What was merged stands all the same; the receipt is kept here.
      if (!(fault instanceof FileFault)) throw fault;
    }
  }
  const told = receiptOf(around, run, drives);
  engine.ports.ledger.archives.keepReceipt(run.trip.id, engine.now(), JSON.stringify(told));
  return told;
}

/** @returns where it stands. @throws FileFault */
async function putBeside(
  { ports }: Engine,
  archive: Archive,
  { trip, ended }: ReceiptJson,
  html: string,
): Promise<string> {
  const { files, randomness, clock } = ports;
  const temp = under(archive.folder, unfinishedFile(randomness.hex(12)));
  await files.makeFolder(archive.at, incomingFolder);
  const handle = await files.createToWrite(temp);
  try {
    await handle.write(new TextEncoder().encode(html), 0);
    await handle.finish(clock.now());
  } finally {
    await handle.close();
  }
  const moment = rfc3339(clock.now(), trip.zone);
  const stamp = `${moment.slice(0, 10)} ${(ended.slice(0, 10) === moment.slice(0, 10) ? ended : moment).slice(11, 16).replace(":", "")}`;
  const wanted = relativePath(`${archive.tree} receipt ${stamp}.html`);
  for (let nth = 1; ; nth += 1) {
    const path = nth === 1 ? wanted : suffixed(wanted, nth);
    if ((await files.moveNoReplace(temp, under(archive.folder, path))) === "taken") continue;
    const cut = path.lastIndexOf("/");
    await files.flushFolder(under(archive.folder, cut < 0 ? "" : path.slice(0, cut)));
    return `${archive.folder}/${path}`;
  }
}
