/** Hints of the platform, on folders of this test's own. */

import { mkdtempSync, rmSync, symlinkSync, unlinkSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { expect, test } from "vitest";
import { watchFileSystems } from "../../daemon/platform/linux/hints.ts";
import { until } from "../support/computer.ts";

// udev(7): /dev/disk/by-uuid holds a link for each file system, named by its UUID, to a device that may go at any time.
test("a file system that udev names is a hint, and so is its going; after the stop there are none", async () => {
  const folder = mkdtempSync(join(tmpdir(), "scrubjay-hints-"));
  const stop = new AbortController();
  let hints = 0;
  try {
    watchFileSystems(() => (hints += 1), stop.signal, folder);
    const link = join(folder, "FF67-F827");
    // The watcher begins a little after it was asked to, and says nothing of what was there before.
    await until("a new name is a hint", async () => {
      if (hints > 0) return true;
      rmSync(link, { force: true });
      symlinkSync("../../no-such-disk", link);
      await sleep(100);
      return false;
    });
    await sleep(300);
    const before = hints;
    unlinkSync(link);
    await until("its going is a hint", () => hints > before);
    stop.abort();
    await sleep(50);
    const last = hints;
    symlinkSync("../../no-such-disk", link);
    await sleep(200);
    expect(hints).toBe(last);
  } finally {
    stop.abort();
    rmSync(folder, { recursive: true, force: true });
  }
});

test("a computer without udev gives no hints and no error", () => {
  watchFileSystems(() => {}, new AbortController().signal, "/no/such/folder");
});
