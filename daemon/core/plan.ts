/**
 * What to copy from a card to which drives: a value that can be printed and tested. Derived each time from what is on
 * the card, what is known and what is plugged in; nothing is remembered from plan to plan.
 */

import type { OriginalRole } from "../../shared/facts.ts";
import type { DriveId, OriginalId, RelativePath, TripId } from "../../shared/identity.ts";
import { type Bytes, bytes, type Count, count, type Instant } from "../../shared/units.ts";

/** A file of the card, with what is known of it. */
export interface PlanFile {
  readonly path: RelativePath;
  readonly size: Bytes;
  readonly modified: Instant;
  readonly role: OriginalRole;
  /** Undefined: never read whole as it stands now. */
  readonly original: OriginalId | undefined;
  /** The trip it is filed in, or will be. */
  readonly trip: TripId;
  readonly heldBy: readonly DriveId[];
}

/** Files that are copied and named together; an extra is alone. */
export interface PlanGroup {
  readonly key: string;
  readonly files: readonly PlanFile[];
}

/** A drive that is plugged in and may be written. */
export interface PlanDrive {
  readonly id: DriveId;
  readonly trips: readonly TripId[];
  readonly freeBytes: Bytes;
  readonly totalBytes: Bytes;
  /** A file takes whole blocks of this size. */
  readonly blockBytes: Bytes;
}

export interface PlannedFile extends PlanFile {
  /** The drives that lack it; never empty. */
  readonly targets: readonly DriveId[];
}

export interface CopyJob {
  readonly key: string;
  readonly files: readonly PlannedFile[];
}

export interface CopyPlan {
  readonly jobs: readonly CopyJob[];
  /** What does not fit, drive by drive. */
  readonly unfit: ReadonlyMap<DriveId, { readonly files: Count; readonly bytes: Bytes }>;
  /** Bytes to be read from the card. */
  readonly readBytes: Bytes;
}

/** Bounds of the reserve that is kept free on each drive; see the defaults for their reasons. */
export interface Reserve {
  readonly reserveShare: number;
  readonly reserveBytesMin: number;
  readonly reserveBytesMax: number;
}

export function reserveOf(total: Bytes, reserve: Reserve): Bytes {
  const share = Math.ceil(total * reserve.reserveShare);
  return bytes(Math.min(reserve.reserveBytesMax, Math.max(reserve.reserveBytesMin, share)));
}

/**
 * @param groups in the order the card is to be read
 * @param givenUp whether copying this file to this drive (undefined: reading it at all) was given up for now
 */
export function planCopies(
  groups: readonly PlanGroup[],
  drives: readonly PlanDrive[],
  reserve: Reserve,
  givenUp: (path: RelativePath, drive: DriveId | undefined) => boolean,
): CopyPlan {
  const room = new Map(
    drives.map((drive) => [drive.id, drive.freeBytes - reserveOf(drive.totalBytes, reserve)]),
  );
  const unfit = new Map<DriveId, { files: Count; bytes: Bytes }>();
  const jobs: CopyJob[] = [];
  let readBytes = 0;
  for (const group of groups) {
    const open = group.files.filter((file) => !givenUp(file.path, undefined));
    const lacking = (file: PlanFile, drive: PlanDrive): boolean =>
      drive.trips.includes(file.trip) && !file.heldBy.includes(drive.id) && !givenUp(file.path, drive.id);
    const fitting = new Set<DriveId>();
    for (const drive of drives) {
      const wanted = open.filter((file) => lacking(file, drive));
      if (wanted.length === 0) continue;
      const needed = wanted.reduce((sum, file) => sum + onMedium(file.size, drive.blockBytes), 0);
      const left = room.get(drive.id) ?? 0;
      // A drive that is full for one frame takes none after it: what lacks stays one piece of the card's order.
      if (unfit.has(drive.id) || needed > left) {
        const before = unfit.get(drive.id) ?? { files: count(0), bytes: bytes(0) };
        unfit.set(drive.id, {
          files: count(before.files + wanted.length),
          bytes: bytes(before.bytes + needed),
        });
        continue;
      }
      room.set(drive.id, left - needed);
      fitting.add(drive.id);
    }
    const files = open
      .map((file) => ({
        ...file,
        targets: drives
          .filter((drive) => fitting.has(drive.id) && lacking(file, drive))
          .map((drive) => drive.id),
      }))
      .filter((file) => file.targets.length > 0);
    if (files.length === 0) continue;
    jobs.push({ key: group.key, files });
    readBytes += files.reduce((sum, file) => sum + file.size, 0);
  }
  return { jobs, unfit, readBytes: bytes(readBytes) };
}

function onMedium(size: Bytes, block: Bytes): number {
  return Math.ceil(size / block) * block;
}
