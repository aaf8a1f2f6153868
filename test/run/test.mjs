/**
 * `npm test`: types, format, lint, then every test. Ends with the skipped tests by name and one line with the counts.
 * Fails if anything failed, or if no test ran. Arguments are handed on to vitest (`npm test -- test/core`).
 */

import { spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, relative } from "node:path";
import { checkout, prepare } from "./prepare.mjs";

const inCheckout = { cwd: checkout, stdio: "inherit" };

try {
  const packageLists = ["debian-packages.txt", "debian-packages-desktop.txt"];
  prepare({ quiet: false, build: true, systemPackages: true, packageLists });
} catch (error) {
  // The tests still say more than a failed build alone.
  process.stderr.write(`${error.message}\n`);
}
const checked = spawnSync("npm", ["run", "--silent", "check"], inCheckout).status === 0;
if (!checked)
  process.stderr.write("Types, format or lint aren't clean; `npm run fix` mends format and some lint.\n");

const folder = mkdtempSync(join(tmpdir(), "scrubjay-results-"));
let results;
let ranWell = false;
try {
  const report = join(folder, "results.json");
  const args = ["run", "--config", "config/tools/vitest.config.mjs", "--reporter=default", "--reporter=json"];
  const vitest = join(checkout, "node_modules/vitest/vitest.mjs");
  const { status } = spawnSync(
    process.execPath,
    [vitest, ...args, `--outputFile.json=${report}`, ...process.argv.slice(2)],
    inCheckout,
  );
  ranWell = status === 0;
  results = JSON.parse(readFileSync(report, "utf8"));
} catch (error) {
  process.stderr.write(`The tests left no result: ${error.message}\n`);
} finally {
  rmSync(folder, { recursive: true, force: true });
}

const { passed, failed, skipped } = count(results?.testResults ?? []);
if (skipped.length > 0) {
  console.log("\nSkipped, each for the reason in its name:");
  for (const name of skipped) console.log(`  ${name}`);
}
console.log("");
console.log(`${passed} passed, ${failed} failed, ${skipped.length} skipped`);
process.exitCode = checked && ranWell && failed === 0 && passed > 0 ? 0 : 1;

/** A file that couldn't even be loaded has no tests to count, and counts as one that failed. */
function count(files) {
  let passed = 0;
  let failed = 0;
  const skipped = [];
  for (const file of files) {
    if (file.status === "failed" && !file.assertionResults.some((each) => each.status === "failed"))
      failed += 1;
    for (const { status, fullName } of file.assertionResults) {
      if (status === "passed") passed += 1;
      else if (status === "failed") failed += 1;
      else skipped.push(`${relative(checkout, file.name)}: ${fullName}`);
    }
  }
  return { passed, failed, skipped };
}
