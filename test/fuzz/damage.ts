/**
 * `npm run damage`: damages whole files in four ways and prints how much of it the structure checks find. Exit status:
 * 0 measured, 64 usage.
 */

import { fileURLToPath } from "node:url";
import { parseArgs } from "node:util";
import { findDamage, tableOf } from "./damageTable.ts";
import { probeRealHeaders, samplesFolder } from "./realHeaders.ts";
import { encoders, wholeFiles } from "./wholeFiles.ts";

const usage = `Usage: npm run damage [-- --rounds N] [--seed N]

Damages generated files (and those of other encoders, where they are installed) at every sixteenth of their length.
  --rounds N  files of each kind, each of another size and picture (default 8)
  --seed N    of pictures and random bytes (default 1)
`;

process.exitCode = main();

function main(): number {
  let rounds: number;
  let seed: number;
  try {
    const options = {
      rounds: { type: "string", default: "8" },
      seed: { type: "string", default: "1" },
    } as const;
    const { values } = parseArgs({ options });
    rounds = wholeNumber(values.rounds);
    seed = wholeNumber(values.seed);
  } catch {
    console.error(usage);
    return 64;
  }
  for (const [name, isThere] of Object.entries(encoders)) {
    if (!isThere) console.log(`Without files of ${name}: it isn't installed.`);
  }
  const found = findDamage(wholeFiles({ seed, rounds }), seed);
  console.log(tableOf(found));
  for (const { byWay } of found) {
    for (const [way, { missed }] of Object.entries(byWay)) {
      if (missed.length > 0 && missed.length <= 5) console.log(`Missed, ${way}: ${missed.join(", ")}`);
    }
  }
  const folder = samplesFolder(fileURLToPath(new URL("../../..", import.meta.url)));
  if (folder !== undefined) {
    console.log("\nReal headers, image data mostly cut off (of 16 cuts, how many are found):");
    for (const { name, wrong, cutsFound } of probeRealHeaders(folder)) {
      console.log(`  ${name.padEnd(14)} ${String(cutsFound).padStart(2)}  ${wrong ?? "nothing wrong"}`);
    }
  }
  return 0;
}

function wholeNumber(text: string): number {
  if (!/^[1-9][0-9]{0,3}$/.test(text)) throw new RangeError(text);
  return Number(text);
}
