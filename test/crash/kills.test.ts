/**
 * A short run of what `npm run crash` does at length: the daemon is killed eight times during one card, and after
 * each kill a checker of its own looks whether every promise was kept.
 */

import { fileURLToPath } from "node:url";
import { expect, test } from "vitest";
import { demoCard } from "../cards/generate/card.ts";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { killAgainAndAgain } from "./kills.ts";

const cli = fileURLToPath(new URL("../../dist/daemon/cli.js", import.meta.url));
const onMedia = test.skipIf(!canUseLoopVolumes());

onMedia(
  `killed eight times during one card: nothing half stands, nothing goes, nothing is done twice (${whyNoLoopVolumes})`,
  async () => {
    // SCRUBJAY_SEED=N repeats a run, as far as the machine keeps time.
    const seed = Number(process.env["SCRUBJAY_SEED"] ?? Date.now() % 1_000_000);
    const wish = {
      kills: 8,
      seed,
      card: { ...demoCard, pairsPerBody: 12, long: 720, short: 480, lights: 1 },
      volumeBytes: 64_000_000,
      cardBytesPerSecond: 6e6,
    };
    console.log(`killed daemon: SCRUBJAY_SEED=${seed}`);
    // It throws where the checker finds a promise broken.
    const result = await killAgainAndAgain(cli, wish, () => undefined);
    const { beforeWork, whileCopying, afterDone, written, explained } = result;
    expect(beforeWork + whileCopying + afterDone).toBe(8);
    expect(whileCopying, "killed in the middle").toBeGreaterThan(0);
    for (const { drive, times } of written) {
      expect(times, drive).toBeGreaterThanOrEqual(1);
      expect(times, drive).toBeLessThan(explained);
    }
  },
  180_000,
);
