/**
 * What became of a copy that isn't any more what was verified: damaged, or written by another program? A medium that
 * fails changes bytes and leaves the entry in its folder alone; a program that writes a file gives it a new time, or at
 * least another size with its structure whole.
 */

import type { LossReason } from "../../shared/facts.ts";
import type { Bytes, Instant } from "../../shared/units.ts";

export interface Standing {
  readonly size: Bytes;
  readonly modified: Instant;
  /** What is wrong with its structure; undefined if nothing is or if it can't be told. */
  readonly brokenBy: string | undefined;
}

/** ms. FAT keeps local time without its zone: the same entry may be told some quarters of an hour off (Linux vfat). */
const zoneStep = 15 * 60_000;

/** ms. FAT keeps times in steps of two seconds, exFAT in steps of 10 ms (exFAT specification 7.4.8; Linux vfat). */
const timeStep = 2_000;

/**
 * @param verified size of the copy, and the times it may have been given; none where that isn't known
 * @param now what stands there, with other bytes
 */
export function whatBecame(
  verified: { readonly size: Bytes; readonly times: readonly Instant[] },
  now: Standing,
): Extract<LossReason, "damaged" | "changed"> {
  const sameTime =
    verified.times.length === 0 || verified.times.some((time) => nearlySame(Math.abs(now.modified - time)));
  if (now.size === verified.size && sameTime) return "damaged";
  // Cut short or overwritten: whoever writes pictures leaves them whole.
  if (now.brokenBy !== undefined || now.size === 0) return "damaged";
  if (sameTime && now.size < verified.size) return "damaged";
  return "changed";
}

function nearlySame(apart: number): boolean {
  const off = apart % zoneStep;
  return apart < 27 * 3_600_000 && (off < timeStep || zoneStep - off < timeStep);
}
