/**
 * ISO base media (ISO/IEC 14496-12:2015, 4.2): films, HEIF pictures and raws built of boxes, one behind the other,
 * whose sizes sum up to the file's. A recording that was cut off has no index (`moov`): cameras write it last.
 *
 * Not its job: what the samples hold. What makers keep inside boxes of their own isn't looked at.
 */

import type { Bytes } from "../../../shared/units.ts";
import type { Probe } from "./probe.ts";
import {
  type Asking,
  emptyEnd,
  endIsEmpty,
  fourCharacters,
  isPrintableType,
  isZero,
  onlyPaddingFrom,
  Reading,
  u32,
  u64,
} from "./reading.ts";

/** @param extension in lower case without its dot: tells a picture from a film where the brand doesn't. */
export function* isoMediaProbe(size: Bytes, extension: string): Probe {
  const file = new Reading(size);
  const first = yield* readBox(file, 0, file.size);
  if (first === undefined || !beginnings.has(first.type)) return "it doesn't begin as a film or HEIF picture";
  const trailer = yield* trailerBegin(file);
  const types = new Set<string>();
  let last = "";
  for (let at = 0; at < file.size && at !== trailer; ) {
    const box = yield* readBox(file, at, file.size);
    if (box === undefined || !isPrintableType(box.type)) {
      if (yield* onlyPaddingFrom(file, at)) break;
      return box === undefined ? cut : "its parts don't follow one another";
    }
    if (box.end < box.content) return "its parts don't follow one another";
    if (box.end > file.size) return cut;
    const wrong = box.type === "moov" ? yield* checkIndex(file, box) : undefined;
    if (wrong !== undefined) return wrong;
    last = box.type;
    if (expected.has(last)) types.add(last);
    at = box.end;
  }
  const isPicture = pictureExtensions.has(extension) || pictureBrands.has(yield* brandOf(file, first));
  if (!types.has("moov") && !types.has(isPicture ? "meta" : "moof")) {
    return isPicture ? "it holds no picture" : "its recording was cut off and has no index";
  }
  if (!isPicture && !types.has("mdat")) return "it ends before its recording begins";
  return last === "mdat" && (yield* endIsEmpty(file)) ? emptyEnd : undefined;
}

interface Box {
  readonly type: string;
  /** Where its content begins: behind size, type, and what goes with them. */
  readonly content: number;
  readonly end: number;
}

const cut = "it ends before its last part does";
const brokenIndex = "its index is broken";

/** `ftyp`, or what QuickTime files without one begin with (QuickTime File Format, 2001, "Overview of the file format"). */
const beginnings: ReadonlySet<string> = new Set("ftyp moov mdat free wide skip pnot".split(" "));

/** Of these it depends on the kind of file which must be there. */
const expected: ReadonlySet<string> = new Set(["moov", "moof", "meta", "mdat"]);

/** ISO/IEC 23008-12 (HEIF) and AVIF. */
const pictureExtensions: ReadonlySet<string> = new Set("heic heif hif avif".split(" "));
const pictureBrands: ReadonlySet<string> = new Set(
  "mif1 msf1 heic heix heim heis hevc hevx avif avis".split(" "),
);

/** Undefined where not even size and type fit before `limit`. Its end may lie anywhere. */
function* readBox(file: Reading, at: number, limit: number): Asking<Box | undefined> {
  const head = (yield* file.bytes(at, 16)).subarray(0, Math.max(0, limit - at));
  if (head.length < 8) return undefined;
  const type = fourCharacters(head, 4);
  const size = u32(head, 0, false);
  // 1: a size of 8 bytes follows. A box of type `uuid` has 16 bytes more before its content.
  const content = at + (size === 1 ? 16 : 8) + (type === "uuid" ? 16 : 0);
  if (size === 0) return { type, content, end: limit };
  if (size > 1) return { type, content, end: at + size };
  return { type, content, end: head.length < 16 ? Number.POSITIVE_INFINITY : at + u64(head, 8, false) };
}

/** Which box of the index holds what: only these consist of boxes for sure. */
const insideIndex: Readonly<Record<string, string>> = {
  moov: "trak",
  trak: "mdia",
  mdia: "minf",
  minf: "stbl",
};

/** @returns what is wrong with the boxes inside this one, or undefined. */
function* checkIndex(file: Reading, parent: Box): Asking<string | undefined> {
  for (let at = parent.content; at < parent.end; ) {
    const box = yield* readBox(file, at, parent.end);
    // QuickTime lets a list end with four zeros.
    if (box === undefined) return isZero(yield* file.bytes(at, parent.end - at)) ? undefined : brokenIndex;
    if (!isPrintableType(box.type.replace("\u00a9", "c"))) return brokenIndex;
    if (box.end < box.content || box.end > parent.end) return brokenIndex;
    const wrong = box.type === insideIndex[parent.type] ? yield* checkIndex(file, box) : undefined;
    if (wrong !== undefined) return wrong;
    at = box.end;
  }
  return undefined;
}

function* brandOf(file: Reading, first: Box): Asking<string> {
  return first.type === "ftyp" ? fourCharacters(yield* file.bytes(first.content, 4), 0) : "";
}

/**
 * Where the notes begin that cameras for all-round pictures write behind the boxes; -1 where there are none. They end
 * with a fixed word of 32 characters, their length stands 40 bytes before the end (ExifTool's description of them).
 */
function* trailerBegin(file: Reading): Asking<number> {
  const tail = yield* file.bytes(file.size - 40, 40);
  const word = String.fromCharCode(...tail.subarray(8));
  return word === "8db42d694ccc418790edff439fe026bf" ? file.size - u32(tail, 0, true) : -1;
}
