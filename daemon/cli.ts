#!/usr/bin/env node
/** The program `scrubjay`. All of it is in `cli/run.ts`; here it meets the process: words, streams, exit status. */

import { runCommandLine } from "./cli/run.ts";
import { systemTerminal } from "./cli/terminal.ts";

// A reader that has seen enough (`scrubjay cards | head`) is no failure.
for (const stream of [process.stdout, process.stderr]) {
  stream.on("error", (error: NodeJS.ErrnoException) => {
    if (error.code === "EPIPE") process.exit();
    throw error;
  });
}

const exit = await runCommandLine(process.argv.slice(2), systemTerminal());
process.exitCode = exit;
// What was written to a pipe is still on its way; the process ends when it has arrived.
process.stdout.write("", () => process.stderr.write("", () => process.exit(exit)));
