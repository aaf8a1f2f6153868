/** Trip profiles as the photographer wrote them, in this computer's configuration. */

import type { TripId } from "../../shared/identity.ts";

export interface TripFiles {
  /** Every trip's id and text. One that can't be read is left out, and said by `trip list`. */
  list(): Promise<readonly { readonly id: TripId; readonly text: string }[]>;
  /** Keeps the profile of a trip that this computer has no file of. Fails with Node's own file errors. */
  keep(id: TripId, text: string): Promise<void>;
}
