/** XXH64, seed 0, streaming. Any split of the input gives the same digest. */

import type { ContentHash } from "../../shared/identity.ts";

export interface RunningHash {
  update(part: Uint8Array): void;
  digest(): ContentHash;
}

export interface Hashing {
  start(): RunningHash;
}
