/**
 * Names of file systems by the kernel's magic number (statfs(2), linux/magic.h), and which of them let a read go past
 * the cache. Data and two pure functions.
 */

import type { ReadBack } from "../../../shared/facts.ts";

const names: ReadonlyMap<number, string> = new Map([
  [0xef53, "ext4"],
  [0x65735546, "fuseblk"],
  [0x2011bab0, "exfat"],
  [0x4d44, "vfat"],
  [0x7366746e, "ntfs3"],
  [0x9123683e, "btrfs"],
  [0x58465342, "xfs"],
  [0x01021994, "tmpfs"],
  [0xf2f52010, "f2fs"],
  [0x482b, "hfsplus"],
  [0x794c7630, "overlay"],
  [0x2fc12fc1, "zfs"],
  [0x6969, "nfs"],
  [0xff534d42, "cifs"],
  [0xfe534d42, "smb2"],
]);

/**
 * Where O_DIRECT reads come from the medium. Left out on purpose: FUSE (the helper answers from its own buffered
 * device: seen, a flipped bit on the medium stayed unseen), tmpfs (no medium), btrfs and f2fs (compressed data is read
 * through the cache), zfs (takes the flag, ignores it), network file systems (another computer's cache), overlay
 * (depends on what lies below). Those are read back all the same and say `cache`.
 */
const honoursDirect: ReadonlySet<string> = new Set(["ext4", "exfat", "vfat", "ntfs3", "xfs"]);

/** The name for the magic number of statfs; the number in hex where it has none here. */
export function fileSystemName(magic: number): string {
  return names.get(magic) ?? `0x${magic.toString(16)}`;
}

/** How a read for verification reaches the medium. `options`: of the mount. */
export function readBackOf(fsType: string, options: readonly string[]): ReadBack {
  // ext4 reads through the cache when it also journals data (Documentation/filesystems/ext4: data=journal
  // "disables delayed allocation and O_DIRECT support").
  return honoursDirect.has(fsType) && !options.includes("data=journal") ? "direct" : "cache";
}
