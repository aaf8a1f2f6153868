/** `scrubjay drive add` and `drive list`: the drives that Scrubjay knows. */

import { resolve } from "node:path";
import { printable } from "../../shared/text.ts";
import { daemonClient } from "../api/client.ts";
import { type Call, type Command, usage } from "./command.ts";
import { renderDrives } from "./renderDrives.ts";
import { outJson } from "./terminal.ts";

export const driveAdd: Command = {
  name: "drive add",
  operands: ["MOUNT"],
  options: { name: { value: "NAME", does: "what it is called, as in the trip's profile" } },
  does: "makes a mounted volume a known drive",
  more: "Writes the drive's identity to it and nothing else. A card is refused: nothing of ours is ever written to one.",
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
  if (mount === "") throw usage(driveAdd, "MOUNT is empty.");
  const added = await daemonClient(call.home.run).addDrive(resolve(mount), name);
  if (call.json) outJson(call.terminal, added);
  else call.terminal.out(`${printable(added.name)} is a known drive now, at ${printable(added.mount)}.\n`);
  return 0;
}

async function list(call: Call): Promise<number> {
  const drives = await daemonClient(call.home.run).drives();
  if (call.json) outJson(call.terminal, drives);
  else call.terminal.out(renderDrives(drives));
  return 0;
}
