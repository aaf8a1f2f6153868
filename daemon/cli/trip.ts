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
import { exampleNames } from "../core/profileTemplates.ts";
import {
  type AddedTrip,
  addTripFile,
  listTripFiles,
  type ReadTrip,
  readTrip,
  type TripFile,
} from "../home/tripFiles.ts";
import type { Call, Command } from "./command.ts";
import { renderFaults, renderTrips } from "./renderTrips.ts";
import { paragraph } from "./table.ts";
import { columnsOf, outJson } from "./terminal.ts";

/** Characters. Longer than any line that a valid profile can have. */
const longestLine = 100_000;

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
  more: "The same trip is one of the same name with days that overlap, or of the same code, first and last day; the answer\nsays which. Any other is a new trip, and needs a code that no trip has in these days.\nNothing already filed is moved or renamed.\nExit status: 0 added or updated, 78 faults in the profile, or its code is another trip's.",
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
  more: "TRIP is a trip's id, code or name. What it shows is a valid profile again: all that is added is comments.\nExit status: 0, 64 no such trip or several of them, 78 it has faults.",
  run: show,
};

async function check(call: Call): Promise<number> {
  const [file = ""] = call.operands;
  const { profile, faults } = await readNamedFile(file);
  const examples = profile === undefined ? [] : exampleNames(profile);
  const answer: TripCheckJson = { file, valid: profile !== undefined, faults, examples };
  if (call.json) {
    outJson(call.terminal, answer);
  } else {
    call.terminal.out(renderFaults(file, faults));
    if (profile !== undefined)
      call.terminal.out(`The profile is valid. Frames will be called:\n${each("  ", examples)}`);
  }
  return profile === undefined ? 78 : 0;
}

async function add(call: Call): Promise<number> {
  const [file = ""] = call.operands;
  const { text, profile, faults } = await readNamedFile(file);
  call.terminal.err(renderFaults(file, faults));
  if (profile === undefined) {
    const errors = faults.filter((fault) => fault.severity === "error").length;
    throw new UserMistake(
      `${printable(file)} has ${errors === 1 ? "a fault" : `${errors} faults`}.`,
      `Nothing was changed. Mend ${errors === 1 ? "it" : "them"} and add the file again.`,
      78,
    );
  }
  const added = await addTripFile(call.home.config, text, profile);
  await tellDaemon(call);
  if (call.json) {
    const { isNew, changed, before = null } = added;
    outJson(call.terminal, { ...summary(added.id, added.file, profile), new: isNew, changed, before });
  } else {
    call.terminal.out(paragraph(whatWasAdded(added, profile), columnsOf(call.terminal)));
  }
  return 0;
}

function whatWasAdded({ id, isNew, changed, before }: AddedTrip, profile: TripProfile): string {
  const name = printable(profile.trip);
  if (isNew) return `${name} is added as ${id}.`;
  if (!changed) return `${name} is as it was.`;
  return `${name}${before === undefined ? "" : ` (before: ${printable(before)})`} is updated as ${id}.`;
}

async function list(call: Call): Promise<number> {
  const trips = await listTripFiles(call.home.config);
  for (const trip of trips) call.terminal.err(renderFaults(trip.file, errorsOf(trip)));
  const summaries = trips.flatMap((trip) =>
    trip.profile === undefined ? [] : [summary(trip.id, trip.file, trip.profile)],
  );
  if (call.json) outJson(call.terminal, summaries);
  else call.terminal.out(renderTrips(summaries, columnsOf(call.terminal)));
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
    const lines = trip.text.split(/\r?\n/).map(harmlessLine);
    const shown = `# ${trip.id}: ${printable(trip.file)}\n${lines.join("\n").trimEnd()}\n`;
    const names = examples.length === 0 ? "" : `\n# Frames will be called:\n${each("#   ", examples)}`;
    call.terminal.exact(`${shown}${names}`);
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

async function readNamedFile(file: string): Promise<ReadTrip> {
  try {
    return await readTrip(file);
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

/** A line of a profile that can't steer the terminal; tabs stay, for YAML knows them. */
function harmlessLine(line: string): string {
  return line
    .split("\t")
    .map((part) => printable(part, longestLine))
    .join("\t");
}

function each(beginning: string, lines: readonly string[]): string {
  return lines.map((line) => `${beginning}${printable(line, 1_000)}\n`).join("");
}
