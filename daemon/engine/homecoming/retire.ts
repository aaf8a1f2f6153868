/**
 * Freeing a drive of its trips: only when all of each is home, and nothing on the drive was touched since that was found.
 * From then on nothing of those trips counts there and nothing more of them is copied there. Nothing is erased.
 */

import type { DriveRetiredJson } from "../../../shared/homeApi.ts";
import {
  type AbsolutePath,
  absolutePath,
  nameKey,
  type RelativePath,
  type TripId,
  under,
} from "../../../shared/identity.ts";
import { FileFault, UserMistake } from "../../../shared/problems.ts";
import { asArgument, printable } from "../../../shared/text.ts";
import { archiveFile } from "../../record/driveLayout.ts";
import { encodeFact } from "../../record/journal.ts";
import type { Engine } from "../engine.ts";
import { isUntouched } from "./reuse.ts";

/** @throws UserMistake with the reason why it must be kept */
export async function retireDrive(engine: Engine, name: string): Promise<DriveRetiredJson> {
  const { ledger, clock, hashing } = engine.ports;
  const key = nameKey(name.trim());
  const drive = ledger.drives().find((each) => nameKey(each.name) === key);
  if (drive === undefined)
    throw new UserMistake(
      `No drive is known as ${printable(name, 60)}.`,
      "`scrubjay drive list` shows the known drives.",
    );
  const shown = printable(drive.name);
  const trips = ledger.tripsHeld(drive.id);
  if (trips.length === 0)
    throw new UserMistake(
      `${shown} holds nothing of any trip. Nothing was changed.`,
      "It needs no retiring: it can take part in the next trip as it is.",
    );
  const nameOf = (trip: TripId): string => printable(engine.tripBook.find(trip)?.profile.trip ?? trip);
  for (const trip of trips) await refuseUnlessHome(engine, drive, trip, nameOf(trip));
  const at = clock.now();
  const facts = trips.map((trip) =>
    encodeFact({ kind: "drive-retired", trip, at, drive: drive.id }, hashing),
  );
  ledger.apply(facts);
  ledger.clearFaults(drive.id);
  engine.bay.tell(facts);
  await engine.bay.flushRecords();
  ledger.note("drive", drive.id, `${shown} was freed of ${trips.map(nameOf).join(", ")}`, at);
  engine.refresh();
  return { name: shown, trips: trips.map(nameOf) };
}

/**
 * One archive at least that is known here must be seen where it stood: what went since its homecoming can't be had back
 * from here. A second one may be away, in the other place it is kept in.
 */
async function refuseWithoutArchive({ ports }: Engine, trip: TripId, kept: string): Promise<void> {
  const { archives } = ports.ledger;
  const places = (archives.home(trip)?.archives ?? []).flatMap((id) => {
    const folder = archives.placeOf(id)?.folder;
    return folder === undefined ? [] : [{ folder: absolutePath(folder), tree: archives.tree(id, trip) }];
  });
  const stands = await Promise.all(
    places.map(({ folder, tree }) => isThere(ports, folder, tree === undefined ? [] : [tree])),
  );
  const [first] = places;
  if (first === undefined || stands.includes(true)) return;
  throw new UserMistake(
    `${kept}: the archive ${printable(first.folder, 1_000)} isn't there now. Nothing was changed.`,
    "Connect or mount it, so that it can be seen, then ask again.",
    1,
  );
}

async function isThere(
  { files }: Engine["ports"],
  folder: AbsolutePath,
  inside: readonly RelativePath[],
): Promise<boolean> {
  try {
    for (const each of [archiveFile, ...inside]) await files.facts(under(folder, each));
    return true;
  } catch (fault) {
    if (fault instanceof FileFault) return false;
    throw fault;
  }
}

async function refuseUnlessHome(
  engine: Engine,
  drive: { readonly id: Parameters<Engine["bay"]["isUsable"]>[0]; readonly name: string },
  trip: TripId,
  tripName: string,
): Promise<void> {
  const { ledger } = engine.ports;
  const shown = printable(drive.name);
  const bring = `Plug in ${shown} and run \`scrubjay homecoming ${asArgument(tripName)}\`.`;
  const kept = `${shown} must be kept`;
  if (!ledger.archives.isHome(trip))
    throw new UserMistake(
      `${kept}: ${tripName} isn't home. Nothing was changed.`,
      `Plug in all of its drives and run \`scrubjay homecoming ${asArgument(tripName)}\`; the receipt says what is missing.`,
      1,
    );
  if (ledger.archives.reusable(trip, drive.id) === undefined)
    throw new UserMistake(
      `${kept}: the latest homecoming of ${tripName} didn't see it, or not all of what it holds in the archive. Nothing was changed.`,
      `${bring} The receipt says why.`,
      1,
    );
  await refuseWithoutArchive(engine, trip, kept);
  const publisher = engine.bay.targets.get(drive.id)?.publisher;
  if (publisher === undefined || !engine.bay.isUsable(drive.id) || !publisher.hasRecord(trip))
    throw new UserMistake(
      `${shown} isn't plugged in. Nothing was changed.`,
      "Plug it in first: what was edited there since the homecoming isn't known.",
      1,
    );
  let untouched = false;
  const looked = await engine.bay.guarded(publisher, async () => {
    const known = engine.tripBook.find(trip);
    untouched = known !== undefined && (await isUntouched(engine.ports, publisher, known));
  });
  if (looked && untouched) return;
  throw new UserMistake(
    `${kept}: something of ${tripName} was changed there since it came home. Nothing was changed by this.`,
    bring,
    1,
  );
}
