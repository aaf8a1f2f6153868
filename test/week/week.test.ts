/** The week of `npm run week`, as it stands: it takes about two minutes, most of them waiting for quiet. */

import { expect, test } from "vitest";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { liveTheWeek } from "./week.ts";

const onMedia = test.skipIf(!canUseLoopVolumes());

onMedia(
  `a week with three drives, edits and a lost primary comes home whole from the two that are left (${whyNoLoopVolumes})`,
  async () => {
    const { originals, sidecars, catalogueVersions } = await liveTheWeek(undefined, () => undefined);
    expect(originals).toBeGreaterThan(100);
    expect(sidecars).toBeGreaterThan(4);
    expect(catalogueVersions).toBeGreaterThan(3);
  },
  400_000,
);
