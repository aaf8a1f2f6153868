/**
 * One directory (IFD) of a TIFF: its entries, bounded by the file, and the numbers of an entry. TIFF 6.0 (1992),
 * section 2; BigTIFF has the same with counts and offsets of 8 bytes. Not its job: what a tag means.
 */

import { type Asking, fourCharacters, type Reading, u16, u32, u64 } from "./reading.ts";

export interface TiffForm {
  readonly little: boolean;
  /** BigTIFF. */
  readonly wide: boolean;
  /** Raws with a magic of their own. */
  readonly maker: "olympus" | "panasonic" | undefined;
  /** Where the first directory stands. */
  readonly first: number;
}

export interface TiffEntry {
  readonly tag: number;
  readonly type: number;
  readonly count: number;
  /** Where its values stand, in the entry itself or elsewhere; inside the file. */
  readonly at: number;
}

export interface TiffDirectory {
  /** By tag; only those of a known type. */
  readonly entries: ReadonlyMap<number, TiffEntry>;
  /** Entries of any type. */
  readonly count: number;
  /** Where the next directory of the chain stands, or 0. */
  readonly next: number;
}

/** values. As many of 8 bytes are half of the longest want. */
export const valuesAtOnce = 64 * 1024;

/** entries. A raw's first directory has about a hundred; so many of either width are one want. */
const entriesMost = 4096;

/** Bytes of one value by type: TIFF 6.0 section 2; 13 is IFD (TIFF Technical Note 1), 16 to 18 are BigTIFF's. */
const typeSizes: readonly number[] = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4, 0, 0, 8, 8, 8];

/** Undefined where the file doesn't begin as a TIFF or a raw with its structure. */
export function* tiffForm(file: Reading): Asking<TiffForm | undefined> {
  const head = yield* file.bytes(0, 16);
  const magic = fourCharacters(head, 0);
  const little = magic.startsWith("II");
  const wide = magic === "II+\0" || magic === "MM\0+";
  const first = wide ? u64(head, 8, little) : u32(head, 4, little);
  if (wide || magic === "II*\0" || magic === "MM\0*") return { little, wide, maker: undefined, first };
  if (magic === "IIU\0") return { little, wide, maker: "panasonic", first };
  return /^(IIRO|IIRS|MMOR)$/.test(magic) ? { little, wide, maker: "olympus", first } : undefined;
}

/** @returns the directory at this place, or what is wrong with it. */
export function* readDirectory(file: Reading, form: TiffForm, at: number): Asking<TiffDirectory | string> {
  const { little, wide } = form;
  const [countBytes, entryBytes, nextBytes] = wide ? [8, 20, 8] : [2, 12, 4];
  if (at < 8) return brokenDirectory;
  const head = yield* file.bytes(at, countBytes);
  if (head.length < countBytes) return cutDirectory;
  const count = wide ? u64(head, 0, little) : u16(head, 0, little);
  if (count > entriesMost) return brokenDirectory;
  const base = at + countBytes;
  const block = yield* file.bytes(base, count * entryBytes + nextBytes);
  if (block.length < count * entryBytes) return cutDirectory;
  const entries = new Map<number, TiffEntry>();
  let strange = 0;
  for (let n = 0; n < count; n += 1) {
    const entry = entryOf(block, n * entryBytes, base, form);
    const size = sizeOf(entry);
    // Readers pass over a type they don't know (TIFF 6.0, section 2).
    if (size === 0) strange += 1;
    else if (entry.at + size > file.size) return "it ends before its description does";
    else entries.set(entry.tag, entry);
  }
  if (strange * 2 > count) return brokenDirectory;
  // The offset of the next directory may be missing at the very end: 0 then.
  const offset = block.subarray(count * entryBytes);
  return { entries, count, next: wide ? u64(offset, 0, little) : u32(offset, 0, little) };
}

const cutDirectory = "it ends before its table of contents does";
export const brokenDirectory = "its table of contents is broken";

/**
 * Values of an entry as whole numbers; none where its type isn't one of whole numbers.
 * @param most at most `valuesAtOnce`
 */
export function* numbersOf(
  file: Reading,
  form: TiffForm,
  entry: TiffEntry,
  first: number,
  most: number,
): Asking<readonly number[]> {
  const width = typeSizes[entry.type] ?? 0;
  const read = { 3: u16, 4: u32, 13: u32, 16: u64, 18: u64 }[entry.type];
  const count = Math.min(most, entry.count - first);
  if (read === undefined || count <= 0) return [];
  const block = yield* file.bytes(entry.at + first * width, count * width);
  return Array.from({ length: Math.floor(block.length / width) }, (_, n) =>
    read(block, n * width, form.little),
  );
}

function sizeOf(entry: TiffEntry): number {
  return (typeSizes[entry.type] ?? 0) * entry.count;
}

/** @param at in the block, which begins at `base`. Four bytes of values or less stand in the entry itself; BigTIFF: 8. */
function entryOf(block: Uint8Array, at: number, base: number, form: TiffForm): TiffEntry {
  const { little, wide } = form;
  const tag = u16(block, at, little);
  const type = u16(block, at + 2, little);
  const count = wide ? u64(block, at + 4, little) : u32(block, at + 4, little);
  const value = at + (wide ? 12 : 8);
  const isInside = (typeSizes[type] ?? 0) * count <= (wide ? 8 : 4);
  const elsewhere = wide ? u64(block, value, little) : u32(block, value, little);
  return { tag, type, count, at: isInside ? base + value : elsewhere };
}
