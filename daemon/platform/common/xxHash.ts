/** XXH64 in WebAssembly. The digest's text is big-endian hex with leading zeros (xxHash specification 0.1.1, step 7). */

import xxhash from "xxhash-wasm";
import type { ContentHash } from "../../../shared/identity.ts";
import type { Hashing } from "../../ports/hashing.ts";

/** Loads the module once; the answer makes any number of hashes, also at the same time. */
export async function createHashing(): Promise<Hashing> {
  const { create64 } = await xxhash();
  return {
    start() {
      const running = create64(0n);
      return {
        update: (part) => {
          running.update(part);
        },
        digest: () => running.digest().toString(16).padStart(16, "0") as ContentHash,
      };
    },
  };
}
