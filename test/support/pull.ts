/**
 * Pulling a mounted volume without a word, and putting the same one in again. As udisks does it when a cable goes:
 * the mount is away at once, files that are open stay open, and the mount point is an empty folder.
 */

import { execFileSync, spawnSync } from "node:child_process";
import type { LoopVolume } from "./loopVolume.ts";

export function pull(volume: LoopVolume): void {
  execFileSync("umount", ["--lazy", volume.at]);
}

/** Mounts what was pulled at the same folder. */
export function putBack(volume: LoopVolume): void {
  let said = "";
  // The device is busy for a moment while the last file on it is closed.
  for (let attempt = 0; attempt < 100; attempt += 1) {
    const { status, stderr } = spawnSync("mount", [volume.device, volume.at], { encoding: "utf8" });
    if (status === 0) return;
    said = stderr;
    spawnSync("sleep", ["0.05"]);
  }
  throw new Error(`${volume.device} can't be mounted again: ${said}`);
}
