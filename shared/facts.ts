/**
 * Knowledge as facts. A fact is true for good once it is written: an original exists, a card showed it, a drive holds
 * a copy. The computer's ledger is what follows from all facts; every drive's journal carries the trip's facts, so
 * that any one drive can tell a new computer everything. Facts are idempotent: the same fact twice changes nothing.
 */

import type { Taken } from "./camera.ts";
import type { CardId, ContentHash, DriveId, FrameId, OriginalId, RelativePath, TripId } from "./identity.ts";
import type { Bytes, Instant } from "./units.ts";

/** How a copy was read back: past every cache of this computer, after a new mount, or perhaps from a cache. */
export type ReadBack = "direct" | "remount" | "cache";

/** What a card's file looked like without reading it whole: the answer to "have I seen this file on this card". */
export interface QuickFingerprint {
  readonly size: Bytes;
  /** Modification time, ms since the epoch, as the file system gives it. */
  readonly modified: Instant;
  /** XXH64 over the first and the last 64 KiB. */
  readonly ends: ContentHash;
}

export type OriginalRole =
  | "frame" //      a picture or film of a DCF object, or of a camera's video tree
  | "companion" //  what belongs to one: voice memo, sidecar, thumbnail
  | "extra"; //     what is on a card and is no frame

/** A trip as its profile stood at `at`. */
export interface TripFact {
  readonly kind: "trip";
  readonly trip: TripId;
  readonly at: Instant;
  /** The trip's folder on every drive, settled when the trip was first added. */
  readonly folder: string;
  /** The profile file's text, comments and all. */
  readonly profile: string;
}

export interface DriveFact {
  readonly kind: "drive";
  readonly trip: TripId;
  readonly at: Instant;
  readonly drive: DriveId;
  readonly name: string;
}

export interface CardFact {
  readonly kind: "card";
  readonly trip: TripId;
  readonly at: Instant;
  readonly card: CardId;
  /** The volume's label as the camera wrote it; may be "". */
  readonly label: string;
  /** Its number within the trip, from 1, for people. */
  readonly number: number;
}

export interface OriginalFact {
  readonly kind: "original";
  readonly trip: TripId;
  readonly at: Instant;
  readonly original: OriginalId;
  readonly hash: ContentHash;
  readonly size: Bytes;
  /** Where it is filed, below the trip's folder; the same on every drive. */
  readonly path: RelativePath;
  readonly role: OriginalRole;
  /** Absent for extras. */
  readonly frame?: FrameOfOriginal;
}

/** The frame an original belongs to; the same in each of its files. */
export interface FrameOfOriginal {
  readonly id: FrameId;
  /** Folder and name without extension below the trip's folder; no two frames share one. */
  readonly stem: RelativePath;
  /** What the camera itself tells frames apart by (serial, number, time); "" when it doesn't. */
  readonly key: string;
  /** The running number within the day that its name used, 0 if it used none. */
  readonly count: number;
  readonly taken: Taken;
  /** Letter, serial and model of the body; serial and model "" when unknown. */
  readonly letter: string;
  readonly serial: string;
  readonly model: string;
}

/** A file of a card was read whole and is this original. */
export interface SightingFact {
  readonly kind: "sighting";
  readonly trip: TripId;
  readonly at: Instant;
  readonly card: CardId;
  /** Its path on the card. */
  readonly path: RelativePath;
  readonly fingerprint: QuickFingerprint;
  readonly original: OriginalId;
  /** What is wrong with it as the card gives it, as a part of a sentence; absent where nothing was found. */
  readonly damage?: string;
}

/** A drive holds this original under its final name, forced to the medium, read back and equal. */
export interface CopyFact {
  readonly kind: "copy";
  readonly trip: TripId;
  readonly at: Instant;
  readonly original: OriginalId;
  readonly drive: DriveId;
  /** Below the trip's folder. It differs from the original's path only where that name was taken on this drive. */
  readonly path: RelativePath;
  readonly readBack: ReadBack;
  /** How many facts claimed this copy before, where any did: so that none of them is this one. */
  readonly again?: number;
}

/** Why a copy doesn't count any more. */
export type LossReason =
  | "missing" // nothing stands there
  | "damaged" // other bytes stand there, and nobody wrote them
  | "changed" // another program wrote it
  | "moved"; //  it stands under another name, which a further copy fact says

/**
 * Copies that were written down don't count any more. They are named by their facts, not by the moment, so that it
 * doesn't matter in which order facts are learnt or what the clocks said.
 */
export interface LossFact {
  readonly kind: "loss";
  readonly trip: TripId;
  readonly at: Instant;
  readonly original: OriginalId;
  readonly drive: DriveId;
  readonly path: RelativePath;
  readonly why: LossReason;
  /** The names of the copy facts that don't hold any more. */
  readonly copies: readonly string[];
  /** What stands there instead; absent where it can't be read or nothing does. */
  readonly found?: { readonly hash: ContentHash; readonly size: Bytes };
}

/** Copies of one drive were read back once more and are equal. */
export interface CheckedFact {
  readonly kind: "checked";
  readonly trip: TripId;
  readonly at: Instant;
  readonly drive: DriveId;
  readonly readBack: ReadBack;
  readonly originals: readonly OriginalId[];
}

/** A drive was declared lost: nothing that was ever copied to it counts. Found again it is a new drive. */
export interface DriveLostFact {
  readonly kind: "drive-lost";
  readonly trip: TripId;
  readonly at: Instant;
  readonly drive: DriveId;
}

/** Someone knows that this file is damaged in this way as the card gives it, and lets the card go all the same. */
export interface AcceptedFact {
  readonly kind: "accepted";
  readonly trip: TripId;
  readonly at: Instant;
  readonly card: CardId;
  readonly path: RelativePath;
  readonly original: OriginalId;
  readonly damage: string;
}

/** A file stood on a card, was never read, and isn't there any more. */
export interface VanishedFact {
  readonly kind: "vanished";
  readonly trip: TripId;
  readonly at: Instant;
  readonly card: CardId;
  readonly path: RelativePath;
  readonly size: Bytes;
  readonly modified: Instant;
}

/** Someone said that what vanished from a card until now is of no concern. */
export interface DismissedFact {
  readonly kind: "dismissed";
  readonly trip: TripId;
  readonly at: Instant;
  readonly card: CardId;
}

/** Someone looked at a frame and said whether it is fine. The latest holds; of two at one moment, the doubt. */
export interface LookFact {
  readonly kind: "look";
  readonly trip: TripId;
  readonly at: Instant;
  readonly frame: FrameId;
  readonly fine: boolean;
}

/**
 * A version of a work file, as it stood in its place on a drive. A version names those that it follows, so that the
 * newest is the one that none names, whatever the clocks said. Two that follow the same one were made apart.
 */
export interface EditFact {
  readonly kind: "edit";
  readonly trip: TripId;
  readonly at: Instant;
  /** Below the trip's folder, the same on every drive. */
  readonly path: RelativePath;
  /** "" with size 0: it was deleted. */
  readonly hash: ContentHash | "";
  readonly size: Bytes;
  /** Modification time of the file, ms since the epoch. */
  readonly modified: Instant;
  /** Where it was first seen. */
  readonly drive: DriveId;
  /** Names of the edit facts that it follows; two when it was changed on two drives apart and this is what stands. */
  readonly after: readonly string[];
}

/** A drive holds this version of a work file in its place, forced to the medium, read back and equal. */
export interface EditCopyFact {
  readonly kind: "edit-copy";
  readonly trip: TripId;
  readonly at: Instant;
  /** The name of the edit fact. */
  readonly edit: string;
  readonly drive: DriveId;
  readonly readBack: ReadBack;
}

/** Someone knows that this version stands in place of another that was made apart. */
export interface EditSeenFact {
  readonly kind: "edit-seen";
  readonly trip: TripId;
  readonly at: Instant;
  /** The name of the edit fact that follows both. */
  readonly edit: string;
}

/** An archive holds these files of the trip, forced to the medium, read back and equal. */
export interface ArchivedFact {
  readonly kind: "archived";
  readonly trip: TripId;
  readonly at: Instant;
  /** The archive folder's own identity: 32 hex digits, written once into it. */
  readonly archive: string;
  readonly readBack: ReadBack;
  /** Paths below the trip's folder in the archive. */
  readonly files: readonly {
    readonly path: RelativePath;
    readonly hash: ContentHash;
    readonly size: Bytes;
  }[];
}

/** A homecoming ended, and what it found. */
export interface HomeFact {
  readonly kind: "home";
  readonly trip: TripId;
  readonly at: Instant;
  /** Archives that hold all that was found. */
  readonly archives: readonly string[];
  /** Whether nothing was missing. */
  readonly complete: boolean;
}

/** A drive was freed of the trip: nothing of it counts there, and nothing more of it is copied there. */
export interface DriveRetiredFact {
  readonly kind: "drive-retired";
  readonly trip: TripId;
  readonly at: Instant;
  readonly drive: DriveId;
}

export type Fact =
  | TripFact
  | DriveFact
  | CardFact
  | OriginalFact
  | SightingFact
  | CopyFact
  | LossFact
  | CheckedFact
  | DriveLostFact
  | AcceptedFact
  | VanishedFact
  | DismissedFact
  | LookFact
  | EditFact
  | EditCopyFact
  | EditSeenFact
  | ArchivedFact
  | HomeFact
  | DriveRetiredFact;
