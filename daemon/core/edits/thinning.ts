/**
 * Which earlier versions are let go: all of the last day stay, then the last of each day, as far as the history's share
 * of the drive goes; the oldest go first. What is kept for a reason (the last version of a deleted file, the other side
 * of a conflict nobody knows of) is never among them.
 */

import type { RelativePath } from "../../../shared/identity.ts";
import type { Bytes, Instant } from "../../../shared/units.ts";

export interface KeptVersion {
  /** Below the drive's root. */
  readonly path: RelativePath;
  /** The work file's path. */
  readonly work: RelativePath;
  /** When it was put there. */
  readonly at: Instant;
  /** The day of that moment, as the trip counts days. */
  readonly day: string;
  readonly size: Bytes;
  readonly keep: boolean;
}

const oneDay = 24 * 3_600_000;

/** @param room bytes that the history may take */
export function thinOut(versions: readonly KeptVersion[], now: Instant, room: Bytes): readonly KeptVersion[] {
  const gone = new Set<KeptVersion>();
  const lastOfDay = new Map<string, KeptVersion>();
  const oldestFirst = [...versions].sort((a, b) => a.at - b.at || (a.path < b.path ? -1 : 1));
  for (const version of oldestFirst) {
    const key = `${version.work}\n${version.day}`;
    const before = lastOfDay.get(key);
    lastOfDay.set(key, version);
    // A clock that jumped lets nothing go: what is dated ahead counts as of today.
    if (before !== undefined && !before.keep && now - before.at > oneDay) gone.add(before);
  }
  let taken = versions.reduce((sum, version) => sum + (gone.has(version) ? 0 : version.size), 0);
  for (const version of oldestFirst) {
    if (taken <= room) break;
    if (gone.has(version) || version.keep) continue;
    gone.add(version);
    taken -= version.size;
  }
  return [...gone];
}
