/**
 * `npm run crash -- [homecoming] [KILLS] [SEED]`: kills the daemon again and again during one card, or one homecoming, and
 * says what was found. Exit status: 0 every promise was kept, 1 one wasn't, 64 usage, 69 can't be done here.
 */

import { fileURLToPath } from "node:url";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { fullHomeKills, type HomeKillsResult, killHomecoming } from "./homecoming.ts";
import { fullKills, type KillsResult, killAgainAndAgain } from "./kills.ts";

const cli = fileURLToPath(new URL("../../daemon/cli.js", import.meta.url));

const usage = `Usage: npm run crash [-- [homecoming] KILLS [SEED]]

Kills the daemon KILLS times (200) while it copies one card to two drives on loop devices, and looks at card and drives
after each kill; with \`homecoming\`, while a trip is brought home (50 kills). SEED chooses the moments; a run without it prints the one it took. Takes about two seconds a kill.
`;

process.exitCode = await main(process.argv.slice(2));

async function main(given: readonly string[]): Promise<number> {
  const goesHome = given[0] === "homecoming";
  const words = goesHome ? given.slice(1) : given;
  const [kills = goesHome ? 50 : 200, seed = Date.now() % 1_000_000, ...more] = words.map(Number);
  if (![kills, seed].every(Number.isSafeInteger) || kills < 1 || seed < 0 || more.length > 0) {
    console.error(usage);
    return 64;
  }
  if (!canUseLoopVolumes()) {
    console.error(`Nothing can be killed here: it ${whyNoLoopVolumes}.`);
    return 69;
  }
  console.log(`${kills} kills, seed ${seed}`);
  const began = performance.now();
  try {
    const say = (line: string): void => console.log(`  ${line}`);
    if (goesHome) reportHome(await killHomecoming(cli, { ...fullHomeKills, kills, seed }, say));
    else report(await killAgainAndAgain(cli, { ...fullKills, kills, seed }, say));
    console.log(`  took ${((performance.now() - began) / 60_000).toFixed(1)} min`);
    return 0;
  } catch (failure) {
    console.error(failure instanceof Error ? failure.message : String(failure));
    return 1;
  }
}

function report(result: KillsResult): void {
  const { beforeWork, whileCopying, afterDone, leftUnfinished, leftUntold, leftUnlisted } = result;
  const written = result.written.map(({ drive, times }) => `${times.toFixed(2)} on ${drive}`).join(", ");
  const lines = [
    `killed: ${beforeWork} times before it copied, ${whileCopying} while it copied, ${afterDone} after all was copied`,
    `found after a kill: unfinished files ${leftUnfinished} times; a final name that the journal didn't tell of yet ` +
      `${leftUntold} times; a copy that the checksum list didn't name yet ${leftUnlisted} times`,
    `asked for its verdict ${result.asked} times; it said clear ${result.saidClear} times, and all was there each time`,
    "the card is as it was, and nothing was ever written to its device",
    "nothing that stood under a final name went, changed or was written again; nothing half stood there",
    `bytes written, in sizes of the card: ${written}; the kills explain ${result.explained.toFixed(2)} at most`,
    "no copy was made or verified twice: every journal tells of each once",
    "in the end both drives hold the whole card, xxhsum agrees, incoming/ is empty, the card is clear",
  ];
  for (const line of lines) console.log(`  ${line}`);
}

function reportHome(result: HomeKillsResult): void {
  const { beforeWork, whileCarrying, afterDone, leftUnfinished, leftUnlisted, files, written, explained } =
    result;
  const lines = [
    `killed: ${beforeWork} times before it carried anything, ${whileCarrying} while it did, ${afterDone} after all was home`,
    `found after a kill: unfinished files ${leftUnfinished} times; a file that the list didn't name yet ${leftUnlisted} times`,
    "nothing that stood in the archive went, changed or was written again; nothing half stood there",
    `bytes written, in sizes of the trip: ${written.toFixed(2)}; the kills explain ${explained.toFixed(2)} at most`,
    `in the end ${files} files stand there, each once, sha256sum and xxhsum agree, and somebody's file stands as it was`,
  ];
  for (const line of lines) console.log(`  ${line}`);
}
