/**
 * What the daemon tells page, tray and command line: the JSON of `status`, `cards`, `drive list` and `trip list`.
 * Times are RFC 3339 with the trip's offset, sizes are bytes. Scripts hold on to these names: add, don't change.
 */

import type { EditsStatusJson } from "./editsApi.ts";
import type { DriveRole, ProfileFault } from "./trip.ts";

export interface OwedJson {
  readonly files: number;
  readonly bytes: number;
}

export interface DriveStatusJson {
  readonly id: string | null;
  readonly name: string;
  /** null: a known drive that takes part in no current trip. */
  readonly role: DriveRole | null;
  readonly place: string | null;
  readonly present: boolean;
  /** The drive of this name was declared lost and no other has been introduced in its place. */
  readonly lost?: boolean;
  /** Where it is mounted; null while it isn't. */
  readonly mount: string | null;
  readonly freeBytes: number | null;
  readonly totalBytes: number | null;
  readonly owed: OwedJson;
  readonly holds: OwedJson;
  /** How many of the files it holds were read back in which way. */
  readonly readBack: { readonly direct: number; readonly remount: number; readonly cache: number };
  readonly lastVerified: string | null;
  readonly lastSeen: string | null;
}

export interface LackingJson {
  readonly path: string;
  readonly verified: number;
  readonly goal: number;
  readonly why: string;
}

/** A file that is cut short, broken in its structure, or reads differently each time. */
export interface DamagedJson {
  readonly path: string;
  /** A part of a sentence, such as `it ends before its last strip`. */
  readonly why: string;
  readonly accepted: boolean;
}

/** What one drive holds of a card. */
export interface HeldJson {
  readonly drive: string;
  readonly files: number;
  /** How many of them were verified perhaps from a cache. */
  readonly unsure?: number;
}

export interface CardStatusJson {
  readonly id: string;
  readonly label: string;
  /** `card 7`: what people call it. */
  readonly name: string;
  readonly trip: string | null;
  readonly present: boolean;
  readonly mount: string | null;
  readonly files: number;
  readonly bytes: number;
  /** files = frameFiles + extras + leavings.length: every file is accounted for. */
  readonly frames: number;
  readonly frameFiles: number;
  readonly extras: number;
  /** What an operating system or a link left there; not copied, named here. Paths are made printable. */
  readonly leavings: readonly { readonly path: string; readonly why: string }[];
  /** Frames filed by their file's time since the camera wrote no usable one. */
  readonly undated: readonly string[];
  /** Files that are damaged as the card gives them. One that was accepted keeps the card from nothing. */
  readonly damaged?: readonly DamagedJson[];
  /** Files that stood on it, were never copied and are gone from it: lost, as far as is known. */
  readonly vanished?: readonly string[];
  /** How many of its files, leavings apart, each drive of its trip holds verified; the rest that drive owes. */
  readonly held?: readonly HeldJson[];
  /** Someone said that it is of no concern; put in again, it is one again. */
  readonly dismissed?: boolean;
  readonly clear: boolean;
  /** The verdict as a sentence. */
  readonly verdict: string;
  /** The moment the verdict holds for: it covers the copies verified by then. */
  readonly judgedAt?: string;
  /** Up to 1,000 files; `lackingTotal` counts all. */
  readonly lacking: readonly LackingJson[];
  readonly lackingTotal: number;
  readonly lastSeen: string;
}

export interface WorkJson {
  readonly kind: "survey" | "copy" | "scrub" | "edits" | "homecoming";
  readonly from: string;
  readonly to: readonly string[];
  readonly doneBytes: number;
  readonly totalBytes: number;
  readonly bytesPerSecond: number;
  readonly secondsLeft: number | null;
}

export interface AlertJson {
  readonly code: string;
  readonly severity: "urgent" | "warning" | "note";
  readonly about: string;
  /** The three sentences in a row, and each by itself. */
  readonly text: string;
  readonly happened: string;
  readonly safe: string;
  readonly next: string;
  readonly since: string;
}

export interface TripStatusJson {
  readonly id: string;
  readonly name: string;
  readonly code: string;
  readonly from: string;
  readonly to: string;
  readonly zone: string;
  readonly goal: { readonly copies: number; readonly places: number };
}

export interface StatusJson {
  /** The trip of today, else the latest with frames, else the next; null when none is described. */
  readonly trip: TripStatusJson | null;
  /** The board's two sentences: is everything safe, and what to do. */
  readonly headline: string;
  /** Whether the headline says that everything is safe, or that there is nothing yet. */
  readonly safe?: boolean;
  readonly advice: string;
  readonly frames: { readonly total: number; readonly files: number; readonly atGoal: number };
  readonly drives: readonly DriveStatusJson[];
  readonly cards: readonly CardStatusJson[];
  readonly work: readonly WorkJson[];
  readonly alerts: readonly AlertJson[];
  /** The trip's work files; absent while there are none. */
  readonly edits?: EditsStatusJson;
  /** Someone asked it to wait: nothing is read or written until it is told to go on. */
  readonly paused?: boolean;
  /** The moment this was true. */
  readonly at: string;
}

/** What one drive holds of a day. */
export interface DayHeldJson {
  readonly drive: string;
  readonly files: number;
  readonly bytes: number;
  /** How many of them were verified perhaps from a cache. */
  readonly unsure: number;
}

/** The board's trip by shooting day: what was taken, and which drive holds how much of it. */
export interface HoldingsJson {
  readonly trip: TripStatusJson | null;
  /** In order; the day "" last: what is no frame. */
  readonly days: readonly {
    readonly day: string;
    readonly frames: number;
    readonly files: number;
    readonly bytes: number;
    readonly held: readonly DayHeldJson[];
  }[];
  readonly at: string;
}

export interface DriveAddedJson {
  readonly id: string;
  readonly name: string;
  readonly mount: string;
}

/** A card that was said to be of no concern. */
export interface DismissedJson {
  readonly card: string;
  readonly name: string;
  /** Files on it that no drive is known to hold. */
  readonly unread: number;
  /** Files that are gone from it and were never copied: of no concern any more either. */
  readonly vanished?: number;
}

/** It is flushed and unmounted, and may be unplugged. */
export interface EjectedJson {
  /** The drive's name, or the card's as `Card 7`. */
  readonly name: string;
  readonly kind: "drive" | "card";
}

/** A drive was declared lost: what that leaves short. */
export interface DriveLostJson {
  readonly id: string;
  readonly name: string;
  /** What it held, and counts no more. */
  readonly held: OwedJson;
  /** Files of all trips that have fewer copies than their goal now. */
  readonly short: number;
  /** Files that no drive holds any more, up to 1,000; `nowhereTotal` counts all. */
  readonly nowhere: readonly NowhereJson[];
  readonly nowhereTotal: number;
  /** Names of cards whose verdict is withdrawn. */
  readonly withdrawn: readonly string[];
}

/** A damaged file of a card that someone knows of. */
export interface AcceptedJson {
  readonly card: string;
  readonly name: string;
  readonly path: string;
}

/** What a scrub found that isn't as it was verified. */
export interface FindingJson {
  readonly drive: string;
  /** Below the trip's folder. */
  readonly path: string;
  /** `damaged` and `missing` are damage; `changed` was written by another program; `moved` is followed. */
  readonly what: "damaged" | "missing" | "changed" | "moved";
  /** Where it stands now, if it was moved. */
  readonly movedTo: string | null;
  /** Whether a good copy stands on that drive again. */
  readonly healed: boolean;
  /** It was found before this scrub, and isn't made good yet. */
  readonly earlier?: boolean;
  /** Where the untouched copy of a changed file stands, below the trip's folder, once there is one. */
  readonly beside?: string | null;
  /** Where a damaged file was set aside, below the drive's root. */
  readonly aside?: string | null;
}

export interface ScrubJson {
  readonly drives: readonly {
    readonly name: string;
    readonly files: number;
    readonly bytes: number;
    /** How many of these were read back perhaps from a cache. */
    readonly unsure: number;
  }[];
  readonly findings: readonly FindingJson[];
  /** False when a drive went or failed before all of it was read. */
  readonly complete: boolean;
}

/** Something that existed and is on no drive that is known. */
export interface NowhereJson {
  readonly trip: string;
  /** Where it was filed, below the trip's folder. */
  readonly path: string;
  /** The shooting day; "" for what is no frame. */
  readonly day: string;
  /** The card it was last seen on, such as `card 2`; "" when unknown. */
  readonly card: string;
  readonly bytes: number;
}

/** What was learnt from the records of drives. */
export interface RebuildJson {
  readonly drives: readonly { readonly name: string; readonly mount: string; readonly files: number }[];
  readonly trips: readonly {
    readonly id: string;
    readonly name: string;
    readonly frames: number;
    readonly files: number;
  }[];
  /** Lines of journals that were torn or altered, and were passed over. */
  readonly torn: number;
  /** Facts that contradict others and were left out. */
  readonly disagreeing: number;
  /** What only drives hold that were not named, drive by drive. */
  readonly elsewhere: readonly { readonly drive: string; readonly files: number }[];
  /** Up to 1,000; `nowhereTotal` counts all. */
  readonly nowhere: readonly NowhereJson[];
  readonly nowhereTotal: number;
}

/** Something that happened, and why: the audit trail. */
export interface HappenedJson {
  /** Later ones have higher numbers. */
  readonly number: number;
  readonly at: string;
  /** `card`, `drive`, `copy`, `alert`, `trip`, … */
  readonly kind: string;
  readonly text: string;
}

export interface TripSummaryJson {
  readonly id: string;
  readonly name: string;
  readonly code: string;
  readonly from: string;
  readonly to: string;
  readonly zone: string;
  readonly file: string;
}

export interface TripCheckJson {
  readonly file: string;
  readonly valid: boolean;
  readonly faults: readonly ProfileFault[];
  /** What the templates give for example frames, `folder/name.EXT`. */
  readonly examples: readonly string[];
}

/** How the answer of `wait` is meant: `idle` means that nothing is left to do with what is plugged in. */
export interface WaitJson {
  readonly idle: boolean;
  /** By the drives of all trips. */
  readonly owed: OwedJson;
  /** How many of the cards that are in may not be formatted. */
  readonly cardsNotClear: number;
}

/** A refusal of the API, with the exit status that the command line gives it. */
export interface RefusalJson {
  readonly error: { readonly message: string; readonly next: string; readonly exit: number };
}
