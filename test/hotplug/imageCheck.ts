/**
 * Looks at images from outside the guest, by general tools alone: what was written to them, whether they are clean, and
 * what stands on a drive. Images are opened for reading only.
 */

import { spawnSync } from "node:child_process";
import { copyFileSync, mkdtempSync, readFileSync, rmdirSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { sha256Below, xxhsumAgrees } from "../support/generalTools.ts";

export type ImageKind = "exfat" | "ext4" | "fat";

/** Keeps an image as it is now. @returns where. */
export function keepForComparison(image: string): string {
  const kept = `${image}.before`;
  copyFileSync(image, kept);
  return kept;
}

/**
 * Offsets, ten at most, at which an image isn't what it was, apart from what a mount marks: in exFAT the volume's flags
 * and its percentage in use ("exFAT file system specification", 3.1.13 and 3.1.18, the two fields that the boot
 * checksum leaves out for that reason), in FAT32 the byte of its state ("fatgen103", BS_Reserved1).
 */
export function differencesOf(before: string, image: string, kind: "exfat" | "fat"): readonly number[] {
  const marks = kind === "exfat" ? [106, 107, 112] : [65];
  const [was, is] = [readFileSync(before), readFileSync(image)];
  if (was.length !== is.length) return [Math.min(was.length, is.length)];
  const different: number[] = [];
  for (let from = 0; from < was.length && different.length < 10; from += 4096) {
    if (was.subarray(from, from + 4096).equals(is.subarray(from, from + 4096))) continue;
    for (let at = from; at < Math.min(from + 4096, was.length); at += 1)
      if (was[at] !== is[at] && !marks.includes(at)) different.push(at);
  }
  return different.slice(0, 10);
}

/** What the file system's own checker says without mending anything; `clean` by its exit status. */
export function checkedBy(
  image: string,
  kind: ImageKind,
): { readonly clean: boolean; readonly said: string } {
  const command = {
    exfat: ["fsck.exfat", "-n", image],
    ext4: ["e2fsck", "-f", "-n", image],
    fat: ["fsck.fat", "-n", image],
  }[kind];
  const { status, stdout, stderr } = spawnSync(command[0] ?? "", command.slice(1), { encoding: "utf8" });
  return { clean: status === 0, said: `${stdout}${stderr}`.trim().split("\n").slice(-2).join(" / ") };
}

/** Every file in a folder of an image as SHA-256, and how many of its checksum list xxhsum finds as listed. */
export function standsOn(
  image: string,
  kind: "exfat" | "ext4",
  folder: string,
): { readonly sums: readonly string[]; readonly listed: number } {
  return mounted(image, kind, (at) => {
    const trip = join(at, folder);
    return { sums: [...sha256Below(trip).values()], listed: xxhsumAgrees(trip) };
  });
}

/** Mounts an image read-only for as long as `look` takes. */
export function mounted<T>(image: string, kind: "exfat" | "ext4", look: (at: string) => T): T {
  const at = mkdtempSync(join(tmpdir(), "scrubjay-look-"));
  const device = run("losetup", "--read-only", "--find", "--show", image);
  try {
    if (kind === "exfat") run("mount.exfat-fuse", "-o", "ro", device, at);
    else run("mount", "-o", "ro,noload", device, at);
    try {
      return look(at);
    } finally {
      run("umount", at);
    }
  } finally {
    // The FUSE helper lets go a little after umount has returned.
    for (let attempt = 0; attempt < 40; attempt += 1) {
      if (spawnSync("losetup", ["--detach", device]).status === 0) break;
      spawnSync("sleep", ["0.05"]);
    }
    rmdirSync(at);
  }
}

function run(command: string, ...args: readonly string[]): string {
  const silent = command === "mount.exfat-fuse"; // It stays in the background with the streams it was given.
  const done = spawnSync(command, args, { encoding: "utf8", stdio: silent ? "ignore" : "pipe" });
  if (done.status !== 0) throw new Error(`${command} ${args.join(" ")}: ${done.stderr ?? ""}`);
  return (done.stdout ?? "").trim();
}
