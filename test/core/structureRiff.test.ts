/**
 * Sound and film of RIFF chunks, by Microsoft's AVI RIFF File Reference; WAVE has the same rules. The story: a voice
 * memo that lost its end, and a recording whose length the camera never came to fill in.
 */

import { expect, test } from "vitest";
import { probed, whatIsWrong } from "../support/probing.ts";

const join = (...parts: readonly Buffer[]): Buffer => Buffer.concat(parts);

function chunk(id: string, content: Buffer, size = content.length): Buffer {
  const head = Buffer.alloc(8);
  head.write(id, 0, "latin1");
  head.writeUInt32LE(size, 4);
  return join(head, content, Buffer.alloc(content.length & 1));
}

function riff(form: string, parts: readonly Buffer[], options: { size?: number; id?: string } = {}): Buffer {
  const content = join(Buffer.from(form, "latin1"), ...parts);
  return chunk(options.id ?? "RIFF", content, options.size ?? content.length);
}

const format = chunk("fmt ", Buffer.alloc(16, 1));
const unfinished = "its recording was not finished";
const cut = "it holds less than it says";
const said = (content: Buffer): string | undefined => whatIsWrong("a.wav", content);

test("44 bytes without samples are a whole WAV", () => {
  // RIFF size 36 = file size - 8, data size 0.
  const empty = riff("WAVE", [format, chunk("data", Buffer.alloc(0))]);
  expect([empty.length, empty.readUInt32LE(4)]).toEqual([44, 36]);
  expect(said(empty)).toBeUndefined();
});

test("chunks are padded to an even length, silence and unknown chunks are legal", () => {
  expect(
    said(riff("WAVE", [format, chunk("odd ", Buffer.alloc(7)), chunk("data", Buffer.alloc(901))])),
  ).toBeUndefined();
  expect(said(riff("WAVE", [format, chunk("data", Buffer.alloc(100_000))]))).toBeUndefined();
  // Without the last pad byte, which some writers leave out (common practice, no source).
  expect(said(riff("WAVE", [format, chunk("data", Buffer.alloc(901))]).subarray(0, -1))).toBeUndefined();
});

test("cut anywhere, it is called cut", () => {
  const whole = riff("WAVE", [
    format,
    chunk("LIST", Buffer.alloc(20, 2)),
    chunk("data", Buffer.alloc(200, 3)),
  ]);
  for (let length = 1; length < whole.length; length += 1) {
    expect(said(whole.subarray(0, length)), `${length} bytes`).toBeDefined();
  }
  expect(said(whole.subarray(0, -1))).toBe(cut);
  // All chunks whole, one gone from the end.
  const shortened = riff("WAVE", [format, chunk("data", Buffer.alloc(200, 3))], { size: 300 });
  expect(said(shortened)).toBe(cut);
});

test("a length that was never filled in is a recording that wasn't finished", () => {
  const samples = chunk("data", Buffer.alloc(800, 3));
  expect(said(riff("WAVE", [format, samples], { size: 0 }))).toBe(unfinished);
  expect(said(riff("WAVE", [format, samples], { size: 0xffff_ffff }))).toBe(unfinished);
  const open = (size: number): Buffer => chunk("data", Buffer.alloc(800, 3), size);
  expect(said(riff("WAVE", [format, open(0)]))).toBe(unfinished);
  expect(said(riff("WAVE", [format, open(0xffff_ffff)]))).toBe(unfinished);
});

test("what isn't a chunk, and a recording without one for its sound, is damage", () => {
  expect(said(riff("WAVE", [format, Buffer.alloc(900, 1)]))).toBe("its parts don't follow one another");
  expect(said(riff("WAVE", [format]))).toBe("it holds no recording");
});

test("RIFX has its numbers the other way round, RF64 its sizes in ds64", () => {
  const swapped = riff("WAVE", [format, chunk("data", Buffer.alloc(80, 1))], { id: "RIFX" });
  for (const at of [4, 16, 40]) swapped.subarray(at, at + 4).reverse();
  expect(said(swapped)).toBeUndefined();
  expect(said(swapped.subarray(0, -2))).toBe(cut);
  // EBU Tech 3306: both sizes FFFFFFFFh, the true ones in the first chunk.
  const large = (dataSize: number): Buffer => {
    const sizes = Buffer.alloc(28);
    const data = chunk("data", Buffer.alloc(600, 1), 0xffff_ffff);
    sizes.writeUInt32LE(4 + 36 + 24 + data.length, 0);
    sizes.writeUInt32LE(dataSize, 8);
    return riff("WAVE", [chunk("ds64", sizes), format, data], { id: "RF64", size: 0xffff_ffff });
  };
  expect(said(large(600))).toBeUndefined();
  expect(said(large(601))).toBe(cut);
});

test("a long film goes on in further RIFFs, and each is looked into", () => {
  // OpenDML 1.02: RIFF `AVI ` is followed by RIFF `AVIX`.
  const first = riff("AVI ", [chunk("LIST", Buffer.alloc(90, 1)), chunk("idx1", Buffer.alloc(16))]);
  const further = riff("AVIX", [chunk("LIST", Buffer.alloc(500, 1))]);
  expect(whatIsWrong("a.avi", join(first, further, further))).toBeUndefined();
  expect(whatIsWrong("a.avi", join(first, further, further).subarray(0, -1))).toBe(cut);
  expect(whatIsWrong("a.avi", riff("AVI ", [chunk("JUNK", Buffer.alloc(90))]))).toBe("it holds no recording");
});

test("hostile sound: a million empty chunks", () => {
  const many = riff("WAVE", [
    format,
    chunk("data", Buffer.alloc(8)),
    Buffer.from("4a554e4b00000000".repeat(1e6), "hex"),
  ]);
  const { wrong, wants } = probed("a.wav", many);
  expect(wrong).toBeUndefined();
  expect(wants).toBeLessThan(3000);
});
