/**
 * Which originals are not copied to which drive any more while that drive stays in: it read back differently too often,
 * or its file system can't hold the file. Whoever pulls the drive and puts it in again gets everything offered anew.
 */

import type { DriveId, OriginalId } from "../../shared/identity.ts";

export class GivenUp {
  readonly #pairs = new Map<DriveId, Set<OriginalId>>();
  readonly #differences = new Map<DriveId, Map<OriginalId, number>>();

  has(original: OriginalId, drive: DriveId): boolean {
    return this.#pairs.get(drive)?.has(original) ?? false;
  }

  add(original: OriginalId, drive: DriveId): void {
    const originals = this.#pairs.get(drive) ?? new Set();
    this.#pairs.set(drive, originals.add(original));
  }

  /** How often this original has read back differently on this drive, this time included. */
  differed(original: OriginalId, drive: DriveId): number {
    const counts = this.#differences.get(drive) ?? new Map<OriginalId, number>();
    this.#differences.set(drive, counts);
    const times = (counts.get(original) ?? 0) + 1;
    counts.set(original, times);
    return times;
  }

  driveCameAnew(drive: DriveId): void {
    this.#pairs.delete(drive);
    this.#differences.delete(drive);
  }
}
