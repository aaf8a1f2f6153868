/**
 * The kernel's table of mounts, /proc/self/mountinfo (proc(5), "mountinfo"). Parsing is pure. A mount point's blanks,
 * tabs, line ends and backslashes are written there as three octal digits.
 */

import { readFile } from "node:fs/promises";
import { pathFromBytes } from "./pathBytes.ts";

export interface Mount {
  /** The kernel's number for this mount; given out again after it is gone. */
  readonly id: string;
  /** `major:minor` of the mounted file system. */
  readonly device: string;
  /** The folder of the file system that is mounted; `/` unless it is a bind mount. */
  readonly root: string;
  readonly at: string;
  readonly fsType: string;
  /** The device file for a file system on one, such as `/dev/sda1`. */
  readonly source: string;
  /** Options of this mount and of the file system together. */
  readonly options: readonly string[];
}

/** Every mount now; none where the system has no such table. Never rejects. */
export async function readMountTable(): Promise<readonly Mount[]> {
  try {
    return parseMountTable(await readFile("/proc/self/mountinfo"));
  } catch {
    return []; // Not Linux: everything that asks treats an unknown mount as the lesser promise.
  }
}

/** Every mount, in the kernel's order: a later one at the same place covers the earlier. Unreadable lines are left out. */
export function parseMountTable(raw: Uint8Array): readonly Mount[] {
  const mounts: Mount[] = [];
  for (const line of pathFromBytes(raw).split("\n")) {
    const [mine = "", theirs = ""] = line.split(" - ", 2);
    const [id, , device, root, at, options] = mine.split(" ");
    const [fsType, source, more] = theirs.split(" ");
    if (
      id === undefined ||
      device === undefined ||
      root === undefined ||
      at === undefined ||
      fsType === undefined
    )
      continue;
    mounts.push({
      id,
      device,
      root: unescapeOctal(root),
      at: unescapeOctal(at),
      fsType,
      source: unescapeOctal(source ?? ""),
      options: `${options ?? ""},${more ?? ""}`.split(",").filter((option) => option !== ""),
    });
  }
  return mounts;
}

/** The mount that `path` (absolute, without links) stands on; undefined only for an empty table. */
export function mountOf(mounts: readonly Mount[], path: string): Mount | undefined {
  let best: Mount | undefined;
  for (const mount of mounts) {
    const inside = path === mount.at || path.startsWith(mount.at === "/" ? "/" : `${mount.at}/`);
    if (inside && mount.at.length >= (best?.at.length ?? 0)) best = mount;
  }
  return best;
}

function unescapeOctal(text: string): string {
  return text.replace(/\\([0-7]{3})/g, (_, digits: string) =>
    String.fromCharCode(Number.parseInt(digits, 8)),
  );
}
