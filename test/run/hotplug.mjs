/** `npm run test:hotplug`: gets everything ready and runs the built program in this process, arguments as they are. */

import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { checkout, prepare } from "./prepare.mjs";

try {
  const packageLists = ["debian-packages.txt", "debian-packages-hotplug.txt"];
  prepare({ quiet: false, build: true, systemPackages: true, packageLists });
} catch (error) {
  process.stderr.write(`test:hotplug: ${error.message}\n`);
  process.exit(70); // sysexits: EX_SOFTWARE.
}
const program = join(checkout, "dist/test/hotplug/hotplug.js");
process.argv[1] = program;
await import(pathToFileURL(program).href);
