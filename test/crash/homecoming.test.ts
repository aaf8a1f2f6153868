/** A short run of what `npm run crash -- homecoming` does at length: the daemon is killed again and again during one homecoming. */

import { fileURLToPath } from "node:url";
import { expect, test } from "vitest";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { killHomecoming } from "./homecoming.ts";

const cli = fileURLToPath(new URL("../../dist/daemon/cli.js", import.meta.url));
const onMedia = test.skipIf(!canUseLoopVolumes());

onMedia(
  `killed five times during one homecoming: it carries on, nothing half stands, nothing comes twice (${whyNoLoopVolumes})`,
  async () => {
    // SCRUBJAY_SEED=N repeats a run, as far as the machine keeps time.
    const seed = Number(process.env["SCRUBJAY_SEED"] ?? Date.now() % 1_000_000);
    console.log(`killed homecoming: SCRUBJAY_SEED=${seed}`);
    const wish = { kills: 5, seed, files: 80, bytesEach: 300_000, bytesPerSecond: 5e6 };
    // It throws where a promise is broken.
    const result = await killHomecoming(cli, wish, () => undefined);
    expect(result.beforeWork + result.whileCarrying + result.afterDone).toBe(5);
    expect(result.whileCarrying, "killed in the middle").toBeGreaterThan(0);
    expect(result.written).toBeLessThan(result.explained);
  },
  180_000,
);
