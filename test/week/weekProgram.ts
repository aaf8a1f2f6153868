/**
 * `npm run week`: lives the week of `week.ts` and says what came out. Exit status: 0 all of it held, 1 something didn't,
 * 69 can't be done here.
 */

import { fileURLToPath } from "node:url";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { liveTheWeek } from "./week.ts";

const cli = fileURLToPath(new URL("../../daemon/cli.js", import.meta.url));

process.exitCode = await main();

async function main(): Promise<number> {
  if (!canUseLoopVolumes()) {
    console.error(`No week can be lived here: it ${whyNoLoopVolumes}.`);
    return 69;
  }
  const began = performance.now();
  try {
    const result = await liveTheWeek(cli, (line) => console.log(`  ${line}`));
    console.log(`  ${result.receipt.headline} ${result.receipt.advice}`);
    const { originals, sidecars, catalogueVersions } = result;
    console.log(
      `  ${originals} originals and ${sidecars} sidecars are in both archives, value by value; ` +
        `${catalogueVersions} versions of the catalogue are whole`,
    );
    console.log(`  took ${((performance.now() - began) / 60_000).toFixed(1)} min`);
    return 0;
  } catch (failure) {
    console.error(failure instanceof Error ? failure.message : String(failure));
    return 1;
  }
}
