/** `scrubjay edits list [PATH]` and `edits restore PATH --at TIME`: work files, their versions, and one put back in place. */

import type { EditsJson, EditVersionJson, EditVersionsJson } from "../../shared/editsApi.ts";
import { UserMistake } from "../../shared/problems.ts";
import { asArgument, printable } from "../../shared/text.ts";
import { type DaemonClient, daemonClient } from "../api/client.ts";
import { type Call, type Command, usage } from "./command.ts";
import { renderEdits, renderRestored, renderVersions } from "./renderEdits.ts";
import { seedsFor } from "./seeds.ts";
import { columnsOf, outJson, writesUnicode } from "./terminal.ts";

/** files of one answer of the daemon; they are asked for until all are there. */
const filesAtOnce = 500;

const ofTrip = { value: "TRIP", does: "another trip than the one the board shows, by its name or id" };

export const editsList: Command = {
  name: "edits list",
  operands: ["[PATH]"],
  options: { trip: ofTrip },
  does: "shows the trip's work files and which drives hold the newest, or the versions of one",
  more: "PATH is a work file as the list shows it, below the trip's folder. Of one file every version is shown that is known, newest first, each with its moment, which `edits restore` takes.\nExit status: 0, whatever is owed; 64 no such file or trip, 69 the daemon isn't running.",
  run: list,
};

export const editsRestore: Command = {
  name: "edits restore",
  operands: ["PATH"],
  options: {
    at: {
      value: "TIME",
      does: "the version's moment as `edits list PATH` shows it, or a beginning that only it has",
    },
    trip: ofTrip,
  },
  does: "puts an earlier version of a work file in place again",
  more: "The version becomes the newest one, and goes to the trip's other drives like any other; what stood in place stays in the history. Nothing is lost.\nExit status: 0 it is in place, 64 no such file or version, 1 it can't be put there now, 69 the daemon isn't running, 74 it can't be written.",
  run: restore,
};

async function list(call: Call): Promise<number> {
  const [path] = call.operands;
  const trip = call.options["trip"];
  const client = daemonClient(call.home.run);
  const width = columnsOf(call.terminal);
  if (path !== undefined) {
    const versions = await client.editVersions(trip, path);
    if (call.json) outJson(call.terminal, versions);
    else call.terminal.out(renderVersions(versions, width));
    return 0;
  }
  const edits = await wholeList(client, trip);
  if (call.json) outJson(call.terminal, edits);
  else call.terminal.out(renderEdits(edits, seedsFor(writesUnicode(call.terminal.env)), width));
  return 0;
}

/** All files; when they change meanwhile, as many as the last answer counts. */
async function wholeList(client: DaemonClient, trip: string | undefined): Promise<EditsJson> {
  let edits = await client.edits(trip, 0, filesAtOnce);
  const files = [...edits.files];
  while (files.length < edits.total) {
    edits = await client.edits(trip, files.length, filesAtOnce);
    if (edits.files.length === 0) break;
    files.push(...edits.files);
  }
  return { ...edits, files };
}

async function restore(call: Call): Promise<number> {
  const [path = ""] = call.operands;
  const { at, trip } = call.options;
  if (at === undefined || at.trim() === "")
    throw usage(
      editsRestore,
      `Which version is meant? \`scrubjay edits list ${asArgument(path)}\` shows them: --at TIME.`,
    );
  const client = daemonClient(call.home.run);
  const version = versionAt(await client.editVersions(trip, path), at.trim());
  const restored = await client.restoreEdit(trip, path, version.at);
  if (call.json) outJson(call.terminal, restored);
  else call.terminal.out(renderRestored(restored, version, columnsOf(call.terminal)));
  return 0;
}

/** The only version at this moment, or whose moment begins so. Fails with `UserMistake`. */
export function versionAt({ path, versions }: EditVersionsJson, at: string): EditVersionJson {
  const moment = /[Zz]|[+-]\d\d:\d\d$/.test(at) ? Date.parse(at) : Number.NaN;
  const same = versions.filter((each) => each.at === at || Date.parse(each.at) === moment);
  const wanted = at.toUpperCase().replace(" ", "T");
  const found = same.length > 0 ? same : versions.filter((each) => each.at.startsWith(wanted));
  const [version, ...others] = found;
  if (version !== undefined && others.length === 0) return version;
  const see = `\`scrubjay edits list ${asArgument(path)}\` shows them all.`;
  if (version === undefined) {
    const newest = versions[0];
    const has = newest === undefined ? "" : ` The newest one is of ${newest.at}.`;
    throw new UserMistake(`No version of ${printable(path)} is of ${printable(at, 60)}.${has}`, see);
  }
  const begin = found.slice(0, 3).map((each) => each.at);
  const more = found.length > begin.length ? ` and ${found.length - begin.length} more` : "";
  throw new UserMistake(
    `${found.length} versions of ${printable(path)} are of ${printable(at, 60)}: ${begin.join(", ")}${more}.`,
    `Say more of the one that is meant. ${see}`,
  );
}
