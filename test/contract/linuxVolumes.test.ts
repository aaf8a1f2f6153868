/** The real adapter on this computer: a medium that is mounted where desktops mount is seen and goes again. */

import { rmSync } from "node:fs";
import { afterEach, expect, test } from "vitest";
import { SystemClock } from "../../daemon/platform/common/systemClock.ts";
import { LinuxVolumes } from "../../daemon/platform/linux/linuxVolumes.ts";
import { canUseLoopVolumes, makeVolume, whyNoLoopVolumes } from "../support/loopVolume.ts";

const folder = `/media/scrubjay test ${process.pid}`;
const loops = canUseLoopVolumes();
afterEach(() => {
  if (loops) rmSync(folder, { recursive: true, force: true });
});

test("the computer's own file system is never among the volumes", async () => {
  const volumes = await new LinuxVolumes(new SystemClock()).look();
  expect(volumes.filter((volume) => ["/", "/home", "/boot"].includes(volume.root))).toEqual([]);
});

test("watching begins and ends, also on a computer without USB", async () => {
  const stop = new AbortController();
  await new LinuxVolumes(new SystemClock()).watch(() => {}, stop.signal);
  stop.abort();
  await new LinuxVolumes(new SystemClock()).watch(() => {}, stop.signal);
});

test.skipIf(!loops)(
  `a mounted medium is seen with label and UUID, and is gone when unmounted (${whyNoLoopVolumes})`,
  async () => {
    const volumes = new LinuxVolumes(new SystemClock());
    const here = async () => (await volumes.look()).filter((volume) => volume.root === folder);
    expect(await here()).toEqual([]);
    const medium = makeVolume({ fs: "ext4", sizeBytes: 16_000_000, label: "MY CARD", at: folder });
    try {
      const [first] = await here();
      expect(first).toMatchObject({ label: "MY CARD", totalBytes: 16_000_000 });
      expect(first?.fsId).toMatch(/^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/); // RFC 9562 section 4.
      expect(await here()).toEqual([first]);
      medium.unmount();
      expect(await here()).toEqual([]);
      medium.mount();
      const [again] = await here();
      expect(again?.fsId).toBe(first?.fsId);
      expect(again?.id).not.toBe(first?.id);
    } finally {
      medium.remove();
    }
  },
);
