/** `scrubjay daemon`: the daemon in the foreground. What it does is `daemon/main.ts`; here only its options. */

import { stat } from "node:fs/promises";
import { resolve } from "node:path";
import { printable } from "../../shared/text.ts";
import { type Call, type Command, usage } from "./command.ts";
import { outJson } from "./terminal.ts";

export const daemon: Command = {
  name: "daemon",
  operands: [],
  options: {
    practice: {
      value: "DIR",
      does: "every folder directly in DIR is a volume; put in by appearing, out by going",
    },
  },
  does: "runs in the foreground until SIGTERM or SIGINT",
  more: "Copies cards that are put in to the drives that are there, and verifies. One daemon at a time.\nSIGTERM and SIGINT stop it cleanly; what is under way is carried on at the next start.",
  run,
};

async function run(call: Call): Promise<number> {
  const { practice } = call.options;
  const folder = practice === undefined ? undefined : resolve(practice);
  if (folder !== undefined && !(await isFolder(folder))) {
    throw usage(daemon, `${printable(folder)} is no folder.`);
  }
  // Loaded only here: the other commands need neither engine nor ledger.
  const { runDaemon } = await import("../main.ts");
  const exit = await runDaemon({ practice: folder });
  if (call.json) outJson(call.terminal, { stopped: true, exit });
  return exit;
}

async function isFolder(path: string): Promise<boolean> {
  try {
    return (await stat(path)).isDirectory();
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === "ENOENT") return false;
    throw error;
  }
}
