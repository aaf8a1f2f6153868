/**
 * What the daemon tells about a homecoming: the receipt, before (a rehearsal) and after. Times are RFC 3339 with the
 * trip's offset, sizes are bytes; paths and names are made printable. Scripts hold on to these names: add, don't change.
 */

import type { OwedJson } from "./api.ts";
import type { ReadBack } from "./facts.ts";

/** Frames, files and work files of a trip. */
export interface HomeCountsJson {
  readonly frames: number;
  /** Originals: what came off cards. */
  readonly files: number;
  readonly bytes: number;
  /** Work files, by their newest versions. */
  readonly edits: number;
}

/** One archive the trip is merged into. */
export interface HomeTargetJson {
  /** As the profile or `--to` says it. */
  readonly folder: string;
  /** The trip's folder in it, absolute. */
  readonly tripFolder: string;
  /** Whether all that was found stands there, verified. */
  readonly done: boolean;
  /** Why not, as a sentence; "" where it does. */
  readonly why: string;
  /** How files there are read back; null where it couldn't be told. */
  readonly readBack: ReadBack | null;
  /** The same as a sentence, such as `Read back past this computer's cache.` */
  readonly how: string;
  readonly copied: OwedJson;
  /** What stood there already with the same content. */
  readonly there: OwedJson;
  /** Work files put there, or found there with the same content. */
  readonly edits: number;
  /** Earlier versions of work files that were taken along. */
  readonly versions: number;
  /** The receipt beside the trip's folder; null in a rehearsal or where it couldn't be written. */
  readonly receipt: string | null;
}

/** What one drive gave. */
export interface HomeSourceJson {
  readonly drive: string;
  readonly present: boolean;
  readonly files: number;
  readonly bytes: number;
  readonly edits: number;
}

/** Something that existed and was found nowhere. */
export interface HomeMissingJson {
  /** Below the trip's folder. */
  readonly path: string;
  readonly bytes: number;
  readonly kind: "frame" | "companion" | "extra" | "edit";
  /** As a part of a sentence, such as `on Rust, Sun 6 June, 22:41` or `on card 2, never copied`. */
  readonly lastSeen: string;
}

/** A drive's copy that wasn't what was verified. */
export interface HomeDamageJson {
  readonly path: string;
  readonly drive: string;
  /** As a sentence. */
  readonly what: string;
  /** Whether a good copy of another drive was taken. */
  readonly healed: boolean;
}

/** Two different files of one name: both are kept. */
export interface HomeClashJson {
  readonly path: string;
  /** Where the trip's own file stands. */
  readonly keptAs: string;
  /** As a sentence. */
  readonly what: string;
}

/** Whether a drive may be used for something else. */
export interface HomeDriveJson {
  readonly drive: string;
  readonly present: boolean;
  /** Said only when nothing is missing. */
  readonly mayBeReused: boolean;
  /** Why not, as a sentence; "" where it may. */
  readonly why: string;
  readonly retired: boolean;
}

export interface ReceiptJson {
  readonly trip: { readonly id: string; readonly name: string; readonly code: string; readonly zone: string };
  /** Nothing was written. */
  readonly rehearsal: boolean;
  readonly begun: string;
  readonly ended: string;
  /** All that is known of the trip stands in every archive, verified. In a rehearsal: would stand there. */
  readonly complete: boolean;
  /** The first sentence: whether everything is home. */
  readonly headline: string;
  /** The second: what to do. */
  readonly advice: string;
  /** Why it ended early, as a sentence; "" where it came to its end. */
  readonly stopped: string;
  readonly expected: HomeCountsJson;
  readonly found: HomeCountsJson;
  readonly targets: readonly HomeTargetJson[];
  readonly sources: readonly HomeSourceJson[];
  /** Up to 1,000; `missingTotal` counts all. The same for what follows. */
  readonly missing: readonly HomeMissingJson[];
  readonly missingTotal: number;
  readonly damage: readonly HomeDamageJson[];
  readonly damageTotal: number;
  /** Frames that are damaged as their cards gave them: copied as they are. */
  readonly brokenAtSource: readonly { readonly path: string; readonly why: string }[];
  readonly clashes: readonly HomeClashJson[];
  /** Files that stood in the archive already under other names. */
  readonly elsewhere: readonly { readonly path: string; readonly standsAs: string }[];
  /** Work files that were changed on two drives apart: the newer one is in place. */
  readonly conflicts: readonly { readonly path: string; readonly what: string }[];
  /** Work files that the profile leaves out, on the drives that were in: they stay there and don't come home. */
  readonly leftOut?: OwedJson;
  readonly drives: readonly HomeDriveJson[];
  /** What is to be known before a drive is reused. */
  readonly cautions: string;
}

/** A homecoming as it stands. */
export interface HomeStateJson {
  readonly trip: { readonly id: string; readonly name: string; readonly zone: string } | null;
  /** Where the profile says that home is; null where it doesn't. */
  readonly archive: {
    readonly folder: string;
    readonly tree: string;
    readonly also: readonly string[];
  } | null;
  /** Whether one is under way; how far it is, the status says as work of the kind `homecoming`. */
  readonly running: boolean;
  /** Of the one that ended last since the daemon started, rehearsals included; a real one is found again after a start. */
  readonly receipt: ReceiptJson | null;
}

/** Files of a merged trip, read again from what stands in its folder alone. */
export interface ArchiveCheckJson {
  readonly folder: string;
  readonly files: number;
  readonly bytes: number;
  /** How many were read perhaps from a cache. */
  readonly unsure: number;
  readonly damaged: readonly { readonly path: string; readonly what: string }[];
  readonly missing: readonly string[];
  /** Files that the list doesn't name: someone added them. */
  readonly unlisted: readonly string[];
  readonly good: boolean;
}

export interface DriveRetiredJson {
  readonly name: string;
  /** Trips it was freed of. */
  readonly trips: readonly string[];
}
