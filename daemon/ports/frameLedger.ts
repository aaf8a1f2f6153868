/**
 * What this computer knows of frames: in the order they were taken, with their files and copies, what was said of them,
 * and the sidecars that rate them. A part of the ledger port; durable like all of it.
 */

import type { Taken } from "../../shared/camera.ts";
import type { OriginalRole, ReadBack } from "../../shared/facts.ts";
import type {
  CardId,
  ContentHash,
  DriveId,
  FrameId,
  OriginalId,
  RelativePath,
  TripId,
} from "../../shared/identity.ts";
import type { Bytes, Count, Instant } from "../../shared/units.ts";

/** A shooting day of a trip. */
export interface DayRow {
  /** "" for frames of none. */
  readonly day: string;
  readonly frames: Count;
  readonly files: Count;
  readonly bytes: Bytes;
}

/** What one drive holds of a shooting day, or of what is no frame. */
export interface HeldRow {
  /** "" for what is no frame, and for frames of no day. */
  readonly day: string;
  readonly drive: DriveId;
  readonly files: Count;
  readonly bytes: Bytes;
  /** How many were read back perhaps from a cache. */
  readonly unsure: Count;
}

/** All files of a shooting day, or of what is no frame. */
export interface ShotRow {
  readonly day: string;
  readonly frames: Count;
  readonly files: Count;
  readonly bytes: Bytes;
}

export interface FrameCopyRow {
  readonly drive: DriveId;
  /** Below the trip's folder. */
  readonly path: RelativePath;
  readonly readBack: ReadBack;
  readonly checked: Instant;
}

export interface FrameFileRow {
  readonly original: OriginalId;
  readonly hash: ContentHash;
  readonly size: Bytes;
  readonly path: RelativePath;
  readonly role: OriginalRole;
  readonly copies: readonly FrameCopyRow[];
}

export interface FrameRow {
  readonly id: FrameId;
  readonly trip: TripId;
  readonly stem: RelativePath;
  readonly day: string;
  readonly taken: Taken;
  readonly letter: string;
  readonly serial: string;
  readonly model: string;
  /** As last seen in its sidecar; undefined where none says any that holds. */
  readonly rating: number | undefined;
  /** What was last said by someone who looked at it. */
  readonly fine: boolean | undefined;
  /** By path. */
  readonly files: readonly FrameFileRow[];
}

/** A file of a card that is this original. */
export interface FrameSighting {
  readonly original: OriginalId;
  readonly card: CardId;
  readonly path: RelativePath;
  /** What is wrong with it as the card gives it; "" where nothing is. */
  readonly damage: string;
}

/** A frame that someone looked at and found not fine. */
export interface DoubtedRow {
  readonly frame: FrameId;
  readonly trip: TripId;
  readonly stem: RelativePath;
  /** Cards that showed it. */
  readonly cards: readonly CardId[];
}

/** A frame of a day, as far as choosing a few of them goes. */
export interface DayFrameRow {
  readonly id: FrameId;
  readonly letter: string;
  /** Local civil time in the trip's zone, `YYYY-MM-DDTHH:mm:ss.SSS`. */
  readonly local: string;
  readonly cards: readonly CardId[];
}

/** A sidecar as it was last read. */
export interface SidecarRow {
  /** Below the trip's folder. */
  readonly path: RelativePath;
  readonly size: Bytes;
  readonly modified: Instant;
  readonly hash: ContentHash;
  /** undefined where it says none, or none that holds. */
  readonly rating: number | undefined;
}

/** A sidecar that is being replaced on a drive. Paths are below the drive's root. */
export interface RatingIntent {
  readonly number: number;
  readonly drive: DriveId;
  readonly trip: TripId;
  readonly path: RelativePath;
  /** Where the earlier version goes; undefined where there is none. */
  readonly earlier: RelativePath | undefined;
  readonly temp: RelativePath;
}

export interface FrameLedger {
  /** In order. */
  days(trip: TripId): readonly DayRow[];
  /** All files of a trip by day, in order; what is no frame last. */
  shotByDay(trip: TripId): readonly ShotRow[];
  /** What each drive holds of them. */
  heldByDay(trip: TripId): readonly HeldRow[];
  /** Trips that have frames. */
  trips(): readonly TripId[];
  /** How many frames the trip has, or one day of it. */
  count(trip: TripId, day: string | undefined): Count;
  /** Frames in the order of day, moment and stem. */
  page(trip: TripId, day: string | undefined, from: Count, most: Count): readonly FrameRow[];
  /** Those of these that are known, in no order. */
  byId(frames: readonly FrameId[]): readonly FrameRow[];
  /** The trip's frames from its latest to its first, a page of them. */
  latestFirst(trip: TripId, from: Count, most: Count): readonly FrameId[];
  sightings(frame: FrameId): readonly FrameSighting[];
  ofDay(trip: TripId, day: string): readonly DayFrameRow[];

  doubted(): readonly DoubtedRow[];
  /** When someone last said something of the frame. */
  lastLook(frame: FrameId): Instant | undefined;

  /** Sidecars of these frames, by frame. */
  sidecars(frames: readonly FrameId[]): ReadonlyMap<FrameId, SidecarRow>;
  /** undefined: none stands there any more. */
  setSidecars(sidecars: ReadonlyMap<FrameId, SidecarRow | undefined>): void;

  /** @returns the intent's number */
  intendRating(intent: Omit<RatingIntent, "number">): number;
  endRating(intent: number): void;
  ratingIntents(drive: DriveId): readonly RatingIntent[];
}
