/**
 * What this computer knows of work files and their versions. A part of the ledger. Versions and who holds them follow
 * from facts; how files looked when they were last read, and what is being put in place, concern this computer alone.
 */

import type { ContentHash, DriveId, RelativePath, TripId } from "../../shared/identity.ts";
import type { Bytes, Count, Instant } from "../../shared/units.ts";

/** A version of a work file. */
export interface EditVersion {
  /** The name of its fact. */
  readonly id: string;
  readonly trip: TripId;
  /** Below the trip's folder. */
  readonly path: RelativePath;
  /** "": it was deleted. */
  readonly hash: ContentHash | "";
  readonly size: Bytes;
  readonly modified: Instant;
  readonly at: Instant;
  /** Where it was first seen. */
  readonly drive: DriveId;
  /** Versions that it follows. */
  readonly after: readonly string[];
}

/** All that is known of one path. */
export interface PathEdits {
  readonly versions: readonly EditVersion[];
  /** Versions that each drive held in its place at some time. */
  readonly copies: ReadonlyMap<DriveId, ReadonlySet<string>>;
}

/** A newest version, and the drives that hold it in place. */
export interface EditHead extends EditVersion {
  readonly drives: readonly DriveId[];
}

/** Of a trip's work files, those that were deleted apart. */
export interface EditSummary {
  readonly files: Count;
  readonly bytes: Bytes;
  readonly deleted: Count;
  /** Of how many files each drive holds the newest version. */
  readonly held: ReadonlyMap<DriveId, Count>;
  /** Versions that stand in place of another made apart, and nobody has said that they know. */
  readonly conflicts: Count;
}

/** A work file as it looked when it was last read on a drive. */
export interface EditLook {
  readonly path: RelativePath;
  readonly size: Bytes;
  readonly modified: Instant;
  readonly hash: ContentHash;
}

/** A version that is being put in place on a drive. Paths are below the drive's root. */
export interface SwapIntent {
  readonly number: number;
  readonly drive: DriveId;
  readonly trip: TripId;
  readonly path: RelativePath;
  /** Where the earlier version goes; undefined where there is none. */
  readonly earlier: RelativePath | undefined;
  /** The new version, unfinished; undefined where the file is only to leave its place. */
  readonly temp: RelativePath | undefined;
  readonly size: Bytes;
  readonly modified: Instant;
  /** All intents of one number go together or not at all. */
  readonly unit: string;
}

export interface EditLedger {
  /** Another number as soon as anything about versions or who holds them changed. */
  mark(): number;
  /** The newest versions, deletions too, in the order of paths; several of one path where two computers saw it. */
  heads(trip: TripId): readonly EditHead[];
  version(id: string): EditVersion | undefined;
  /** @param pathKey names are compared by key */
  ofPath(trip: TripId, pathKey: string): PathEdits;
  /** By path key. */
  ofTrip(trip: TripId): ReadonlyMap<string, PathEdits>;
  summary(trip: TripId): EditSummary;
  /** Latest first. */
  conflicts(trip: TripId): readonly EditVersion[];

  /** By path key. */
  looks(drive: DriveId, trip: TripId): ReadonlyMap<string, EditLook>;
  /** undefined: it isn't there any more. */
  setLooks(drive: DriveId, trip: TripId, looks: ReadonlyMap<string, EditLook | undefined>): void;

  /** Written down before anything of the unit moves. @returns their numbers, in order */
  intendSwaps(swaps: readonly Omit<SwapIntent, "number">[]): readonly number[];
  endSwaps(numbers: readonly number[]): void;
  swaps(drive: DriveId): readonly SwapIntent[];
}
