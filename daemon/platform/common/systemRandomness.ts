/** Randomness from the operating system. */

import { randomBytes } from "node:crypto";
import type { Randomness } from "../../ports/randomness.ts";

export class SystemRandomness implements Randomness {
  hex(bytes: number): string {
    return randomBytes(bytes).toString("hex");
  }
}
