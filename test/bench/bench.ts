/**
 * `npm run bench`: how fast, how large, how soon, measured in one run on this computer. Prints ratios, since only they
 * mean something elsewhere; judges nothing. Exit status: 0 measured, 1 something failed, 64 usage, 69 can't be measured
 * here.
 */

import { availableParallelism, loadavg } from "node:os";
import { fileURLToPath } from "node:url";
import { parseArgs } from "node:util";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { evening, fullEvening } from "./evening.ts";
import { frames, fullFrames } from "./frames.ts";
import { fullMemory, memory } from "./memory.ts";
import { fullPage, page } from "./page.ts";
import { fullSurvey, survey } from "./survey.ts";
import type { Say } from "./workbench.ts";

const cli = fileURLToPath(new URL("../../daemon/cli.js", import.meta.url));

const benches: Readonly<Record<string, (say: Say) => Promise<unknown>>> = {
  evening: (say) => evening(cli, fullEvening, say),
  frames: (say) => frames(fullFrames, say),
  memory: (say) => memory(cli, fullMemory, say),
  page: (say) => page(cli, fullPage, say),
  survey: (say) => survey(cli, fullSurvey, say),
};

const usage = `Usage: npm run bench [-- NAME ...]

Measures on loop devices; needs about 10 GB in the temporary folder and some minutes. Without a name, all of:
  evening  two verified copies of a card, against reading it once and against the work by hand
  frames   what asking costs when a trip has 50,000 frames
  memory   the daemon's memory with few files, many files, and one beyond 4 GiB
  page     each screen and the contact sheet in a browser, with 50,000 frames
  survey   a card of 4,000 files: until the first byte, when it is put in again, and what status costs
`;

process.exitCode = await main();

async function main(): Promise<number> {
  let names: readonly string[];
  try {
    names = parseArgs({ allowPositionals: true, options: {} }).positionals;
  } catch {
    names = ["?"];
  }
  if (names.some((name) => !Object.hasOwn(benches, name))) {
    console.error(usage);
    return 64;
  }
  if (!canUseLoopVolumes()) {
    console.error(`Nothing can be measured here: it ${whyNoLoopVolumes}.`);
    return 69;
  }
  for (const [name, run] of Object.entries(benches)) {
    if (names.length > 0 && !names.includes(name)) continue;
    // What else runs meanwhile goes into every number.
    const busy = (loadavg()[0] ?? 0).toFixed(1);
    console.log(`${name} (${availableParallelism()} cores, load ${busy} before it began)`);
    try {
      await run((line) => console.log(`  ${line}`));
    } catch (failure) {
      console.error(`  failed: ${failure instanceof Error ? failure.message : String(failure)}`);
      return 1;
    }
  }
  return 0;
}
