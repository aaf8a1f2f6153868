/**
 * A trip as it was described before departure: the profile after it was read and checked. Reading and checking is
 * `daemon/core/profile.ts`; this file holds only the nouns.
 */

import type { Day } from "./identity.ts";
import type { Millis } from "./units.ts";

export type DriveRole = "primary" | "secondary" | "further";

/** A drive that takes part, by its name; which medium that is, its `drive.json` says. */
export interface TripDrive {
  readonly name: string;
  readonly role: DriveRole;
  /** Where it is kept, as the photographer calls it; undefined when not said. */
  readonly place?: string;
}

/** A camera body whose clock or letter is known beforehand. */
export interface TripBody {
  readonly serial: string;
  /** One to three letters A-Z for file names; bodies without one get the next free letter. */
  readonly letter?: string;
  /** What to add to this body's clock; may be negative. */
  readonly clockCorrection: Millis;
  /** IANA zone that this body's clock shows; undefined: the trip's. */
  readonly zone?: string;
  /** Whether video headers of this body hold UTC, as ISO 14496-12 says, or the body's own clock. Default `utc`. */
  readonly videoClock: "utc" | "body";
}

export interface TripGoal {
  readonly copies: number;
  readonly places: number;
}

/** A trip profile, complete with defaults. */
export interface TripProfile {
  readonly trip: string;
  readonly code: string;
  readonly from: Day;
  readonly to: Day;
  /** IANA time zone of the days. */
  readonly zone: string;
  /** Local time at which a shooting day begins, minutes after midnight, 0 to 1439. */
  readonly dayStartsMinutes: number;
  readonly goal: TripGoal;
  readonly drives: readonly TripDrive[];
  readonly bodies: readonly TripBody[];
  /** Template of the folder below the drive's root; begins with `{trip}/`. */
  readonly folders: string;
  /** Template of the file name without extension. */
  readonly names: string;
  readonly after: { readonly ejectCard: boolean };
  readonly edits: {
    /** Patterns of work files that aren't mirrored, such as `Catalogue/Previews/**`; matched below the trip's folder. */
    readonly leaveOut: readonly string[];
    /** Share of a drive's size that earlier versions may take, 0 to 1. */
    readonly historyShare: number;
  };
  readonly archive?: {
    readonly folder: string;
    readonly tree: string;
    /** Further folders that the trip is merged into, each in a place of its own. */
    readonly also: readonly string[];
  };
}

/** One fault or doubt found in a profile, where it stands and what would be right. */
export interface ProfileFault {
  readonly severity: "error" | "warning";
  /** 1-based; the place of the value, or of its key when the value is missing. */
  readonly line: number;
  readonly column: number;
  /** The key's path, such as `drives[1].role`; "" for the document. */
  readonly key: string;
  readonly what: string;
  readonly allowed: string;
}
