/**
 * Writes TIFF structures (TIFF 6.0, 1992, section 2): little-endian header, IFDs with their values, sub-IFDs and
 * blocks of data. Enough for Exif and for a raw file; not a TIFF library.
 */

const sizes = { byte: 1, ascii: 1, short: 2, long: 4, rational: 8, undefined: 1, srational: 8 } as const;
const codes = { byte: 1, ascii: 2, short: 3, long: 4, rational: 5, undefined: 7, srational: 10 } as const;

export type Field =
  | { readonly tag: number; readonly type: "ascii"; readonly text: string }
  | {
      readonly tag: number;
      readonly type: "byte" | "short" | "long" | "undefined";
      readonly values: readonly number[];
    }
  /** Numerators and denominators in turn. */
  | { readonly tag: number; readonly type: "rational" | "srational"; readonly values: readonly number[] }
  | { readonly tag: number; readonly type: "ifd"; readonly fields: readonly Field[] }
  /** A LONG that points to this block: a strip, a thumbnail. */
  | { readonly tag: number; readonly type: "data"; readonly data: Uint8Array };

/** A whole TIFF with these IFDs, each the next of the one before. */
export function buildTiff(ifds: readonly (readonly Field[])[]): Buffer {
  const out = Buffer.alloc(8 + ifds.reduce((sum, fields) => sum + sizeOfIfd(fields), 0));
  out.write("II", 0, "latin1");
  out.writeUInt16LE(42, 2);
  let pointer = 4;
  let free = 8;
  for (const fields of ifds) {
    out.writeUInt32LE(free, pointer);
    pointer = free + 2 + fields.length * 12;
    free = writeIfd(out, free, fields);
  }
  return out;
}

/** Word boundaries: TIFF 6.0, section 2, "Value Offset". */
const even = (size: number): number => size + (size & 1);

function sizeOfIfd(fields: readonly Field[]): number {
  return fields.reduce((sum, field) => sum + even(sizeBeside(field)), 2 + fields.length * 12 + 4);
}

/** Bytes of a field that don't fit into its entry. */
function sizeBeside(field: Field): number {
  if (field.type === "ifd") return sizeOfIfd(field.fields);
  if (field.type === "data") return field.data.length;
  const size = sizes[field.type] * countOf(field);
  return size > 4 ? size : 0;
}

function countOf(field: Field): number {
  if (field.type === "ifd" || field.type === "data") return 1;
  if (field.type === "ascii") return Buffer.byteLength(field.text) + 1;
  return field.type === "rational" || field.type === "srational"
    ? field.values.length / 2
    : field.values.length;
}

/** @returns where the next thing may stand. */
function writeIfd(out: Buffer, at: number, fields: readonly Field[]): number {
  const sorted = [...fields].sort((a, b) => a.tag - b.tag);
  out.writeUInt16LE(sorted.length, at);
  let free = at + 2 + sorted.length * 12 + 4;
  sorted.forEach((field, index) => {
    const entry = at + 2 + index * 12;
    const pointer = field.type === "ifd" || field.type === "data";
    out.writeUInt16LE(field.tag, entry);
    out.writeUInt16LE(codes[pointer ? "long" : field.type], entry + 2);
    out.writeUInt32LE(countOf(field), entry + 4);
    const size = sizeBeside(field);
    const place = size > 0 ? free : entry + 8;
    if (size > 0 || pointer) out.writeUInt32LE(free, entry + 8);
    writeValue(out, place, field);
    free += even(size);
  });
  return free;
}

function writeValue(out: Buffer, at: number, field: Field): void {
  if (field.type === "ifd") writeIfd(out, at, field.fields);
  else if (field.type === "data") out.set(field.data, at);
  else if (field.type === "ascii") out.write(`${field.text}\0`, at, "utf8");
  else {
    const width = Math.min(sizes[field.type], 4);
    field.values.forEach((value, index) => {
      if (value < 0) out.writeInt32LE(value, at + index * width);
      else out.writeUIntLE(value, at + index * width, width);
    });
  }
}
