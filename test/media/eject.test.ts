/** Ejecting real file systems: unmounted when it is said so, and still in use when the system doesn't let go. */

import { execFileSync, spawn } from "node:child_process";
import { once } from "node:events";
import { afterEach, expect, test } from "vitest";
import { Computer, plainCard } from "../support/computer.ts";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";

const onMedia = test.skipIf(!canUseLoopVolumes());

let computer: Computer;
afterEach(async () => computer.end());

const mounted = (): string => execFileSync("cat", ["/proc/self/mountinfo"], { encoding: "utf8" });

onMedia(`a drive is unmounted clean, and one that a program uses stays (${whyNoLoopVolumes})`, async () => {
  computer = new Computer();
  const blue = computer.volume("Blue", "ext4", 32_000_000);
  await computer.start();
  await computer.introduce("Blue");
  const card = computer.card(32_000_000, (folder) =>
    plainCard(folder, { seed: 3, files: 4, bytesEach: 50_000 }),
  );
  card.mount(computer.at("CARD"));
  await computer.settled();

  const user = spawn("sleep", ["60"], { cwd: computer.trip("Blue"), stdio: "ignore" });
  try {
    await once(user, "spawn");
    const busy = await computer.scrubjay.run("eject", "Blue");
    expect(busy.status).toBe(74);
    expect(busy.errors).toMatch(/^scrubjay: Blue couldn't be unmounted: .*busy.*Don't unplug it yet\.\n$/s);
    expect((await computer.drive("Blue")).present).toBe(true);
  } finally {
    user.kill();
    await once(user, "exit");
  }

  expect(await computer.must("eject", "Blue")).toMatchObject({ out: "Blue may be unplugged.\n" });
  expect(mounted()).not.toContain(computer.at("Blue"));
  // Reference tool: e2fsck, read-only; 0 means that the file system is clean.
  execFileSync("e2fsck", ["-f", "-n", blue.image], { stdio: "ignore" });
  expect((await computer.drive("Blue")).present).toBe(false);

  await computer.must("eject", "card 1");
  expect(mounted()).not.toContain(computer.at("CARD"));
});
