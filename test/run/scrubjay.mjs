/**
 * `npm run scrubjay -- ARGS`: builds if need be, silently, and becomes the command line. In the same process, so that
 * signals and exit status are the command's own.
 */

import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { checkout, prepare } from "./prepare.mjs";

try {
  prepare({ quiet: true, build: true, systemPackages: false });
} catch (error) {
  process.stderr.write(`scrubjay: ${error.message}\n`);
  process.exit(70); // sysexits: EX_SOFTWARE. The clone itself can't be run.
}
const program = join(checkout, "dist/daemon/cli.js");
process.argv[1] = program;
await import(pathToFileURL(program).href);
