/**
 * Whole files of the kinds that cameras write: generated ones, and where Debian's tools are there, files by encoders
 * that share no code with this project. For measuring structure checks: each must be called whole.
 */

import { execFileSync } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { ShotFacts } from "../cards/generate/exif.ts";
import { cameraJpeg, encodeJpeg } from "../cards/generate/jpeg.ts";
import { film } from "../cards/generate/mov.ts";
import { cameraRaw, mosaicOf, rgbOf } from "../cards/generate/raw.ts";
import { type Picture, paintScene, shrink } from "../cards/generate/scene.ts";
import { voiceMemo } from "../cards/generate/wav.ts";

export const kinds = ["JPEG", "TIFF", "film, index last", "film, index first", "WAV"] as const;
export type Kind = (typeof kinds)[number];

export interface WholeFile {
  readonly kind: Kind;
  /** By which a check is chosen. */
  readonly name: string;
  readonly content: Buffer;
}

export interface FilesWish {
  readonly seed: number;
  /** Each makes one file of each kind, of another size and picture, and those of the tools. */
  readonly rounds: number;
}

/** What the tools' files need, one a package of Debian. */
export const encoders = {
  "libjpeg-turbo-progs": existsSync("/usr/bin/cjpeg"),
  "libtiff-tools": existsSync("/usr/bin/tiffcp") && existsSync("/usr/bin/ppm2tiff"),
} as const;

export function wholeFiles({ seed, rounds }: FilesWish): readonly WholeFile[] {
  return Array.from({ length: rounds }, (_, round) => {
    // A sixteenth of the smallest still holds more than its header: what lies in a header's notes alone isn't seen.
    const [width, height] = [480 + 96 * (round % 4), 320 + 64 * (round % 3)];
    const picture = paintScene({ width, height, seed: seed + round, light: (round % 5) / 4 });
    const painted = withGrain(picture, seed + round);
    return [
      ...generated(painted, seed, round),
      ...(encoders["libjpeg-turbo-progs"] ? jpegsOf(painted, round) : []),
      ...(encoders["libtiff-tools"] ? tiffsOf(painted, round) : []),
    ];
  }).flat();
}

function generated(picture: Picture, seed: number, round: number): WholeFile[] {
  const small = shrink(picture, 6);
  const jpeg = encodeJpeg(picture, 85 + 4 * (round % 4));
  const facts = { width: picture.width, height: picture.height, framesPerSecond: 12, created: 1_800_000_000 };
  const frames = Array.from({ length: 4 + round }, (_, n) =>
    encodeJpeg(withGrain(small, round * 99 + n), 80),
  );
  const movie = film(frames, { ...facts, make: "Aldine", model: "Aldine M1" });
  const raw = cameraRaw(mosaicOf(picture), small, rgbOf(small), shot, seed * 31 + round);
  return [
    {
      kind: "JPEG",
      name: `generated${round}.jpg`,
      content: cameraJpeg(jpeg, encodeJpeg(shrink(picture, 8), 60), shot),
    },
    { kind: "TIFF", name: `generated${round}.dng`, content: raw },
    { kind: "film, index last", name: `generated${round}.mov`, content: movie },
    { kind: "film, index first", name: `first${round}.mp4`, content: indexFirst(movie) },
    { kind: "WAV", name: `generated${round}.wav`, content: voiceMemo(1 + 0.37 * round, 500 + 60 * round) },
  ];
}

/** The same film with its index before its data, and the one chunk offset moved with it. */
export function indexFirst(movie: Buffer): Buffer {
  const head = movie.readUInt32BE(0);
  const data = movie.readUInt32BE(head);
  const index = Buffer.from(movie.subarray(head + data));
  const offset = index.indexOf("stco") + 12;
  index.writeUInt32BE(index.readUInt32BE(offset) + index.length, offset);
  return Buffer.concat([movie.subarray(0, head), index, movie.subarray(head, head + data)]);
}

/** By libjpeg: what cameras choose among in T.81. */
function jpegsOf(picture: Picture, round: number): WholeFile[] {
  const ppm = ppmOf(picture);
  const ways = [
    ["-quality", "95", "-sample", "1x1"],
    ["-quality", "92", "-optimize"],
    ["-quality", "92", "-progressive"],
    ["-quality", "96", "-restart", "1"],
    ["-quality", "96", "-restart", "3B", "-progressive"],
    ["-quality", "98", "-grayscale"],
    ["-quality", "92", "-arithmetic"],
  ];
  return ways.map((way) => ({
    kind: "JPEG",
    name: `cjpeg${round}${way.join("")}.jpg`,
    content: execFileSync("/usr/bin/cjpeg", way, { input: ppm }),
  }));
}

/** By libtiff: both byte orders, BigTIFF, strips, tiles, with and without compression. */
function tiffsOf(picture: Picture, round: number): WholeFile[] {
  const ways = [
    ["-c", "none", "-r", "8"],
    ["-c", "none", "-B"],
    ["-c", "lzw", "-r", "16"],
    ["-c", "zip", "-t", "-w", "64", "-l", "64"],
    ["-c", "packbits", "-L"],
    ["-8", "-c", "lzw"],
    ["-8", "-B", "-c", "none", "-t", "-w", "128", "-l", "64"],
  ];
  const folder = mkdtempSync(join(tmpdir(), "scrubjay-damage-"));
  try {
    const [ppm, plain, out] = ["in.ppm", "plain.tif", "out.tif"].map((name) => join(folder, name));
    if (ppm === undefined || plain === undefined || out === undefined) return [];
    writeFileSync(ppm, ppmOf(picture));
    execFileSync("/usr/bin/ppm2tiff", ["-c", "none", ppm, plain]);
    return ways.map((way) => {
      rmSync(out, { force: true });
      execFileSync("/usr/bin/tiffcp", [...way, plain, out]);
      return { kind: "TIFF", name: `tiffcp${round}${way.join("")}.tif`, content: readFileSync(out) };
    });
  } finally {
    rmSync(folder, { recursive: true });
  }
}

const shot: ShotFacts = {
  make: "Aldine",
  model: "Aldine R2",
  serial: "4410072",
  orientation: 1,
  dateTime: "2027:06:03 21:00:00",
  subSec: "05",
  uniqueId: "0".repeat(32),
  width: 480,
  height: 320,
  iso: 400,
  shutter: 250,
};

function ppmOf(picture: Picture): Buffer {
  return Buffer.concat([
    Buffer.from(`P6\n${picture.width} ${picture.height}\n255\n`, "latin1"),
    rgbOf(picture),
  ]);
}

/** Painted skies are smoother than any photograph, and compress to almost nothing. */
function withGrain(picture: Picture, seed: number): Picture {
  const data = Uint8Array.from(picture.data);
  let state = seed | 1;
  for (let n = 0; n < data.length; n += 1) {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) | 0;
    const value = data[n] ?? 0;
    if ((n & 3) !== 3) data[n] = Math.max(0, Math.min(255, value + ((state >>> 24) & 31) - 16));
  }
  return { ...picture, data };
}
