/** Runs a structure check over bytes in memory, and holds it to its word: every want is legal, and there is an end. */

import { type Probe, probeFor } from "../../daemon/core/structure/probe.ts";
import { bytes } from "../../shared/units.ts";

/** What is said of a file of this name with these bytes: undefined is well. Throws for names that aren't checked. */
export function whatIsWrong(path: string, content: Uint8Array): string | undefined {
  return probed(path, content).wrong;
}

/** The same, with how many wants and bytes it took. */
export function probed(
  path: string,
  content: Uint8Array,
): { readonly wrong: string | undefined; readonly wants: number; readonly bytesRead: number } {
  const probe: Probe | undefined = probeFor(path)?.(bytes(content.length));
  if (probe === undefined) throw new Error(`files like ${path} aren't checked`);
  let wants = 0;
  let bytesRead = 0;
  let before = new Uint8Array(0);
  let step = probe.next();
  while (step.done !== true) {
    const { at, length } = step.value;
    const isLegal = at >= 0 && length > 0 && length <= 1024 * 1024 && at + length <= content.length;
    if (!isLegal || !Number.isInteger(at) || !Number.isInteger(length)) {
      throw new Error(`${path}: asks for ${length} bytes at ${at} of ${content.length}`);
    }
    wants += 1;
    bytesRead += length;
    // What was given for one want is gone once the next one is answered.
    const given = Uint8Array.from(content.subarray(at, at + length));
    step = probe.next(given);
    before.fill(0xa5);
    before = given;
  }
  return { wrong: step.value, wants, bytesRead };
}
