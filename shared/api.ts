/**
 * What the daemon tells page, tray and command line: the JSON of `status`, `cards`, `drive list` and `trip list`.
 * Times are RFC 3339 with the trip's offset, sizes are bytes. Scripts hold on to these names: add, don't change.
 */

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
  readonly kind: "survey" | "copy";
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
  /** The moment this was true. */
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
}

/** It is flushed and unmounted, and may be unplugged. */
export interface EjectedJson {
  /** The drive's name, or the card's as `Card 7`. */
  readonly name: string;
  readonly kind: "drive" | "card";
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
