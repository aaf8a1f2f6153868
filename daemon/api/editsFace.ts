/** What the API asks of the daemon about work files. Failures that are the caller's are `UserMistake`. */

import type { ConflictDetailJson, EditsJson, EditVersionsJson, RestoredJson } from "../../shared/editsApi.ts";

export interface EditsFace {
  /** @param trip id; undefined: the one the board shows. */
  edits(trip: string | undefined, from: number, most: number): EditsJson;
  /** Every version of one work file that is known or found on the drives that are in. */
  versions(trip: string | undefined, path: string): Promise<EditVersionsJson>;
  /** @param at the version's moment, RFC 3339. */
  restore(trip: string | undefined, path: string, at: string): Promise<RestoredJson>;
  conflict(id: string): Promise<ConflictDetailJson>;
  /** Someone knows of the conflict. */
  seen(id: string): void;
}
