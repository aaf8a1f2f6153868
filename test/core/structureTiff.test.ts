/**
 * TIFF and raws with its structure, by TIFF 6.0 (1992), section 2 and appendix A. The story: raws whose header reads
 * well and whose last strip is gone, and makers who each do it a little differently and must not be blamed for it.
 */

import { expect, test } from "vitest";
import { buildTiff, type Field } from "../cards/generate/tiff.ts";
import { probed, whatIsWrong } from "../support/probing.ts";

const strip = Buffer.alloc(600, 7);
const rows: readonly Field[] = [
  { tag: 256, type: "long", values: [20] },
  { tag: 273, type: "data", data: strip },
  { tag: 279, type: "long", values: [strip.length] },
];

/** A directory by hand: tag, type, count, value or offset of each entry. */
function tiff(
  entries: readonly (readonly [number, number, number, number])[],
  options: { next?: number; rest?: Buffer; magic?: string } = {},
): Buffer {
  const out = Buffer.alloc(14 + entries.length * 12);
  out.write(options.magic ?? "II*\0", 0, "latin1");
  out.writeUInt32LE(8, 4);
  out.writeUInt16LE(entries.length, 8);
  entries.forEach(([tag, type, count, value], n) => {
    const at = 10 + n * 12;
    out.writeUInt16LE(tag, at);
    out.writeUInt16LE(type, at + 2);
    out.writeUInt32LE(count, at + 4);
    out.writeUInt32LE(value, at + 8);
  });
  out.writeUInt32LE(options.next ?? 0, 10 + entries.length * 12);
  return Buffer.concat([out, options.rest ?? Buffer.alloc(0)]);
}

const short = 3;
const long = 4;
const said = (content: Buffer): string | undefined => whatIsWrong("a.nef", content);

test("the smallest shape is well bounded but holds no picture", () => {
  // TIFF 6.0, section 2: header, an empty directory, no next one.
  expect(said(Buffer.from("49492a000800000000000000000000", "hex").subarray(0, 14))).toBe(
    "it holds no picture",
  );
});

test("strips, tiles, thumbnails and sub-directories that lie inside the file are whole", () => {
  const thumbnail: readonly Field[] = [
    { tag: 513, type: "data", data: strip },
    { tag: 514, type: "long", values: [strip.length] },
  ];
  const tiles: readonly Field[] = [
    { tag: 324, type: "data", data: strip },
    { tag: 325, type: "long", values: [strip.length] },
  ];
  for (const picture of [rows, thumbnail, tiles]) {
    expect(said(buildTiff([picture]))).toBeUndefined();
    expect(said(buildTiff([rows, picture]))).toBeUndefined();
    expect(said(buildTiff([[...rows, { tag: 330, type: "ifd", fields: picture }]]))).toBeUndefined();
  }
});

test("cut anywhere, it is called cut", () => {
  const whole = buildTiff([[...rows, { tag: 330, type: "ifd", fields: rows }], rows]);
  expect(said(whole)).toBeUndefined();
  for (let length = 8; length < whole.length; length += 1) {
    expect(said(whole.subarray(0, length)), `${length} of ${whole.length} bytes`).toBeDefined();
  }
});

test("offset and byte count of each strip must end inside the file, to the byte", () => {
  const one = (count: number): Buffer =>
    tiff(
      [
        [273, long, 1, 38],
        [279, long, 1, count],
      ],
      { rest: Buffer.alloc(100, 1) },
    );
  expect(said(one(100))).toBeUndefined();
  expect(said(one(101))).toContain("it ends before");
  // Lists of several, of SHORT and LONG: the last strip alone is missing.
  const many = (last: number): Buffer => {
    const rest = Buffer.alloc(200, 1);
    for (const [n, offset] of [60, 80, last].entries()) rest.writeUInt32LE(offset, n * 4);
    for (let n = 0; n < 3; n += 1) rest.writeUInt16LE(20, 12 + n * 2);
    return tiff(
      [
        [273, long, 3, 38],
        [279, short, 3, 50],
      ],
      { rest },
    );
  };
  expect(said(many(218))).toBeUndefined();
  expect(said(many(219))).toContain("it ends before");
});

test("lists of offsets and byte counts are equally long", () => {
  const rest = Buffer.alloc(40, 0);
  expect(
    said(
      tiff(
        [
          [273, long, 2, 38],
          [279, long, 1, 4],
        ],
        { rest },
      ),
    ),
  ).toBe("its table of contents is broken");
});

test("values must lie inside the file; unknown types are passed over", () => {
  // TIFF 6.0, section 2: readers skip fields of a type they don't know.
  const withEntry = (type: number, count: number, value: number): Buffer =>
    tiff([
      [271, type, count, value],
      [273, long, 1, 8],
      [279, long, 1, 4],
    ]);
  expect(said(withEntry(2, 4, 0xffff_ffff))).toBeUndefined();
  expect(said(withEntry(2, 50, 0))).toBeUndefined();
  expect(said(withEntry(2, 51, 0))).toContain("it ends before");
  expect(said(withEntry(5, 1, 43))).toContain("it ends before");
  expect(said(withEntry(12, 0xffff_ffff, 0xffff_ffff))).toContain("it ends before");
  expect(said(withEntry(99, 0xffff_ffff, 0xffff_ffff))).toBeUndefined();
});

test("both byte orders and BigTIFF are read", () => {
  const big = Buffer.alloc(8 + 2 + 24 + 4 + 10);
  big.write(
    "4d4d002a00000008 0002 0111000400000001000000260117000300000001000a0000".replaceAll(" ", ""),
    "hex",
  );
  expect(whatIsWrong("a.tif", big)).toBeUndefined();
  expect(whatIsWrong("a.tif", big.subarray(0, -1))).toContain("it ends before");
  // BigTIFF: offsets of 8 bytes, counts of 8 bytes, entries of 20.
  const wide = Buffer.alloc(16 + 8 + 40 + 8 + 10);
  wide.write("49492b0008000000 1000000000000000 0200000000000000".replaceAll(" ", ""), "hex");
  wide.write("11011000 0100000000000000 4800000000000000".replaceAll(" ", ""), 24, "hex");
  wide.write("17010400 0100000000000000 0a00000000000000".replaceAll(" ", ""), 44, "hex");
  expect(whatIsWrong("a.tif", wide)).toBeUndefined();
  expect(whatIsWrong("a.tif", wide.subarray(0, -1))).toContain("it ends before");
});

test("directories that lead back to themselves are refused", () => {
  const picture = [
    [273, long, 1, 8],
    [279, long, 1, 4],
  ] as const;
  expect(said(tiff(picture, { next: 8 }))).toBe("its table of contents is broken");
  expect(said(tiff([...picture, [330, long, 1, 8]]))).toBe("its table of contents is broken");
  // Notes that several pictures share are no loop.
  expect(said(tiff([...picture, [0x8769, long, 1, 8]]))).toBeUndefined();
});

test("makers' ways are no damage: no byte counts, counts of 0, notes without entries, a next offset of nothing", () => {
  const rest = Buffer.alloc(60, 0);
  expect(said(tiff([[273, long, 1, 8]]))).toBeUndefined();
  expect(
    said(
      tiff([
        [273, long, 1, 8],
        [279, long, 1, 0],
      ]),
    ),
  ).toBeUndefined();
  expect(
    said(
      tiff(
        [
          [273, long, 1, 8],
          [0x8825, long, 1, 60],
        ],
        { rest },
      ),
    ),
  ).toBeUndefined();
  // Ends right behind its last entry.
  expect(said(tiff([[273, long, 1, 8]]).subarray(0, 22))).toBeUndefined();
  expect(said(tiff([[273, long, 1, 99]]))).toContain("it ends before");
});

test("raws with a magic of their own are read as far as they are TIFF", () => {
  const olympus = { magic: "IIRO", next: 77 };
  expect(
    whatIsWrong(
      "a.orf",
      tiff(
        [
          [273, long, 1, 8],
          [279, long, 1, 4],
        ],
        olympus,
      ),
    ),
  ).toBeUndefined();
  expect(
    whatIsWrong(
      "a.orf",
      tiff(
        [
          [273, long, 1, 8],
          [279, long, 1, 400],
        ],
        olympus,
      ),
    ),
  ).toContain("it ends before");
  // ExifTool's tag names for RW2: StripOffsets may be FFFFFFFFh, StripByteCounts no length in the file, 0118h the offset.
  const panasonic = (offset: number): Buffer =>
    tiff(
      [
        [273, long, 1, 0xffff_ffff],
        [279, long, 1, 20_511_792],
        [0x118, long, 1, offset],
      ],
      {
        magic: "IIU\0",
        rest: strip,
      },
    );
  expect(whatIsWrong("a.rw2", panasonic(50))).toBeUndefined();
  expect(whatIsWrong("a.rw2", panasonic(50_000))).toContain("it ends before");
});

test("one model's offset of raw data under the tag of sub-directories isn't taken for one", () => {
  // ExifTool's tag names: A100DataOffset.
  const rest = Buffer.concat([Buffer.from("DSLR-A100\0"), Buffer.alloc(80, 0xf7)]);
  const raw = tiff(
    [
      [272, 2, 10, 50],
      [273, long, 1, 8],
      [330, long, 1, 61],
    ],
    { rest },
  );
  expect(whatIsWrong("a.arw", raw)).toBeUndefined();
  expect(whatIsWrong("a.nef", raw)).toBe("its table of contents is broken");
});

test("hostile directories: too many of them, too many entries, endless lists", () => {
  // Each of 3,000 directories leads to the next.
  const chain = Buffer.alloc(8 + 3000 * 6);
  chain.write("II*\0\u0008\0\0\0", 0, "latin1");
  for (let n = 0; n < 2999; n += 1) chain.writeUInt32LE(8 + (n + 1) * 6, 8 + n * 6 + 2);
  expect(probed("a.nef", chain).wants).toBeLessThan(1200);
  const full = Buffer.alloc(900_000, 0xff);
  full.write("II*\0\u0008\0\0\0", 0, "latin1");
  expect(said(full)).toBe("its table of contents is broken");
  // A list of strips that fills the file, all inside it.
  const strips = 3_000_000;
  const list = tiff(
    [
      [273, long, strips, 38],
      [279, short, strips, 38],
    ],
    { rest: Buffer.alloc(strips * 4) },
  );
  list[38] = 1;
  const { wrong, wants } = probed("a.tif", list);
  expect(wrong).toBeUndefined();
  expect(wants).toBeLessThan(50);
});
