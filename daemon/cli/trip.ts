/**
 * `scrubjay trip check|add|list|show`: trips are files of this computer, so all of these work without the daemon; a
 * running one is told after a change.
 */

import type { TripCheckJson, TripSummaryJson } from "../../shared/api.ts";
import { nameKey } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import type { ProfileFault, TripProfile } from "../../shared/trip.ts";
import { daemonClient } from "../api/client.ts";
import { readProfile } from "../core/profile.ts";
import { exampleNames } from "../core/profileTemplates.ts";
import { addTripFile, listTripFiles, readText, type TripFile } from "../home/tripFiles.ts";
import type { Call, Command } from "./command.ts";
import { renderFaults, renderTrips } from "./renderTrips.ts";
import { outJson } from "./terminal.ts";

export const tripCheck: Command = {
  name: "trip check",
  operands: ["FILE"],
  options: {},
  does: "checks a trip profile: every fault with line, column and what is allowed",
  more: "Without faults it shows the names that the templates give. Works without the daemon.\nExit status: 0 valid, perhaps with warnings; 78 faults.",
  run: check,
};

export const tripAdd: Command = {
  name: "trip add",
  operands: ["FILE"],
  options: {},
  does: "adds or updates the trip; a running daemon picks it up",
  more: "The same trip is one of the same name and first day, or of the same code with days that overlap.\nNothing already filed is moved or renamed. Exit status: 0 added, 78 faults in the profile.",
  run: add,
};

export const tripList: Command = {
  name: "trip list",
  operands: [],
  options: {},
  does: "shows the trips described on this computer",
  more: "Exit status: 0, or 78 if one of them has faults.",
  run: list,
};

export const tripShow: Command = {
  name: "trip show",
  operands: ["TRIP"],
  options: {},
  does: "shows one trip as it was described, and the names it gives",
  more: "TRIP is a trip's id, code or name.",
  run: show,
};

async function check(call: Call): Promise<number> {
  const [file = ""] = call.operands;
  const { profile, faults } = readProfile(await readNamedFile(file));
  const examples = profile === undefined ? [] : exampleNames(profile);
  const answer: TripCheckJson = { file, valid: profile !== undefined, faults, examples };
  if (call.json) {
    outJson(call.terminal, answer);
  } else {
    call.terminal.out(renderFaults(file, faults));
    if (profile !== undefined)
      call.terminal.out(`The profile is valid. Frames will be called:\n${indented(examples)}`);
  }
  return profile === undefined ? 78 : 0;
}

async function add(call: Call): Promise<number> {
  const [file = ""] = call.operands;
  const text = await readNamedFile(file);
  const { profile, faults } = readProfile(text);
  call.terminal.err(renderFaults(file, faults));
  if (profile === undefined) {
    throw new UserMistake(
      `${printable(file)} has ${errorsIn(faults)}.`,
      "Nothing was changed. Mend them and add it again.",
      78,
    );
  }
  const added = await addTripFile(call.home.config, text, profile);
  await tellDaemon(call);
  if (call.json) {
    outJson(call.terminal, { ...summary(added.id, added.file, profile), new: added.isNew });
  } else {
    call.terminal.out(`${printable(profile.trip)} is ${added.isNew ? "added" : "updated"} as ${added.id}.\n`);
  }
  return 0;
}

async function list(call: Call): Promise<number> {
  const trips = await listTripFiles(call.home.config);
  for (const trip of trips) call.terminal.err(renderFaults(trip.file, errorsOf(trip)));
  const summaries = trips.flatMap((trip) =>
    trip.profile === undefined ? [] : [summary(trip.id, trip.file, trip.profile)],
  );
  if (call.json) outJson(call.terminal, summaries);
  else call.terminal.out(renderTrips(summaries));
  return summaries.length === trips.length ? 0 : 78;
}

async function show(call: Call): Promise<number> {
  const [word = ""] = call.operands;
  const trip = findTrip(await listTripFiles(call.home.config), word);
  const examples = trip.profile === undefined ? [] : exampleNames(trip.profile);
  call.terminal.err(renderFaults(trip.file, trip.faults));
  if (call.json) {
    outJson(call.terminal, { id: trip.id, file: trip.file, profile: trip.profile ?? null, examples });
  } else {
    const lines = trip.text.split(/\r?\n/).map((line) => printable(line, 1_000));
    call.terminal.out(`# ${trip.id}: ${printable(trip.file)}\n${lines.join("\n").trimEnd()}\n`);
    if (examples.length > 0) call.terminal.out(`\n# Frames will be called:\n${indented(examples)}`);
  }
  return trip.profile === undefined ? 78 : 0;
}

/** By id first; then by code or name. */
function findTrip(trips: readonly TripFile[], word: string): TripFile {
  const key = nameKey(word);
  const matching = trips.filter((trip) =>
    [trip.id, trip.profile?.code, trip.profile?.trip].some(
      (name) => name !== undefined && nameKey(name) === key,
    ),
  );
  const exact = matching.find((trip) => trip.id === word);
  const [only, ...more] = exact === undefined ? matching : [exact];
  const shown = printable(word, 60);
  const next = "`scrubjay trip list` shows the trips with their ids.";
  if (only === undefined) throw new UserMistake(`No trip is known as '${shown}'.`, next);
  if (more.length > 0) throw new UserMistake(`'${shown}' fits several trips.`, next);
  return only;
}

async function readNamedFile(file: string): Promise<string> {
  try {
    return await readText(file);
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code !== "ENOENT" && code !== "ENOTDIR" && code !== "EISDIR") throw error;
    const what = code === "EISDIR" ? "is a folder" : "is not there";
    throw new UserMistake(`${printable(file)} ${what}.`, "Name the file of a trip profile.", 64);
  }
}

/** The daemon finds the change by itself sooner or later; one that isn't running reads it when it starts. */
async function tellDaemon(call: Call): Promise<void> {
  try {
    await daemonClient(call.home.run).refresh();
  } catch (error) {
    if (!(error instanceof UserMistake)) throw error;
  }
}

function summary(id: string, file: string, profile: TripProfile): TripSummaryJson {
  const { trip, code, from, to, zone } = profile;
  return { id, name: trip, code, from, to, zone, file };
}

function errorsOf(trip: TripFile): readonly ProfileFault[] {
  return trip.faults.filter((fault) => fault.severity === "error");
}

function errorsIn(faults: readonly ProfileFault[]): string {
  const errors = faults.filter((fault) => fault.severity === "error").length;
  return errors === 1 ? "a fault" : `${errors} faults`;
}

function indented(lines: readonly string[]): string {
  return lines.map((line) => `  ${printable(line, 1_000)}\n`).join("");
}
