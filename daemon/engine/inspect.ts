/** Whether a file's structure is whole: answers what a structure check asks for with bytes of an open file. */

import { type Bytes, bytes } from "../../shared/units.ts";
import { probeFor } from "../core/structure/probe.ts";
import type { ReadHandle } from "../ports/files.ts";

/**
 * @param path says by its ending what the file should be
 * @returns what is wrong, as a part of a sentence; undefined where nothing is, or where this kind isn't checked
 * @throws FileFault when the file can't be read
 */
export async function inspect(handle: ReadHandle, path: string, size: Bytes): Promise<string | undefined> {
  const check = probeFor(path);
  if (check === undefined) return undefined;
  const probe = check(size);
  // What was given last is still looked at while more is asked for: two in turn.
  let memory = new Uint8Array(64 * 1024);
  let other = new Uint8Array(64 * 1024);
  let answer = probe.next();
  while (!answer.done) {
    const { at, length } = answer.value;
    [memory, other] = [other, memory];
    if (memory.length < length) memory = new Uint8Array(length);
    const into = memory.subarray(0, length);
    const filled = at >= size ? bytes(0) : await handle.read(into, at);
    answer = probe.next(into.subarray(0, filled));
  }
  return answer.value;
}
