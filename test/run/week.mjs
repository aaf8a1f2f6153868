/** `npm run week`: gets everything ready and runs the built program in this process, arguments as they are. */

import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { checkout, prepare } from "./prepare.mjs";

try {
  prepare({ quiet: false, build: true, systemPackages: true });
} catch (error) {
  process.stderr.write(`week: ${error.message}\n`);
  process.exit(70); // sysexits: EX_SOFTWARE.
}
const program = join(checkout, "dist/test/week/weekProgram.js");
process.argv[1] = program;
await import(pathToFileURL(program).href);
