/**
 * TIFF (TIFF 6.0, 1992; BigTIFF) and the raw formats with its structure: every directory, value and piece of picture
 * must lie inside the file. Directories often come first and read well while the last strip is missing.
 *
 * Where makers differ it asks little: their notes aren't walked, unknown types are passed over, byte counts may be 0 or
 * missing. Not its job: what the values mean, decoding.
 */

import type { Bytes } from "../../../shared/units.ts";
import type { Probe } from "./probe.ts";
import { type Asking, emptyEnd, endIsEmpty, Reading } from "./reading.ts";
import {
  brokenDirectory,
  numbersOf,
  readDirectory,
  type TiffDirectory,
  type TiffEntry,
  type TiffForm,
  tiffForm,
  valuesAtOnce,
} from "./tiffDirectory.ts";

/**
 * @param extension in lower case without its dot. What calls itself a picture may end in black, which is zeros where
 * nothing is compressed; a raw has noise.
 */
export function* tiffProbe(size: Bytes, extension: string): Probe {
  const file = new Reading(size);
  const form = yield* tiffForm(file);
  if (form === undefined) return "it doesn't begin as a TIFF";
  const wrong = yield* walkDirectories({ file, form, extension });
  if (wrong !== undefined) return wrong;
  const isRaw = extension !== "tif" && extension !== "tiff";
  return isRaw && (yield* endIsEmpty(file)) ? emptyEnd : undefined;
}

interface Tiff {
  readonly file: Reading;
  readonly form: TiffForm;
  readonly extension: string;
}

/** `chain`: the next one follows. `part`: belongs to another. `notes`: Exif or GPS, which hold no picture. */
interface Place {
  readonly at: number;
  readonly role: "chain" | "part" | "notes";
}

/** directories. A raw has about ten, a scanned book one a page. Beyond, nothing more is looked at. */
const directoriesMost = 1000;

/** pieces of one picture that are looked at: a thousand million pixels in tiles of 32 by 32. */
const piecesMost = 1_000_000;

/** TIFF 6.0; SubIFDs: TIFF Technical Note 1; Exif and GPS: Exif 2.32, 4.6.3. */
const tags = {
  model: 272,
  subIfds: 330,
  stripOffsets: 273,
  stripByteCounts: 279,
  tileOffsets: 324,
  tileByteCounts: 325,
  jpegOffset: 513,
  jpegLength: 514,
  exif: 0x8769,
  gps: 0x8825,
  /** Panasonic: where the raw data begins (ExifTool's tag names). */
  rawDataOffset: 0x118,
} as const;

function* walkDirectories(tiff: Tiff): Asking<string | undefined> {
  const seen = new Set<number>();
  const ahead: Place[] = [{ at: tiff.form.first, role: "chain" }];
  let pictures = 0;
  for (let place = ahead.pop(); place !== undefined; place = ahead.pop()) {
    if (seen.has(place.at)) {
      // Two pictures may share their notes. What leads back to itself is no table of contents.
      if (place.role === "notes") continue;
      return brokenDirectory;
    }
    if (seen.size >= directoriesMost) return undefined;
    seen.add(place.at);
    const directory = yield* readDirectory(tiff.file, tiff.form, place.at);
    if (typeof directory === "string") return directory;
    if (directory.count === 0 && place.role === "part") return brokenDirectory;
    ahead.push(...(yield* placesAfter(tiff, directory, place.role)));
    if (place.role === "notes") continue;
    const found = yield* checkPictures(tiff, directory);
    if (typeof found === "string") return found;
    pictures += found;
  }
  return pictures > 0 ? undefined : "it holds no picture";
}

/** The directories that this one points to. A pointer of 0 points to nothing. */
function* placesAfter(tiff: Tiff, directory: TiffDirectory, role: Place["role"]): Asking<readonly Place[]> {
  const { file, form } = tiff;
  const places: Place[] = [];
  // Of a chain in raws with a magic of their own, and behind other directories, nothing sure is known.
  if (role === "chain" && form.maker === undefined) places.push({ at: directory.next, role });
  const pointers = [
    [tags.exif, "notes"],
    [tags.gps, "notes"],
    [tags.subIfds, "part"],
  ] as const;
  for (const [tag, kind] of pointers) {
    const entry = directory.entries.get(tag);
    if (entry === undefined || (tag === tags.subIfds && (yield* pointsToRawData(tiff, directory)))) continue;
    const offsets = yield* numbersOf(file, form, entry, 0, directoriesMost);
    places.push(...offsets.map((at): Place => ({ at, role: kind })));
  }
  return places.filter(({ at }) => at !== 0);
}

/** One model's files have the offset of the raw data under the tag of SubIFDs (ExifTool's tag names, A100DataOffset). */
function* pointsToRawData({ file, extension }: Tiff, { entries }: TiffDirectory): Asking<boolean> {
  const model = entries.get(tags.model);
  if (extension !== "arw" || model === undefined) return false;
  const text = yield* file.bytes(model.at, 9);
  return String.fromCharCode(...text) === "DSLR-A100";
}

/** @returns how many pictures the directory points to, or what is wrong with one. */
function* checkPictures(tiff: Tiff, directory: TiffDirectory): Asking<number | string> {
  const { entries } = directory;
  let pictures = 0;
  const raw = entries.get(tags.rawDataOffset);
  const isPanasonic = tiff.form.maker === "panasonic";
  for (const [offsetTag, lengthTag] of [
    [tags.stripOffsets, tags.stripByteCounts],
    [tags.tileOffsets, tags.tileByteCounts],
    [tags.jpegOffset, tags.jpegLength],
  ] as const) {
    const offsets = entries.get(offsetTag);
    if (offsets === undefined) continue;
    pictures += 1;
    const isStrips = offsetTag === tags.stripOffsets;
    // Theirs may be FFFFFFFFh where there is the other tag, and the byte counts are no lengths in the file.
    if (isStrips && isPanasonic && raw !== undefined) continue;
    const lengths = isStrips && isPanasonic ? undefined : entries.get(lengthTag);
    const wrong = yield* checkPieces(tiff, offsets, lengths);
    if (wrong !== undefined) return wrong;
  }
  if (!isPanasonic || raw === undefined) return pictures;
  return (yield* checkPieces(tiff, raw, undefined)) ?? pictures + 1;
}

/** Each piece from its offset on must lie inside the file; pieces of unknown length must begin there. */
function* checkPieces(
  { file, form }: Tiff,
  offsets: TiffEntry,
  lengths: TiffEntry | undefined,
): Asking<string | undefined> {
  if (lengths !== undefined && lengths.count !== offsets.count) return brokenDirectory;
  const count = Math.min(offsets.count, piecesMost);
  for (let first = 0; first < count; first += valuesAtOnce) {
    const begins = yield* numbersOf(file, form, offsets, first, valuesAtOnce);
    const sizes = lengths === undefined ? [] : yield* numbersOf(file, form, lengths, first, valuesAtOnce);
    for (const [n, begin] of begins.entries()) {
      if (begin + (sizes[n] ?? 0) > file.size || (lengths === undefined && begin >= file.size)) {
        return "it ends before its last strip";
      }
    }
  }
  return undefined;
}
