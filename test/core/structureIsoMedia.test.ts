/**
 * Films, HEIF pictures and raws of boxes, by ISO/IEC 14496-12:2015, 4.2, known through restatements. The story: a
 * recording that ended when the battery did, a film that lost its end, and boxes of makers that nobody else knows.
 */

import { expect, test } from "vitest";
import { probed, whatIsWrong } from "../support/probing.ts";

const join = (...parts: readonly Buffer[]): Buffer => Buffer.concat(parts);
const hex = (text: string): Buffer => Buffer.from(text.replaceAll(" ", ""), "hex");

function box(type: string, ...content: readonly Buffer[]): Buffer {
  const head = Buffer.alloc(8);
  head.writeUInt32BE(8 + content.reduce((sum, part) => sum + part.length, 0));
  head.write(type, 4, "latin1");
  return join(head, ...content);
}

const ftyp = box("ftyp", Buffer.from("isom\0\0\u0002\0isom", "latin1"));
const moov = box(
  "moov",
  box("mvhd", Buffer.alloc(100)),
  box("trak", box("tkhd", Buffer.alloc(84)), box("mdia")),
);
const mdat = box("mdat", Buffer.alloc(3000, 7));
const said = (...parts: readonly Buffer[]): string | undefined => whatIsWrong("a.mp4", join(...parts));

test("boxes that sum up to the file are whole, the index first or last, in fragments too", () => {
  expect(said(ftyp, mdat, moov)).toBeUndefined();
  expect(said(ftyp, moov, mdat)).toBeUndefined();
  expect(said(ftyp, moov, box("moof"), mdat, box("moof"), mdat, box("mfra"))).toBeUndefined();
});

test("boxes of the standard's own examples", () => {
  // 14496-12, 4.2: an empty `free`; an empty `mdat` with a size of 64 bits; 2 to 7 are no sizes; 256 of which 8 are there.
  expect(said(ftyp, hex("00000008 66726565"), mdat, moov)).toBeUndefined();
  expect(said(ftyp, moov, hex("00000001 6d646174 0000000000000010"))).toBeUndefined();
  expect(said(ftyp, moov, hex("00000001 6d646174 000000000000000f"))).toBe(
    "its parts don't follow one another",
  );
  for (let size = 2; size < 8; size += 1) {
    expect(said(ftyp, hex(`0000000${size} 66726565`), moov)).toBe("its parts don't follow one another");
  }
  expect(said(ftyp, moov, hex("00000100 6d646174"))).toContain("it ends before");
  expect(said(ftyp, moov, hex("00000001 6d646174"))).toContain("it ends before");
  expect(said(ftyp, moov, hex("00000001 6d646174 ffffffffffffffff"))).toContain("it ends before");
  // A size of 0 runs to the end of the file. A `uuid` has 16 bytes more.
  expect(said(ftyp, moov, hex("00000000 6d646174"), Buffer.alloc(99, 1))).toBeUndefined();
  expect(said(ftyp, box("uuid", Buffer.alloc(16)), mdat, moov)).toBeUndefined();
  expect(said(ftyp, box("uuid", Buffer.alloc(15)), moov)).toBe("its parts don't follow one another");
});

test("cut anywhere, it is called cut", () => {
  for (const whole of [join(ftyp, moov, mdat), join(ftyp, mdat, moov)]) {
    for (let length = 1; length < whole.length; length += 1) {
      expect(whatIsWrong("a.mov", whole.subarray(0, length)), `${length} bytes`).toBeDefined();
    }
  }
});

test("a recording without an index was cut off", () => {
  const cutOff = "its recording was cut off and has no index";
  expect(said(ftyp, mdat)).toBe(cutOff);
  // As cameras leave it (from memory): the size of `mdat` still 0.
  expect(said(ftyp, hex("00000000 6d646174"), Buffer.alloc(5000, 9))).toBe(cutOff);
  expect(said(ftyp, box("meta"), mdat)).toBe(cutOff);
});

test("an index without a recording is what is left of a film", () => {
  expect(said(ftyp, moov)).toBe("it ends before its recording begins");
});

test("a picture needs no index of a film but its own", () => {
  const heic = box("ftyp", Buffer.from("heic\0\0\0\0mif1heic", "latin1"));
  expect(whatIsWrong("a.heic", join(heic, box("meta"), mdat))).toBeUndefined();
  // A phone may call it JPG.
  expect(whatIsWrong("a.jpg", join(heic, box("meta"), mdat))).toBeUndefined();
  expect(whatIsWrong("a.hif", join(heic, mdat))).toBe("it holds no picture");
});

test("old films without ftyp, boxes of makers and a little padding are legal", () => {
  for (const type of ["mdat", "wide", "free", "skip", "pnot"]) {
    expect(whatIsWrong("a.mov", join(box(type, Buffer.alloc(8)), mdat, moov)), type).toBeUndefined();
  }
  expect(said(ftyp, moov, mdat, box("XyZ ", Buffer.alloc(9000)))).toBeUndefined();
  expect(said(ftyp, moov, mdat, box("free", Buffer.alloc(9000)))).toBeUndefined();
  expect(said(ftyp, moov, mdat, Buffer.alloc(511))).toBeUndefined();
  expect(said(ftyp, moov, mdat, Buffer.alloc(512))).toBe("its parts don't follow one another");
});

test("notes behind the boxes of all-round cameras are legal only at the length they say", () => {
  // ExifTool's description: the length 40 bytes before the end, a fixed word as the last 32.
  const notes = (length: number): Buffer => {
    const out = Buffer.alloc(5000, 3);
    out.writeUInt32LE(length, out.length - 40);
    out.write("8db42d694ccc418790edff439fe026bf", out.length - 32, "latin1");
    return out;
  };
  expect(whatIsWrong("a.insv", join(ftyp, mdat, moov, notes(5000)))).toBeUndefined();
  expect(whatIsWrong("a.insv", join(ftyp, mdat, moov, notes(4999)))).toBeDefined();
});

test("an index whose boxes don't fit into one another is broken", () => {
  const broken = "its index is broken";
  const long = join(hex("00000064"), Buffer.from("mdia"));
  expect(said(ftyp, mdat, box("moov", box("mvhd"), box("trak", long)))).toBe(broken);
  expect(said(ftyp, mdat, box("moov", box("mvhd"), Buffer.alloc(40)))).toBe(broken);
  // Four zeros may end a list in QuickTime; user data begins with a copyright sign.
  expect(said(ftyp, mdat, box("moov", box("mvhd"), box("\u00a9nam"), Buffer.alloc(4)))).toBeUndefined();
});

test("hostile films: boxes in boxes without end, and a million of them", () => {
  let deep = box("moov");
  for (let n = 0; n < 2000; n += 1) deep = box(["moov", "stbl", "minf", "mdia", "trak"][n % 5] ?? "", deep);
  expect(said(ftyp, box("moov", deep), mdat)).toBeUndefined();
  const many = probed("a.mp4", join(ftyp, moov, Buffer.from("0000000866726565".repeat(1_000_000), "hex")));
  expect(many.wrong).toBeUndefined();
  expect(many.wants).toBeLessThan(3000);
});
