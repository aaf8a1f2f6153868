/** `scrubjay drive add` and `drive list`: the drives that Scrubjay knows. */

import { resolve } from "node:path";
import { nameKey } from "../../shared/identity.ts";
import { printable } from "../../shared/text.ts";
import { daemonClient } from "../api/client.ts";
import { list as listed } from "../core/verdict.ts";
import { listTripFiles } from "../home/tripFiles.ts";
import { type Call, type Command, usage } from "./command.ts";
import { renderDrives } from "./renderDrives.ts";
import { paragraph } from "./table.ts";
import { columnsOf, outJson } from "./terminal.ts";

/** Trips. The latest ones are named where a new drive takes part in none. */
const namedMost = 3;

export const driveAdd: Command = {
  name: "drive add",
  operands: ["MOUNT"],
  options: { name: { value: "NAME", does: "what it is called, as in the trip's profile" } },
  does: "makes a mounted volume a known drive",
  more: "Writes the drive's identity to it and nothing else; if a described trip names it, that trip's record follows.\nA card is refused: nothing of ours is ever written to one.\nExit status: 0 it is known, 64 it is refused (a card, no mounted volume, a name that is taken), 74 it can't be written.",
  run: add,
};

export const driveList: Command = {
  name: "drive list",
  operands: [],
  options: {},
  does: "shows the known drives: where they are, what they hold and owe",
  more: "Exit status 0, whatever they owe.",
  run: list,
};

async function add(call: Call): Promise<number> {
  const [mount = ""] = call.operands;
  const name = call.options["name"];
  if (name === undefined || name.trim() === "") throw usage(driveAdd, "A drive needs a name: --name NAME.");
  const added = await daemonClient(call.home.run).addDrive(resolve(mount), name);
  if (call.json) {
    outJson(call.terminal, added);
  } else {
    const said = `${printable(added.name)} is a known drive now, at ${printable(added.mount)}.`;
    const unnamed = await saidIfUnnamed(call, added.name);
    call.terminal.out(paragraph(`${said}${unnamed}`, columnsOf(call.terminal)));
  }
  return 0;
}

/** Most likely the name is a slip where no trip that is described has it; "" if one has. */
async function saidIfUnnamed(call: Call, name: string): Promise<string> {
  const trips = (await tripsKnown(call)).flatMap((trip) => trip.profile ?? []);
  const named = trips.some((trip) => trip.drives.some((drive) => nameKey(drive.name) === nameKey(name)));
  if (named || trips.length === 0) return "";
  const others = trips
    .slice(-namedMost)
    .map((trip) => `${printable(trip.trip)} names ${listed(trip.drives.map((drive) => drive.name))}`);
  return ` No trip names it yet; ${others.join("; ")}.`;
}

/** The drive is known already: files of trips that can't be listed don't make that a failure. */
async function tripsKnown(call: Call): ReturnType<typeof listTripFiles> {
  try {
    return await listTripFiles(call.home.config);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).syscall === undefined) throw error;
    return [];
  }
}

async function list(call: Call): Promise<number> {
  const drives = await daemonClient(call.home.run).drives();
  if (call.json) outJson(call.terminal, drives);
  else call.terminal.out(renderDrives(drives, columnsOf(call.terminal)));
  return 0;
}
