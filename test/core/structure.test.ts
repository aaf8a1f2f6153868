/**
 * Structure checks as a whole. The story: whatever lies on a card under whatever name, a check ends soon, never throws,
 * and judges by what the bytes are. What each format's rules are is tested beside this.
 */

import { beforeAll, expect, test } from "vitest";
import { type Probe, probeFor } from "../../daemon/core/structure/probe.ts";
import { bytes } from "../../shared/units.ts";
import { wholeFiles } from "../fuzz/wholeFiles.ts";
import { probed, whatIsWrong } from "../support/probing.ts";
import { seeded } from "./seeded.ts";

let files: ReturnType<typeof wholeFiles>;
beforeAll(() => {
  files = wholeFiles({ seed: 5, rounds: 1 });
});

function generated(name: string): Buffer {
  const file = files.find((each) => each.name === name);
  if (file === undefined) throw new Error(`there is no ${name}`);
  return file.content;
}

test("formats whose structure is known are checked by any case of their extension, others aren't", () => {
  const checked =
    "a.JPG a.jpeg a.mpo a.thm a.dng a.NEF a.cr2 a.cr3 a.rw2 a.orf a.heic a.mp4 a.MOV a.wav a.avi a.raf";
  for (const name of checked.split(" ")) expect(probeFor(name), name).toBeDefined();
  const unchecked = "a.xmp a.crw a.mrw a.x3f a.raw a.mts a.png a.txt a jpg .jpg DCIM/100.jpg/a";
  for (const name of unchecked.split(" ")) expect(probeFor(name), name).toBeUndefined();
});

test("an empty file is called so, whatever its kind", () => {
  for (const name of ["a.jpg", "a.dng", "a.mp4", "a.wav", "a.raf"]) {
    expect(whatIsWrong(name, new Uint8Array(0)), name).toBe("it is empty");
  }
});

test("a file is checked as what it is, not as what it is called", () => {
  expect(whatIsWrong("a.nef", generated("generated0.jpg"))).toBeUndefined();
  expect(whatIsWrong("a.jpg", generated("generated0.dng"))).toBeUndefined();
  expect(whatIsWrong("a.jpg", generated("generated0.mov"))).toBeUndefined();
  expect(whatIsWrong("a.tif", generated("generated0.wav"))).toBeUndefined();
  expect(whatIsWrong("a.nef", generated("generated0.jpg").subarray(0, 9000))).toBe("it has no end of image");
});

test("what begins like nothing that is known isn't what its name says", () => {
  const text = Buffer.from("This is a letter and no picture at all.\n");
  expect(whatIsWrong("a.jpg", text)).toBe("it doesn't begin as a JPEG");
  expect(whatIsWrong("a.nef", text)).toBe("it doesn't begin as a TIFF");
  expect(whatIsWrong("a.mp4", text)).toBe("it doesn't begin as a film or HEIF picture");
  expect(whatIsWrong("a.wav", text)).toBe("it doesn't begin as sound or film of the RIFF kind");
  expect(whatIsWrong("a.raf", text)).toBe("it doesn't begin as a RAF");
  for (const name of ["a.jpg", "a.nef", "a.mp4", "a.wav", "a.raf"]) {
    for (const size of [1, 2, 3, 4, 7, 8, 9, 11, 12, 15, 16]) {
      expect(whatIsWrong(name, Buffer.alloc(size)), `${size} zeros as ${name}`).toBeDefined();
    }
  }
});

test("a raw or film whose last sixteenth was never written is called so, a picture that ends in black isn't", () => {
  const emptied = (name: string, share: number): Buffer => {
    const content = Buffer.from(generated(name));
    return content.fill(0, Math.floor(content.length * share));
  };
  for (const name of ["generated0.dng", "first0.mp4"]) {
    expect(whatIsWrong(name, emptied(name, 15 / 16)), name).toBe("its end is empty");
    // Less may be anything.
    expect(whatIsWrong(name, emptied(name, 31 / 32)), name).toBeUndefined();
  }
  expect(whatIsWrong("a.tif", emptied("generated0.dng", 15 / 16))).toBeUndefined();
});

test("a RAF's parts must lie inside it", () => {
  // ExifTool's description of RAF: JPEG at 84, settings at 92, sensor data at 100, each offset and length.
  const raf = Buffer.alloc(0x94 + 4096, 1);
  raf.write("FUJIFILMCCD-RAW 0201FF000000Aldine", 0, "latin1");
  const put = (at: number, offset: number, length: number): void => {
    raf.writeUInt32BE(offset, at);
    raf.writeUInt32BE(length, at + 4);
  };
  put(0x54, 0x94, 96);
  put(0x5c, 0xf4, 1000);
  put(0x64, 0x94 + 96 + 1000, 3000);
  put(0x78, 0, 0);
  put(0x80, 0, 0);
  expect(whatIsWrong("a.raf", raf)).toBeUndefined();
  expect(whatIsWrong("a.raf", raf.subarray(0, -1))).toContain("it ends before");
  expect(whatIsWrong("a.raf", raf.subarray(0, 0x60))).toBe("it ends within its header");
  // A short header ends where the JPEG begins: what stands there is picture, not an offset.
  put(0x54, 0x6c, 96);
  put(0x78, 0xffff_ffff, 0xffff_ffff);
  expect(whatIsWrong("a.raf", raf)).toBeUndefined();
});

test("any bytes changed, cut or doubled: a check ends within its bound and never throws", () => {
  const random = seeded(77);
  const starts = files.map(({ name, content }) => ({ name, content: content.subarray(0, 40_000) }));
  let damaged = 0;
  for (let round = 0; round < 10_000; round += 1) {
    const { name, content } = random.pick(starts);
    // Most of what is read is in the first bytes.
    const changed = Buffer.from(content.subarray(0, 1 + random.below(content.length)));
    const changes = 1 + random.below(8);
    for (let n = 0; n < changes; n += 1) {
      const at = random.below(random.pick([64, 1024, changed.length])) % changed.length;
      changed[at] = random.pick([0, 1, 2, 7, 8, 0x7f, 0x80, 0xd8, 0xd9, 0xda, 0xff, random.below(256)]);
    }
    const { wrong, wants, bytesRead } = probed(name, changed);
    if (wrong !== undefined) damaged += 1;
    expect(wants, `${name}, round ${round}`).toBeLessThan(600);
    expect(bytesRead, `${name}, round ${round}`).toBeLessThan(20_000_000);
    expect(wrong ?? "it is well", `${name}, round ${round}`).toMatch(/^its? [^.\n]+$/);
  }
  expect(damaged).toBeGreaterThan(9_000);
});

test("bytes that never come are an end, and the wants stay bounded", () => {
  // As a card that shrinks, or lies about a file's size, would have it.
  for (const [name, head] of files.map(({ name, content }) => [name, content.subarray(0, 4096)] as const)) {
    const { wrong, wants } = driven(probeOf(name, 3_000_000_000), (at, length) =>
      head.subarray(at, at + length),
    );
    if (name.endsWith(".jpg")) expect(wrong, name).toBe("it has no end of image");
    expect(wants, name).toBeLessThan(100);
  }
});

test("what asks for more and more is let go after a bound, and nothing is known to be wrong", () => {
  // Films of empty boxes, made up as they are asked for.
  const boxes = Buffer.from("0000000866726565".repeat(512), "hex");
  const { wrong, wants } = driven(probeOf("a.mp4", 2_000_000_000), (at, length) => {
    const piece = Buffer.alloc(length);
    for (let n = 0; n < length; n += 1) piece[n] = boxes[(at + n) % 8] ?? 0;
    return piece;
  });
  expect(wrong).toBeUndefined();
  expect(wants).toBeLessThan(300);
  // The same in boxes that lie far apart.
  const apart = driven(probeOf("a.mp4", 9_000_000_000_000), (_, length) => {
    const piece = Buffer.alloc(length);
    piece.write("\0\u0010\0\0free", "latin1");
    return piece;
  });
  expect(apart.wrong).toBeUndefined();
  expect(apart.wants).toBeGreaterThan(90_000);
  expect(apart.wants).toBeLessThan(110_000);
});

function probeOf(name: string, size: number): Probe {
  const probe = probeFor(name)?.(bytes(size));
  if (probe === undefined) throw new Error(`files like ${name} aren't checked`);
  return probe;
}

function driven(
  probe: Probe,
  read: (at: number, length: number) => Uint8Array,
): { readonly wrong: string | undefined; readonly wants: number } {
  let wants = 0;
  let step = probe.next();
  for (; step.done !== true; wants += 1) step = probe.next(read(step.value.at, step.value.length));
  return { wrong: step.value, wants };
}
