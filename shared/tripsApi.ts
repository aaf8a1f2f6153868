/**
 * What the daemon tells the page of trips as they are described, and of volumes that may become drives. Names are
 * those of the file's own text: hostile until shown through `printable`.
 */

import type { ProfileFault } from "./trip.ts";

/** A trip's file on this computer. */
export interface TripEntryJson {
  readonly id: string;
  /** undefined fields are null: a file with faults may say nothing. */
  readonly name: string | null;
  readonly code: string | null;
  readonly from: string | null;
  readonly to: string | null;
  /** Exactly as it was written. */
  readonly text: string;
  /** Names this text: saving hands it back, so that a file that changed meanwhile is never replaced unseen. */
  readonly stamp: string;
  readonly faults: readonly ProfileFault[];
  /** How many frames of it are known. */
  readonly frames: number;
}

/** A drive's line in the form. Empty text: not said. */
export interface DriveFormJson {
  readonly name: string;
  readonly role: string;
  readonly place: string;
}

export interface BodyFormJson {
  readonly serial: string;
  readonly letter: string;
  readonly clock: string;
  readonly zone: string;
  readonly videoTime: string;
}

/** The profile's values as text, as far as the text can be read as a profile; what isn't said is "". */
export interface ProfileFormJson {
  readonly trip: string;
  readonly code: string;
  readonly from: string;
  readonly to: string;
  readonly zone: string;
  readonly dayStarts: string;
  /** `ordinary`, `unrepeatable`, or "" where a goal is given or nothing is. */
  readonly worth: string;
  readonly copies: string;
  readonly places: string;
  readonly drives: readonly DriveFormJson[];
  readonly bodies: readonly BodyFormJson[];
  readonly folders: string;
  readonly names: string;
  readonly ejectCard: boolean;
  readonly archiveFolder: string;
  readonly archiveTree: string;
  /** null where it is a list, which only the text shows and changes. */
  readonly archiveAlso: string | null;
  /** The same. */
  readonly leaveOut: string | null;
  readonly historyShare: string;
}

/** What one frame would be called. */
export interface ExampleJson {
  /** Its name on the card, body and moment, in words. */
  readonly of: string;
  /** Where it would be filed, below the drive's root. */
  readonly path: string;
  /** Whether it is a frame that exists; else one made up for the example. */
  readonly real: boolean;
}

export interface ProfileCheckJson {
  readonly valid: boolean;
  readonly faults: readonly ProfileFault[];
  /** null where the text is no YAML map: then only the text can be mended. */
  readonly form: ProfileFormJson | null;
  readonly examples: readonly ExampleJson[];
}

/** One value of the form: `key` as in `ProfileFault.key`; null takes the key (or the list's entry) away. */
export interface ProfileChangeJson {
  readonly key: string;
  readonly value: string | boolean | null;
}

export interface TripSavedJson {
  readonly id: string;
  readonly isNew: boolean;
  readonly stamp: string;
}

/** A plugged-in volume, as far as introducing a drive goes. */
export interface VolumeJson {
  readonly mount: string;
  readonly label: string;
  readonly totalBytes: number;
  readonly freeBytes: number | null;
  /** `card` is never written; `drive` is known already, under `name`; `new` may be introduced; `foreign` is another photographer's. */
  readonly what: "card" | "drive" | "new" | "foreign";
  /** What a drive's own record calls it; a known one as it is known. "" for what has none. */
  readonly name: string;
}
