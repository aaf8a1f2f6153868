/**
 * What the daemon tells about work files: sidecars, catalogues, exports, notes. Times are RFC 3339 with the trip's offset,
 * sizes are bytes; paths and names are made printable. Scripts hold on to these names: add, don't change.
 */

import type { OwedJson } from "./api.ts";

/** The trip's work files in short, for the board. */
export interface EditsStatusJson {
  /** Work files by their newest versions. */
  readonly files: number;
  readonly bytes: number;
  /** Drives of the trip, in its order. */
  readonly drives: readonly {
    readonly drive: string;
    /** Files whose newest version it holds, verified. */
    readonly files: number;
    /** Files of which it lacks the newest version. */
    readonly behind: number;
  }[];
  /** Files that are being written, or belong to a catalogue that is open: taken when they are quiet. */
  readonly waiting: number;
  /** The first few of what is waited for, such as `Catalogue`, with why as what is said of it, such as `is open`. */
  readonly waitingFor: readonly { readonly path: string; readonly why: string }[];
  /** What the profile leaves out. */
  readonly leftOut: OwedJson;
  /** Files that were deleted on the primary drive; their last versions stay in the histories of the others. */
  readonly deleted: number;
  /** Files that were changed on two drives apart, and nobody has said that they know. */
  readonly conflicts: number;
}

/** One work file. */
export interface WorkFileJson {
  /** Below the trip's folder. */
  readonly path: string;
  readonly bytes: number;
  readonly modified: string;
  /** Drives that hold the newest version, verified. */
  readonly drives: readonly string[];
  /** How many versions are known, the newest included. */
  readonly versions: number;
  readonly deleted: boolean;
}

/** A version that can be put in place again, or stands there. */
export interface EditVersionJson {
  /** When it was first seen: what `--at` takes. */
  readonly at: string;
  /** Modification time of the file. */
  readonly modified: string;
  readonly bytes: number;
  /** Drives that are in and hold it, in place or in their history. */
  readonly drives: readonly string[];
  /** Whether it is the newest. */
  readonly inPlace: boolean;
  /** Where it was made, as far as known. */
  readonly madeOn: string | null;
}

export interface EditVersionsJson {
  readonly path: string;
  readonly deleted: boolean;
  /** Newest first. */
  readonly versions: readonly EditVersionJson[];
}

/** One side of a conflict. */
export interface ConflictSideJson {
  readonly drive: string;
  readonly at: string;
  readonly modified: string;
  readonly bytes: number;
  /** Where it can be found on that drive, below its root; null where it can't any more. */
  readonly path: string | null;
}

/** A work file that was changed on two drives apart: both versions are kept. */
export interface ConflictJson {
  /** Names it in requests. */
  readonly id: string;
  /** Below the trip's folder. */
  readonly path: string;
  /** The newer one, which stands in place. */
  readonly kept: ConflictSideJson;
  /** The other one, in the histories; `bytes` 0 with `deleted` where it was a deletion. */
  readonly other: ConflictSideJson & { readonly deleted: boolean };
}

/** A property that differs between the two sides, as text; null where a side hasn't it. */
export interface DifferenceJson {
  /** Such as `xmp:Rating`. */
  readonly property: string;
  readonly kept: string | null;
  readonly other: string | null;
}

export interface ConflictDetailJson extends ConflictJson {
  /** For XMP, property by property; empty for other files, or where a side can't be read now. */
  readonly differences: readonly DifferenceJson[];
  /** Why there are none, as a sentence; "" where there are. */
  readonly why: string;
}

export interface EditsJson {
  readonly trip: { readonly id: string; readonly name: string; readonly zone: string } | null;
  readonly edits: EditsStatusJson | null;
  readonly conflicts: readonly ConflictJson[];
  /** A part of the files in the order of their paths; `total` counts all. */
  readonly files: readonly WorkFileJson[];
  readonly total: number;
  readonly at: string;
}

/** A version was put in place again, as a new version. */
export interface RestoredJson {
  readonly path: string;
  /** The drive it was put on first. */
  readonly drive: string;
  readonly at: string;
}
