/** What the API asks of the daemon about trips as they are described. Failures that are the caller's are `UserMistake`. */

import type {
  ProfileChangeJson,
  ProfileCheckJson,
  TripEntryJson,
  TripSavedJson,
  VolumeJson,
} from "../../shared/tripsApi.ts";

export interface TripsFace {
  entries(): Promise<readonly TripEntryJson[]>;
  /** Every fault, the form's values, and what frames would be called. @param trip whose frames to take as examples */
  check(text: string, trip: string | undefined): ProfileCheckJson;
  /** The text with these values changed; comments and everything else stay. */
  edit(text: string, changes: readonly ProfileChangeJson[]): string;
  /** A profile to begin with: an earlier trip without its days, or an empty one. */
  begin(copyOf: string | undefined): Promise<string>;
  /** @param trip undefined for a new one. @param stamp of the text that the change began from. */
  save(trip: string | undefined, stamp: string | undefined, text: string): Promise<TripSavedJson>;
  /** What is plugged in. */
  volumes(): Promise<readonly VolumeJson[]>;
}
