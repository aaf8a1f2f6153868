/**
 * `scrubjay drive replace OLD NEW`: another drive takes role and place of one that is lost, in every trip that names it.
 * Trips are files of this computer, so they are changed here; that OLD is lost, the daemon is told.
 *
 * Invariant: whatever refuses it refuses before anything is changed; should the daemon refuse the loss after all, what
 * is left to do is said.
 */

import type { DriveLostJson, DriveStatusJson } from "../../shared/api.ts";
import { type AbsolutePath, nameKey } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { asArgument, printable } from "../../shared/text.ts";
import type { TripProfile } from "../../shared/trip.ts";
import { type DaemonClient, daemonClient } from "../api/client.ts";
import { readProfile } from "../core/profile.ts";
import { renameDrive } from "../core/profileDriveName.ts";
import { list } from "../core/verdict.ts";
import { listTripFiles, rewriteTripFile, type TripFile } from "../home/tripFiles.ts";
import type { Call, Command } from "./command.ts";
import { exitOfLoss } from "./driveLost.ts";
import { renderDriveLost, type Successor } from "./renderDriveLost.ts";
import { renderFaults } from "./renderTrips.ts";
import { paragraph } from "./table.ts";
import { columnsOf, outJson, writesUnicode } from "./terminal.ts";

export const driveReplace: Command = {
  name: "drive replace",
  operands: ["OLD", "NEW"],
  options: {},
  does: "puts a known drive in the place of a lost one, in every trip that names it",
  more: "Introduce NEW first, with `scrubjay drive add MOUNT --name NEW`. It gets OLD's role and place; in the trips' profiles the name changes and nothing else. OLD is declared lost, which can't be undone.\nExit status: 0 nothing is short of copies, 1 files are short now, 64 refused (a name that isn't known, OLD is plugged in), 65 files are on no drive any more, 78 a profile can't be changed.",
  run,
};

/** A trip file and what it will say. */
interface ChangedTrip {
  readonly trip: TripFile;
  readonly name: string;
  readonly text: string;
}

async function run(call: Call): Promise<number> {
  const [oldWord = "", newWord = ""] = call.operands;
  if (nameKey(oldWord) === nameKey(newWord)) throw sameName(oldWord);
  const client = daemonClient(call.home.run);
  const drives = await client.drives();
  const trips = await listTripFiles(call.home.config);
  for (const trip of trips.filter(({ profile }) => profile === undefined))
    call.terminal.err(renderFaults(trip.file, trip.faults));
  refuseWrongOrder(drives, trips, oldWord, newWord);
  const successor = knownDrive(drives, newWord);
  const old = driveCalled(drives, oldWord);
  if (old?.present === true) throw isIn(old.name);
  const changed = trips.flatMap((trip) => changedTrip(trip, oldWord, successor.name));
  if (changed.length === 0) throw old?.lost === true ? nothingToDo(old.name) : inNoTrip(oldWord);

  for (const { trip, text } of changed) await rewriteTripFile(call.home.config, trip.id, text);
  const lost = await loseOld(client, old, successor.name, changed);
  const owes = lost === undefined ? await owedBy(client, successor.name) : 0;
  say(call, { old: old?.name ?? oldWord, successor, changed, trips, lost, owes });
  return exitOfLoss(lost ?? { short: owes, nowhereTotal: 0 });
}

interface Replaced {
  readonly old: string;
  readonly successor: Successor;
  readonly changed: readonly ChangedTrip[];
  /** All that are described. */
  readonly trips: readonly TripFile[];
  /** Undefined where there was no drive to lose. */
  readonly lost: DriveLostJson | undefined;
  readonly owes: number;
}

function say(call: Call, { old, successor, changed, trips, lost, owes }: Replaced): void {
  if (call.json) {
    const files = changed.map(({ trip, name }) => ({ id: trip.id, name, file: trip.file }));
    outJson(call.terminal, { old, new: successor.name, trips: files, lost: lost ?? null });
    return;
  }
  const width = columnsOf(call.terminal);
  const where = list(changed.map(({ name }) => name));
  const said = [
    `${printable(successor.name, 60)} takes the place of ${printable(old, 60)} in ${where}.`,
    ...(lost !== undefined || owes === 0 ? [] : [whileItOwes(successor)]),
    ownFile(old, changed, trips),
  ];
  call.terminal.out(paragraph(said.join(" "), width, " "));
  if (lost !== undefined)
    call.terminal.out(renderDriveLost(lost, successor, writesUnicode(call.terminal.env), width));
}

function whileItOwes({ name, present }: Successor): string {
  return present
    ? `${printable(name, 60)} is being filled now; \`scrubjay status\` shows how far it is.`
    : `Plug in ${printable(name, 60)}: what it owes is brought up by itself.`;
}

/** What was added is a copy of somebody's file; that file is left alone, and would undo it if it were added again. */
function ownFile(old: string, changed: readonly ChangedTrip[], trips: readonly TripFile[]): string {
  const [only, ...more] = changed;
  const name = printable(old, 60);
  return only === undefined || more.length > 0
    ? `\`scrubjay trip show TRIP\` prints each profile as it is now; your own files still name ${name}. Change them too before you add them again.`
    : `\`scrubjay trip show ${wordFor(only.trip, trips)}\` prints the profile as it is now; your own file still names ${name}. Change it too before you add it again.`;
}

/** What names this trip and no other: its code, else its id. */
function wordFor({ id, profile }: TripFile, trips: readonly TripFile[]): string {
  const code = profile?.code ?? id;
  const fitting = trips.filter((trip) =>
    [trip.id, trip.profile?.code, trip.profile?.trip].some(
      (name) => name !== undefined && nameKey(name) === nameKey(code),
    ),
  );
  return asArgument(fitting.length === 1 ? code : id);
}

/** The profile with the new name in it; none where the trip doesn't name the old one. Fails with `UserMistake`. */
function changedTrip(trip: TripFile, oldName: string, newName: string): readonly ChangedTrip[] {
  const { profile, file } = trip;
  if (profile === undefined || !names(profile, oldName)) return [];
  if (names(profile, newName)) throw takesPart(newName, oldName, profile);
  const text = renameDrive(trip.text, oldName, newName);
  const read = text === undefined ? undefined : readProfile(text);
  const wanted = profile.drives.map((drive) =>
    nameKey(drive.name) === nameKey(oldName) ? newName : drive.name,
  );
  const got = read?.profile?.drives.map((drive) => drive.name);
  if (text !== undefined && JSON.stringify(got) === JSON.stringify(wanted))
    return [{ trip, name: profile.trip, text }];
  throw cannotChange(file, read?.faults.find((fault) => fault.severity === "error")?.what ?? "");
}

/** Declares the old drive lost, if it is one and isn't yet; has the daemon look at the trips again in any case. */
async function loseOld(
  client: DaemonClient,
  old: DriveStatusJson | undefined,
  successor: string,
  changed: readonly ChangedTrip[],
): Promise<DriveLostJson | undefined> {
  if (old === undefined || old.id === null || old.lost === true) {
    await client.refresh();
    return undefined;
  }
  try {
    return await client.loseDrive(old.name);
  } catch (error) {
    if (!(error instanceof UserMistake)) throw error;
    const where = list(changed.map(({ name }) => name));
    throw new UserMistake(
      `${printable(successor, 60)} takes the place of ${printable(old.name, 60)} in ${where}, but ${printable(old.name, 60)} isn't declared lost yet: ${error.message}`,
      `Nothing was changed on any drive. \`scrubjay drive lost ${asArgument(old.name)}\` does what is left.`,
      error.exit,
    );
  } finally {
    await client.refresh().catch(ignoreMistake);
  }
}

/** The first failure is the one to tell. */
function ignoreMistake(error: unknown): void {
  if (!(error instanceof UserMistake)) throw error;
}

async function owedBy(client: DaemonClient, name: string): Promise<number> {
  return driveCalled(await client.drives(), name)?.owed.files ?? 0;
}

function names(profile: TripProfile, name: string): boolean {
  return profile.drives.some((drive) => nameKey(drive.name) === nameKey(name));
}

function driveCalled(drives: readonly DriveStatusJson[], name: string): DriveStatusJson | undefined {
  return drives.find((drive) => nameKey(drive.name) === nameKey(name));
}

function isKnown(drive: DriveStatusJson | undefined): drive is DriveStatusJson {
  return drive !== undefined && drive.id !== null && drive.lost !== true;
}

function knownDrive(drives: readonly DriveStatusJson[], name: string): DriveStatusJson {
  const drive = driveCalled(drives, name);
  if (isKnown(drive)) return drive;
  throw new UserMistake(
    `No drive is known as ${printable(name, 60)}. Nothing was changed.`,
    `Plug it in and introduce it with \`scrubjay drive add MOUNT --name ${asArgument(name)}\`, then call again.`,
  );
}

/** OLD is a drive in use and NEW is the one to be replaced: it is lost, or no drive that is here. */
function refuseWrongOrder(
  drives: readonly DriveStatusJson[],
  trips: readonly TripFile[],
  oldWord: string,
  newWord: string,
): void {
  const [old, successor] = [driveCalled(drives, oldWord), driveCalled(drives, newWord)];
  if (!isKnown(old) || successor?.present === true) return;
  const profiles = trips.flatMap(({ profile }) => profile ?? []);
  const namesOld = profiles.some((profile) => names(profile, oldWord));
  const namesNew = profiles.some((profile) => names(profile, newWord));
  const namesBoth = profiles.some((profile) => names(profile, oldWord) && names(profile, newWord));
  const lost = successor?.lost === true;
  const meant = isKnown(successor) ? namesNew && !namesOld : (namesNew || lost) && !namesBoth;
  if (!meant) return;
  const shown = printable(newWord, 60);
  const happened = isKnown(successor)
    ? `No trip names ${printable(old.name, 60)}.`
    : lost
      ? `${shown} was declared lost.`
      : `No drive is known as ${shown}.`;
  throw new UserMistake(
    `${happened} Nothing was changed.`,
    `Did you mean \`scrubjay drive replace ${asArgument(newWord)} ${asArgument(old.name)}\`?`,
  );
}

function nothingToDo(name: string): UserMistake {
  return new UserMistake(
    `${printable(name, 60)} was declared lost, and no trip names it any more.`,
    "Nothing needs to be done.",
  );
}

function sameName(name: string): UserMistake {
  const shown = asArgument(name);
  return new UserMistake(
    `${printable(name, 60)} can't take its own place. Nothing was changed.`,
    `For another medium under the same name: \`scrubjay drive lost ${shown}\`, then \`scrubjay drive add MOUNT --name ${shown}\`.`,
  );
}

function isIn(name: string): UserMistake {
  return new UserMistake(
    `${printable(name, 60)} is plugged in, so it isn't lost. Nothing was changed.`,
    `If it shall not be used any more, take it out first (\`scrubjay eject ${asArgument(name)}\`).`,
  );
}

function inNoTrip(name: string): UserMistake {
  return new UserMistake(
    `No trip names ${printable(name, 60)}. Nothing was changed.`,
    `\`scrubjay trip list\` shows the trips; \`scrubjay drive lost ${asArgument(name)}\` declares a drive lost that takes part in none.`,
  );
}

function takesPart(newName: string, oldName: string, profile: TripProfile): UserMistake {
  return new UserMistake(
    `${printable(newName, 60)} takes part in ${printable(profile.trip)} already, as ${printable(oldName, 60)} does. Nothing was changed.`,
    `Introduce a further drive and name that one, or declare the loss alone: \`scrubjay drive lost ${asArgument(oldName)}\`.`,
  );
}

function cannotChange(file: AbsolutePath, why: string): UserMistake {
  return new UserMistake(
    `The name can't be changed in ${printable(file)}${why === "" ? "" : `: ${why}`}. Nothing was changed.`,
    "Change it there by hand, and add the file again with `scrubjay trip add FILE`.",
    78,
  );
}
