/**
 * Putting an earlier version of a work file in place again: as a new version that follows the newest, so that nothing is
 * lost and the other drives get it like any other. What stands there goes to the history.
 */

import type { RestoredJson } from "../../../shared/editsApi.ts";
import { nameKey, type RelativePath } from "../../../shared/identity.ts";
import { FileFault, UserMistake } from "../../../shared/problems.ts";
import { printable } from "../../../shared/text.ts";
import { headsOf } from "../../core/edits/versions.ts";
import { encodeFact } from "../../record/journal.ts";
import type { BlockPool } from "../bounds.ts";
import type { KnownTrip } from "../dating.ts";
import type { Engine } from "../engine.ts";
import type { Publisher } from "../publisher.ts";
import { type Carried, carry, dropCarried } from "./carry.ts";
import { lookAt, sameLook, swapUnit } from "./swap.ts";
import { contentsOf, knownFile, momentOf, placesOf, sayKnown } from "./view.ts";

export interface Pools {
  readonly streamPool: BlockPool;
  readonly verifyPool: BlockPool;
}

/**
 * To be called while nothing else is written.
 * @param at the version's moment, as it was told
 * @throws UserMistake; then everything is as it was
 */
export async function restoreEdit(
  engine: Engine,
  pools: Pools,
  id: string | undefined,
  path: string,
  at: string,
): Promise<RestoredJson> {
  const { trip, head, versions } = knownFile(engine, id, path);
  const { zone } = trip.profile;
  const moment = Date.parse(at);
  const version = contentsOf(versions).find((each) => momentOf(each.at, zone) === at || each.at === moment);
  const shown = printable(head.path, 200);
  if (version === undefined || version.hash === "")
    throw new UserMistake(
      `No version of ${shown} is of ${printable(at, 60)}.`,
      "`scrubjay edits list PATH` shows its versions.",
    );
  const publisher = whereTo(engine, trip);
  const { drive } = publisher;
  const place = publisher.inside(trip.id, head.path);
  if (version.hash === head.hash)
    throw new UserMistake(`This version of ${shown} stands in place already.`, "Nothing is to be done.");
  const { edits } = engine.ports.ledger;
  const look = edits.looks(drive.id, trip.id).get(nameKey(head.path));
  try {
    const before = await lookAt(engine.ports, drive, place);
    if (before === undefined && look !== undefined && head.path.includes("-changed"))
      throw new UserMistake(
        `${shown} stands under its original's own name on ${printable(drive.name)}, where a program wrote into it. Nothing was changed.`,
        `Take the version from the history by hand: it is below .scrubjay/trips/${trip.id}/earlier on the drives.`,
        1,
      );
    if (!sameLook(before, look)) throw changed(shown, drive.name);
    for (const beside of ["-journal", "-wal", "-shm", ".lock"])
      if ((await lookAt(engine.ports, drive, `${place}${beside}` as RelativePath)) !== undefined)
        throw new UserMistake(
          `${shown} is open in a program on ${printable(drive.name)}. Nothing was changed.`,
          "Close it there, then try again.",
          1,
        );
    const carried = await fetch(engine, pools, trip, version, publisher);
    const now = engine.now();
    const change = { work: head.path, path: place, before, temp: carried.temp, after: carried.look };
    if ((await swapUnit(engine.ports, drive, trip.id, [change], now)) === "theirs") {
      await dropCarried(engine.ports.files, drive, carried.temp);
      throw changed(shown, drive.name);
    }
    const after = headsOf(versions).map((each) => each.id);
    const { size, modified } = carried.look;
    const { hash } = version;
    const fact = {
      kind: "edit",
      trip: trip.id,
      at: now,
      path: head.path,
      hash,
      size,
      modified,
      drive: drive.id,
      after,
    } as const;
    const edit = encodeFact(fact, engine.ports.hashing);
    const holds = encodeFact(
      {
        kind: "edit-copy",
        trip: trip.id,
        at: now,
        edit: edit.id,
        drive: drive.id,
        readBack: carried.readBack,
      },
      engine.ports.hashing,
    );
    engine.ports.ledger.apply([edit, holds]);
    engine.bay.tell([edit, holds]);
    edits.setLooks(
      drive.id,
      trip.id,
      new Map([[nameKey(head.path), { path: head.path, size, modified, hash }]]),
    );
    engine.ports.ledger.note("edits", drive.id, `${shown} is again as of ${at}`, now);
    // Whoever puts one side of a conflict in place knows of it.
    for (const conflict of edits.conflicts(trip.id))
      if (nameKey(conflict.path) === nameKey(head.path)) sayKnown(engine, conflict.id);
    for (const each of engine.presence.drives) engine.edits.lookAgain(each.id);
    return { path: printable(head.path, 1_000), drive: printable(drive.name), at: momentOf(now, zone) };
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    throw new UserMistake(
      `${printable(drive.name)} couldn't be read or written. What stood there stands there, or goes back when the drive comes again.`,
      "Take the drive out, put it in again, and try once more.",
      74,
    );
  }
}

/** The primary, where one works, or else any drive of the trip. */
function whereTo(engine: Engine, trip: KnownTrip): Publisher {
  const here = [...engine.bay.targets.values()]
    .map(({ publisher }) => publisher)
    .filter(
      (each) => engine.bay.isUsable(each.drive.id) && each.hasRecord(trip.id) && !each.drive.traits.readOnly,
    );
  const rank = ({ drive }: Publisher): number =>
    trip.profile.drives.findIndex(({ name }) => nameKey(name) === nameKey(drive.name));
  const [first] = here.filter((each) => rank(each) >= 0).sort((a, b) => rank(a) - rank(b));
  if (first !== undefined) return first;
  throw new UserMistake(
    "No drive of the trip is plugged in. Nothing was changed.",
    "Plug one in, then try again.",
    1,
  );
}

/** The version's bytes, proved, unfinished on the drive it goes to. */
async function fetch(
  engine: Engine,
  pools: Pools,
  trip: KnownTrip,
  version: Parameters<typeof placesOf>[2],
  { drive: target }: Publisher,
): Promise<Carried> {
  const { hash, path } = version;
  if (hash !== "")
    for (const place of await placesOf(engine, trip, version)) {
      const look = await lookAt(engine.ports, place.drive, place.path);
      if (look === undefined) continue;
      const around = { ports: engine.ports, ...pools, onBytes: () => undefined, onDriveFault };
      const carried = await carry(around, place.drive, place.path, look, hash, [target], engine.now()).catch(
        notThisOne,
      );
      const one = carried?.get(target.id);
      if (one !== undefined) return one;
    }
  throw new UserMistake(
    `This version of ${printable(path, 200)} is on no drive that is plugged in. Nothing was changed.`,
    "Plug in the trip's other drives, then try again.",
    1,
  );
}

/** It only looks like the version, or can't be read there: another drive may have it. */
function notThisOne(fault: unknown): undefined {
  if (fault instanceof FileFault && (fault.code === "differs" || fault.code === "io")) return undefined;
  throw fault;
}

async function onDriveFault(_drive: unknown, _path: unknown, fault: unknown): Promise<void> {
  throw fault;
}

function changed(shown: string, drive: string): UserMistake {
  return new UserMistake(
    `${shown} on ${printable(drive)} was changed just now and isn't written down yet. Nothing was changed.`,
    "Try again in a few seconds.",
    1,
  );
}
