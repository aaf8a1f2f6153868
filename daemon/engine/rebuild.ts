/**
 * One drive left: everything that the records on drives know is learnt, the trips' profiles too. Facts are taken in in
 * any order and from as many drives as are named; what contradicts is counted and left out. Nothing is forgotten here,
 * so that it doesn't matter what this computer knew before.
 *
 * A drive of another photographer is refused before anything is learnt from any.
 */

import type { NowhereJson, RebuildJson } from "../../shared/api.ts";
import { type AbsolutePath, absolutePath, nameKey, type TripId, under } from "../../shared/identity.ts";
import { FileFault, UserMistake } from "../../shared/problems.ts";
import { asArgument, inSentence, printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { readProfile } from "../core/profile.ts";
import { safePart } from "../core/safeName.ts";
import type { EncodedFact, NowhereRow } from "../ports/ledger.ts";
import type { Volume } from "../ports/volumes.ts";
import type { DriveIdentity } from "../record/driveIdentity.ts";
import { journalFile, profileFile, tripsFolder } from "../record/driveLayout.ts";
import { encodeFact, readJournal } from "../record/journal.ts";
import type { Engine } from "./engine.ts";
import { wordsFor } from "./faultWords.ts";
import { mountedAt } from "./introduce.ts";
import { learnFacts } from "./learn.ts";
import type { EnginePorts } from "./ports.ts";

interface NamedDrive {
  readonly mount: AbsolutePath;
  readonly volume: Volume;
  readonly identity: DriveIdentity;
}

/** What one drive's records say. */
interface Told {
  readonly facts: readonly EncodedFact[];
  readonly torn: number;
  /** Facts that stand in the record of another trip. */
  readonly misplaced: number;
}

/**
 * @param owner the drives of this owner are this photographer's as well
 * @throws UserMistake when a mount isn't a drive of this photographer's, or can't be read; then nothing was learnt
 */
export async function rebuildFrom(
  engine: Engine,
  mounts: readonly string[],
  owner: string | undefined,
): Promise<RebuildJson> {
  const { ports, presence, tripBook, bay } = engine;
  const { ledger, clock } = ports;
  const named: NamedDrive[] = [];
  for (const mount of mounts) named.push(await nameDrive(engine, mount));
  const ours = checkOwners(ports, named, owner);
  const told: Told[] = [];
  for (const drive of named) told.push(await readRecords(ports, drive));

  // Before the records speak of them: what they tell is about these very drives.
  addDrives(ports, named);
  const contradicting = learnFacts(
    ports,
    told.flatMap(({ facts }) => facts),
  );
  if (ledger.owner() === undefined) ledger.setOwner(ours ?? ports.randomness.hex(16));
  engine.desk.listAnew();
  await keepProfiles(ports, told);
  const mountsNamed = named.map(({ mount }) => printable(mount)).join(", ");
  ledger.note("rebuild", "", `learnt from ${mountsNamed}`, clock.now());

  // What the drives hold is looked at before anything is said of it.
  for (const { volume } of named) presence.reconsider(volume.id);
  const { facts } = await tripBook.read();
  bay.tell(facts);
  await presence.look();
  await bay.attendAll();
  return {
    ...report(engine, named),
    torn: told.reduce((sum, each) => sum + each.torn, 0),
    disagreeing: contradicting + told.reduce((sum, each) => sum + each.misplaced, 0),
  };
}

/** Originals that no drive holds, as they are told to people. */
export function nowhereJson(engine: Engine, rows: readonly NowhereRow[]): readonly NowhereJson[] {
  const names = new Map(engine.tripBook.trips.map((trip) => [trip.id, trip.profile.trip]));
  return rows.slice(0, engine.ports.limits.namedMost).map(({ trip, path, day, size, card }) => ({
    trip: printable(names.get(trip) ?? trip),
    path: printable(path, 1_000),
    day,
    card: card === undefined ? "" : inSentence(engine.nameOfCard(card)),
    bytes: size,
  }));
}

async function nameDrive({ ports, presence }: Engine, mount: string): Promise<NamedDrive> {
  const shown = printable(mount);
  const root = await mountedAt(ports, absolutePath(mount));
  const found = root === undefined ? undefined : await presence.classify(root);
  if (root === undefined || found === undefined)
    throw new UserMistake(
      `No volume is mounted at ${shown}. Nothing was learnt.`,
      "Plug the drive in and name the folder where it is mounted.",
    );
  const { volume, kind } = found;
  if (kind.kind === "card" || kind.kind === "both")
    throw new UserMistake(
      `${shown} is a camera's card. Nothing was learnt, and nothing was written to it.`,
      "Name the drives only. Cards are known again when they are put in.",
    );
  if (kind.kind === "neither")
    throw new UserMistake(
      `${shown} carries no record of Scrubjay. Nothing was learnt.`,
      "Name a drive that took part in a trip. A new one is introduced with `scrubjay drive add`.",
    );
  const { identity } = kind;
  const name = printable(identity.name);
  if (identity.fsId !== "" && volume.fsId !== "" && identity.fsId !== volume.fsId)
    throw new UserMistake(
      `${shown} says it is ${name}, which is another medium. Nothing was learnt.`,
      "It looks like a copy of that drive's folders. Name the drive itself.",
    );
  const namesake = ports.ledger.drives().find((drive) => nameKey(drive.name) === nameKey(identity.name));
  if (namesake !== undefined && namesake.id !== identity.id && namesake.fsId !== "")
    throw new UserMistake(
      `Another drive is called ${name} here already. Nothing was learnt.`,
      `Two drives of one name can't be told apart. If the other one is gone for good, \`scrubjay drive lost ${asArgument(identity.name)}\` says so; then ask again.`,
    );
  if (ports.ledger.lostDrives().some((drive) => drive.id === identity.id))
    throw new UserMistake(
      `${shown} is ${name}, which was declared lost here. Nothing was learnt.`,
      `To use it again, run \`scrubjay drive add ${asArgument(mount)} --name ${asArgument(identity.name)}\`.`,
    );
  return { mount: root, volume, identity };
}

/** What a person says of a drive that was introduced before drives had owners. */
const noOwner = "none";

/**
 * One photographer's drives have one owner.
 * @returns that owner; undefined where no drive says
 */
function checkOwners(
  { ledger }: EnginePorts,
  named: readonly NamedDrive[],
  said: string | undefined,
): string | undefined {
  const owners = named.flatMap(({ identity }) => identity.owner ?? []);
  const known = new Set(ledger.drives().map((drive) => drive.id));
  const ours =
    ledger.owner() ?? owners.find((owner) => owner !== said) ?? (said === noOwner ? undefined : said);
  const foreign = named.find(({ identity: { id, owner } }) => {
    const isSaid = said !== undefined && (owner ?? noOwner) === said;
    return !known.has(id) && owner !== ours && !isSaid;
  });
  if (foreign === undefined) return ours;
  const { mount, identity } = foreign;
  throw new UserMistake(
    `${printable(mount)} is the drive ${printable(identity.name)} of another photographer's Scrubjay. Nothing was learnt from any drive, and nothing was written to it.`,
    `Leave it alone if it isn't yours. If it is, from another computer of yours, say so: \`--owner ${identity.owner ?? noOwner}\`.`,
  );
}

async function readRecords(ports: EnginePorts, { mount, identity }: NamedDrive): Promise<Told> {
  const facts: EncodedFact[] = [];
  let torn = 0;
  let misplaced = 0;
  try {
    for (const trip of await tripsOn(ports, mount)) {
      const journal = await contentOf(ports, under(mount, journalFile(trip)), ports.limits.journalBytesMax);
      const read = readJournal(journal, ports.hashing);
      const own = read.facts.filter(({ fact }) => fact.trip === trip);
      torn += read.spoilt;
      misplaced += read.facts.length - own.length;
      for (const fact of own) facts.push(fact);
      for (const fact of await profileFact(ports, mount, trip, own)) facts.push(fact);
    }
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    throw new UserMistake(
      `The record on ${printable(identity.name)} can't be read: ${wordsFor(fault.code)}. Nothing was learnt.`,
      "Try another cable or socket, or name the other drives only: each of them knows all.",
      74,
    );
  }
  return { facts, torn, misplaced };
}

async function tripsOn({ files }: EnginePorts, mount: AbsolutePath): Promise<readonly TripId[]> {
  try {
    const entries = await files.list(under(mount, tripsFolder));
    const names = entries.filter((entry) => entry.kind === "folder").map((entry) => entry.name);
    return names.filter((name) => /^[a-z0-9-]{1,100}$/.test(name)) as TripId[];
  } catch (fault) {
    if (fault instanceof FileFault && fault.code === "missing") return [];
    throw fault;
  }
}

/** A journal that lost its trip's own line has the profile beside it. */
async function profileFact(
  ports: EnginePorts,
  mount: AbsolutePath,
  trip: TripId,
  facts: readonly EncodedFact[],
): Promise<readonly EncodedFact[]> {
  if (facts.some(({ fact }) => fact.kind === "trip")) return [];
  const content = await contentOf(ports, under(mount, profileFile(trip)), ports.limits.ownFileBytesMax);
  const text = new TextDecoder("utf-8").decode(content);
  const { profile } = readProfile(text);
  if (profile === undefined) return [];
  const folder = safePart(profile.trip);
  return [encodeFact({ kind: "trip", trip, at: ports.clock.now(), folder, profile: text }, ports.hashing)];
}

async function contentOf({ files }: EnginePorts, path: AbsolutePath, most: number): Promise<Uint8Array> {
  try {
    return await files.readSmall(path, bytes(most));
  } catch (fault) {
    if (fault instanceof FileFault && fault.code === "missing") return new Uint8Array();
    throw fault;
  }
}

/** The drives that were named; one that the records say was lost stays lost. */
function addDrives({ ledger, clock }: EnginePorts, named: readonly NamedDrive[]): void {
  const lost = new Set(ledger.lostDrives().map((drive) => drive.id));
  for (const { identity } of named) {
    if (lost.has(identity.id)) continue;
    ledger.addDrive({ id: identity.id, name: identity.name, fsId: identity.fsId, lastSeen: clock.now() });
  }
}

/** A trip that this computer has a file of keeps that. */
async function keepProfiles({ ledger, tripFiles }: EnginePorts, told: readonly Told[]): Promise<void> {
  const learnt = new Set(told.flatMap(({ facts }) => facts.map(({ fact }) => fact.trip)));
  const here = new Set((await tripFiles.list()).map((file) => file.id));
  for (const { id, profile } of ledger.trips())
    if (learnt.has(id) && !here.has(id)) await tripFiles.keep(id, profile);
}

function report(engine: Engine, named: readonly NamedDrive[]): Omit<RebuildJson, "torn" | "disagreeing"> {
  const { ledger } = engine.ports;
  const ids = named.map(({ identity }) => identity.id);
  const present = engine.presence.drives.map((drive) => drive.id);
  const names = new Map(ledger.drives().map((drive) => [drive.id, drive.name]));
  const nowhere = ledger.nowhere();
  return {
    drives: named.map(({ mount, identity }) => ({
      name: printable(identity.name),
      mount: printable(mount),
      files: ledger.trips().reduce((sum, trip) => sum + ledger.share(trip.id, identity.id).holdsFiles, 0),
    })),
    trips: engine.tripBook.trips.map(({ id, profile }) => {
      const { frames, files } = ledger.totals(id, profile.goal.copies);
      return { id, name: printable(profile.trip), frames, files };
    }),
    elsewhere: [...ledger.heldOnlyBeside([...ids, ...present])].map(([drive, files]) => ({
      drive: printable(names.get(drive) ?? drive),
      files,
    })),
    nowhere: nowhereJson(engine, nowhere),
    nowhereTotal: nowhere.length,
  };
}
