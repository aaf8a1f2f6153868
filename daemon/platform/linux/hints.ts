/**
 * Hints that a volume may have come or gone: USB devices plugged in or out, file systems that udev finds, and folders
 * appearing where desktops mount. All are hints only. A computer without USB, or without those folders, gives fewer.
 */

import { existsSync, watch as watchFolder } from "node:fs";
import { watch } from "chokidar";
import { mountRoots } from "./portable.ts";

/** Watches the folders below the mount roots: `/media/NAME`, `/media/USER/NAME` and the like. */
export function watchMountRoots(hint: () => void, stop: AbortSignal): void {
  const present = mountRoots.filter((root) => existsSync(root));
  const watcher = watch(present, {
    depth: 1,
    ignoreInitial: true,
    followSymlinks: false,
    // Only folders matter; a medium mounted at depth 1 would otherwise have its files watched.
    ignored: (_, stats) => stats !== undefined && !stats.isDirectory(),
  });
  watcher.on("all", hint);
  watcher.on("error", () => {}); // Costs hints only: the engine looks from time to time anyway.
  stop.addEventListener("abort", () => void watcher.close(), { once: true });
}

/** Where udev names each file system that it finds (udev(7), "by-uuid"). */
const fileSystemsFolder = "/dev/disk/by-uuid";

/**
 * Watches the names of file systems. A card that is put into a reader which stays plugged in is no new USB device; udev
 * names its file system within a tenth of a second of the kernel's own event (seen in an emulated computer).
 */
export function watchFileSystems(hint: () => void, stop: AbortSignal, folder = fileSystemsFolder): void {
  if (!existsSync(folder)) return;
  // Node's own watcher: chokidar said nothing of links that lead nowhere (seen in this function's test).
  const watcher = watchFolder(folder, { signal: stop });
  watcher.on("change", hint);
  watcher.on("error", () => {}); // Costs hints only.
}

/** Listens for USB devices. A disk shows up one to two seconds after its device (seen), so the hint is given again. */
export async function watchUsb(hint: () => void, stop: AbortSignal): Promise<void> {
  try {
    const { usb } = await import("usb");
    // Asked first: where the kernel has no USB the library's listener would end the process with a rejection that
    // nobody can catch (seen with version 3.1).
    await usb.getDevices();
    if (stop.aborted) return;
    const timers = new Set<NodeJS.Timeout>();
    const changed = (): void => {
      hint();
      for (const delay of [1_500, 3_000]) {
        const timer = setTimeout(() => {
          timers.delete(timer);
          hint();
        }, delay);
        timers.add(timer);
      }
    };
    usb.addEventListener("connect", changed);
    usb.addEventListener("disconnect", changed);
    stop.addEventListener(
      "abort",
      () => {
        usb.removeEventListener("connect", changed);
        usb.removeEventListener("disconnect", changed);
        for (const timer of timers) clearTimeout(timer);
      },
      { once: true },
    );
  } catch {
    // No USB here, or not for this user: other hints and the regular look remain.
  }
}
