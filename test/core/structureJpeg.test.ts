/**
 * JPEG, by ITU-T T.81 (1992), B.1.1 and Table B.1, of which a restatement was at hand. The story: a picture whose end
 * the card lost, one that was overwritten in the middle, and cameras that write more than one picture into a file.
 */

import { expect, test } from "vitest";
import { probed, whatIsWrong } from "../support/probing.ts";

const hex = (text: string): Buffer => Buffer.from(text.replaceAll(" ", ""), "hex");
const soi = hex("ffd8");
const eoi = hex("ffd9");
const frame = hex("ffc0 000b 08 0010 0010 01 01 11 00");
const progressive = hex("ffc2 000b 08 0010 0010 01 01 11 00");
const scan = hex("ffda 0008 01 01 00 00 3f 00");
const restartEvery4 = hex("ffdd 0004 0004");
const data = hex("12 34 ff00 56 78");
const join = (...parts: readonly Buffer[]): Buffer => Buffer.concat(parts);
const said = (...parts: readonly Buffer[]): string | undefined => whatIsWrong("a.jpg", join(...parts));

/** A note as APP1 with content, its length counting itself (B.1.1.4). */
function segment(code: number, content: Buffer): Buffer {
  const head = hex("ff00 0000");
  head[1] = code;
  head.writeUInt16BE(content.length + 2, 2);
  return join(head, content);
}

const whole = [soi, frame, scan, data, eoi] as const;

test("a picture from SOI through segments and image data to EOI is whole", () => {
  expect(said(...whole)).toBeUndefined();
  // Several scans with tables between them, as progressive pictures have them; DNL behind the first (B.2.5).
  const dnl = segment(0xdc, hex("0010"));
  const tables = segment(0xc4, Buffer.alloc(17));
  expect(said(soi, progressive, scan, data, dnl, tables, scan, data, eoi)).toBeUndefined();
});

test("without EOI it was cut short, wherever the end is", () => {
  const picture = join(soi, segment(0xe1, Buffer.alloc(40)), frame, scan, data, eoi);
  for (let length = 3; length < picture.length; length += 1) {
    expect(whatIsWrong("a.jpg", picture.subarray(0, length)), `${length} bytes`).toBe(
      "it has no end of image",
    );
  }
  // Zeros after the break leave no EOI either.
  expect(said(soi, frame, scan, data, Buffer.alloc(200_000))).toBe("it has no end of image");
});

test("the EOI of a thumbnail in a segment isn't the picture's", () => {
  const thumbnail = segment(0xe1, join(Buffer.from("Exif\0\0"), ...whole));
  expect(said(soi, thumbnail, frame, scan, data)).toBe("it has no end of image");
  expect(said(soi, thumbnail, frame, scan, data, eoi)).toBeUndefined();
});

test("fill bytes before a marker, zeros between segments and anything behind EOI are legal", () => {
  expect(said(soi, hex("ffffff"), frame, hex("ff"), scan, data, hex("ffff"), eoi)).toBeUndefined();
  expect(said(soi, segment(0xe1, data), Buffer.alloc(100), frame, scan, data, eoi)).toBeUndefined();
  expect(said(...whole, Buffer.alloc(5000, 7))).toBeUndefined();
  expect(said(...whole, Buffer.from("notes of a maker, and a preview"), ...whole)).toBeUndefined();
});

test("a second picture right behind the first is checked too", () => {
  // CIPA DC-007 (Multi-Picture Format): individual images follow one another.
  expect(whatIsWrong("a.mpo", join(...whole, ...whole))).toBeUndefined();
  expect(whatIsWrong("a.mpo", join(...whole, ...whole).subarray(0, -2))).toBe("it has no end of image");
});

test("restart markers come in turn where an interval is set, and each scan begins again with RST0", () => {
  const turns = (...numbers: readonly number[]): Buffer =>
    join(data, ...numbers.map((n) => join(hex(`ffd${n}`), data)));
  const begin = [soi, restartEvery4, progressive, scan];
  expect(said(...begin, turns(0, 1, 2, 3, 4, 5, 6, 7, 0, 1), scan, turns(0, 1), eoi)).toBeUndefined();
  for (const wrong of [turns(1), turns(0, 2), turns(0, 0), turns(0, 1, 2, 3, 4, 5, 6, 7, 1)]) {
    expect(said(...begin, wrong, eoi)).toBe("its image data is broken");
  }
  expect(said(...begin, turns(0, 1), scan, turns(2), eoi)).toBe("its image data is broken");
  // An interval of 0 switches restarts off (B.2.4.4); who then sets them all the same does no harm.
  const off = hex("ffdd 0004 0000");
  expect(said(soi, off, frame, scan, turns(5, 3), eoi)).toBeUndefined();
});

test("markers that can't be in image data are damage", () => {
  // Table B.1: 02h to BFh reserved, SOI, JPG0 to JPG13; a second frame header belongs to hierarchical pictures only.
  for (const code of [
    "ff01ff02",
    "ff02",
    "ff4f",
    "ffbf",
    "ffd8",
    "fff0",
    "fffd",
    "ffc8",
    "ffc00011",
    "ffde",
  ]) {
    expect(said(soi, frame, scan, data, hex(code), data, eoi), code).toBe("its image data is broken");
  }
});

test("headers that can't be are damage", () => {
  expect(said(soi, scan, data, eoi)).toBe("it has no frame header");
  expect(said(soi, frame, eoi)).toBe("it holds no image data");
  expect(said(soi, hex("ffe1 0001"), frame, scan, data, eoi)).toBe("its parts don't follow one another");
  expect(said(soi, hex("ffe1 0004 0000 11"), frame, scan, data, eoi)).toBe(
    "its parts don't follow one another",
  );
  // A scan of more components than its length has room for (B.2.3).
  expect(said(soi, frame, hex("ffda 0008 02 01 00 00 3f 00"), data, eoi)).toBeDefined();
});

test("an EOI in overwritten image data doesn't hide what was lost behind it", () => {
  // The file ends with another EOI to which no beginning belongs.
  const rest = Buffer.alloc(4000, 0x55);
  expect(said(soi, frame, scan, data, eoi, rest, eoi)).toBe("its image data ends too early");
  expect(said(soi, frame, scan, data, eoi, rest, ...whole)).toBeUndefined();
});

test("a picture of many megabytes is asked for in few pieces, with markers across their borders", () => {
  const size = 3 * 1024 * 1024;
  for (const shift of [-3, -2, -1, 0, 1]) {
    const start = [soi, restartEvery4, frame, scan];
    const before = join(...start).length;
    const image = Buffer.alloc(size, 0x11);
    // The first want is 64 KiB, those in image data 1 MiB.
    for (let n = 0; n < 2; n += 1) image.set([0xff, 0xd0 + n], 65_536 + n * 1_048_576 - before + shift);
    const picture = join(...start, image, eoi);
    const { wrong, wants } = probed("a.jpg", picture);
    expect(wrong, `shifted by ${shift}`).toBeUndefined();
    expect(wants).toBeLessThan(10);
    image.set([0xff, 0x05], 65_536 + 1_048_576 - before + shift);
    expect(whatIsWrong("a.jpg", join(...start, image, eoi)), `shifted by ${shift}`).toContain("broken");
  }
});

test("hostile pictures: endless fill bytes, and segments and scans without content", () => {
  expect(said(soi, Buffer.alloc(300_000, 0xff))).toBeDefined();
  // Any number of fill bytes may precede a marker (B.1.1.2).
  expect(
    probed("a.jpg", join(soi, frame, scan, data, Buffer.alloc(3_000_000, 0xff), eoi)).wants,
  ).toBeLessThan(10);
  const nothing = Buffer.from("fffe0002".repeat(500_000), "hex");
  const many = probed("a.jpg", join(soi, nothing, frame, scan, data, eoi));
  expect(many.wrong).toBeUndefined();
  expect(many.wants).toBeLessThan(50);
  const scans = Buffer.from("ffda00080101003f0012".repeat(200_000), "hex");
  const manyScans = probed("a.jpg", join(soi, frame, scans, eoi));
  expect(manyScans.wrong).toBeUndefined();
  expect(manyScans.wants).toBeLessThan(50);
});
