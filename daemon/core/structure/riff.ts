/**
 * RIFF (Microsoft, AVI RIFF File Reference; the same chunk rules for WAVE): chunks one behind the other up to the end.
 * RIFX has its numbers the other way round; RF64 (EBU Tech 3306) keeps sizes beyond 32 bits in a chunk `ds64`; a long
 * AVI goes on in further RIFFs (OpenDML 1.02).
 *
 * Silence is legal, so an end of zeros is too. Not its job: what is inside lists and samples.
 */

import type { Bytes } from "../../../shared/units.ts";
import type { Probe } from "./probe.ts";
import {
  type Asking,
  fourCharacters,
  isPrintableType,
  onlyPaddingFrom,
  Reading,
  u32,
  u64,
} from "./reading.ts";

export function* riffProbe(size: Bytes): Probe {
  const file = new Reading(size);
  const head = yield* file.bytes(0, 12);
  const magic = fourCharacters(head, 0);
  if (!/^(RIFF|RIFX|RF64|BW64)$/.test(magic)) return "it doesn't begin as sound or film of the RIFF kind";
  if (head.length < 12) return cut;
  const little = magic !== "RIFX";
  const [saidWhole, form] = [u32(head, 4, little), fourCharacters(head, 8)];
  const large = yield* largeSizes(file, magic);
  const declared = large?.whole ?? saidWhole;
  if (declared === 0 || declared === unknown) return unfinished;
  // Some writers count the header too: what matters is that no chunk is cut.
  if (8 + declared > file.size + 8) return cut;

  // What there must be; other forms aren't known.
  const needed = { WAVE: "data", "AVI ": "LIST" }[form];
  let holdsNeeded = needed === undefined;
  for (let at = 12, emptyData = false; at < file.size; ) {
    const chunk = yield* file.bytes(at, 8);
    const id = fourCharacters(chunk, 0);
    if (chunk.length < 8 || !isPrintableType(id)) {
      if (yield* onlyPaddingFrom(file, at)) break;
      if (emptyData) return unfinished;
      return chunk.length < 8 ? cut : "its parts don't follow one another";
    }
    const said = u32(chunk, 4, little);
    if (id === "data" && said === unknown && large === undefined) return unfinished;
    const length = id === "data" && said === unknown ? (large?.data ?? 0) : said;
    const end = at + 8 + length;
    if (end > file.size + (id === magic ? 8 : 0)) return emptyData ? unfinished : cut;
    emptyData = id === "data" && length === 0;
    holdsNeeded ||= id === needed;
    // Data is padded to an even length; the next RIFF of a long film is looked into.
    at = id === magic ? at + 12 : end + (length & 1);
  }
  return holdsNeeded ? undefined : "it holds no recording";
}

const cut = "it holds less than it says";
const unfinished = "its recording was not finished";

/** What stands for a size that isn't known (yet), or is in `ds64`. */
const unknown = 0xffff_ffff;

/** Sizes of the whole and of `data` from the first chunk of an RF64; undefined in other files. */
function* largeSizes(
  file: Reading,
  magic: string,
): Asking<{ readonly whole: number; readonly data: number } | undefined> {
  if (magic !== "RF64" && magic !== "BW64") return undefined;
  const chunk = yield* file.bytes(12, 24);
  if (chunk.length < 24 || fourCharacters(chunk, 0) !== "ds64") return undefined;
  return { whole: u64(chunk, 8, true), data: u64(chunk, 16, true) };
}
