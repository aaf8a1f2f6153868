/**
 * Fills a card for measuring: files as large as cameras write them, with real Exif at their head and noise behind it,
 * written as fast as the disk takes them. The same wish gives the same bytes. Not its job: pictures that can be seen
 * (`test/cards/generate`).
 */

import { createCipheriv } from "node:crypto";
import { closeSync, ftruncateSync, mkdirSync, openSync, utimesSync, writeSync } from "node:fs";
import { dirname, join } from "node:path";
import { exifFields, type ShotFacts } from "../cards/generate/exif.ts";
import { cameraJpeg, encodeJpeg } from "../cards/generate/jpeg.ts";
import { buildTiff } from "../cards/generate/tiff.ts";

export interface CardWish {
  readonly seed: number;
  /** Frames of the card; each has a JPEG. */
  readonly frames: number;
  readonly jpegBytes: number;
  /** The first so many frames have a raw as well. */
  readonly raws: number;
  readonly rawBytes: number;
}

/** What was written: how many files, and their bytes together. */
export interface CardSize {
  readonly files: number;
  readonly bytes: number;
}

/** Writes the frames below `folder`, an evening of the trip that tests describe. */
export function shootCard(folder: string, wish: CardWish): CardSize {
  const size = { files: 0, bytes: 0 };
  const write = (path: string, head: Uint8Array, length: number, shot: number) => {
    writeFilled(join(folder, path), head, length, wish.seed, size.files);
    const seconds = takenAt(shot) / 1000;
    utimesSync(join(folder, path), seconds, seconds);
    size.files += 1;
    size.bytes += Math.max(head.length, length);
  };
  for (let shot = 0; shot < wish.frames; shot += 1) {
    const base = `DCIM/100ALDIN/ALD_${String(shot + 1).padStart(4, "0")}`;
    const facts = shotFacts(wish.seed, shot);
    if (shot < wish.raws) write(`${base}.DNG`, rawHead(facts, wish.rawBytes), wish.rawBytes, shot);
    write(`${base}.JPG`, cameraJpeg(spot, spot, facts), wish.jpegBytes, shot);
  }
  return size;
}

/** Writes one film of nothing but zeros, of a kind whose structure isn't checked, which takes no room on the card. */
export function sparseFilm(folder: string, bytes: number): CardSize {
  const path = join(folder, "DCIM/100ALDIN/ALD_0001.MPG");
  mkdirSync(dirname(path), { recursive: true });
  const file = openSync(path, "wx");
  ftruncateSync(file, bytes);
  closeSync(file);
  utimesSync(path, takenAt(0) / 1000, takenAt(0) / 1000);
  return { files: 1, bytes };
}

/** One grey block of pixels. */
const spot = encodeJpeg({ width: 8, height: 8, data: new Uint8Array(256).fill(128) }, 50);

/** bytes. Noise is written in parts of this size. */
const partBytes = 4 * 1024 * 1024;
const zeros = Buffer.alloc(partBytes);

/** A shot every two seconds, the step of a FAT's times. */
function takenAt(shot: number): number {
  return Date.parse("2027-06-05T18:00:00Z") + 2_000 * shot;
}

function shotFacts(seed: number, shot: number): ShotFacts {
  const wall = new Date(takenAt(shot)).toISOString();
  return {
    make: "Aldine",
    model: "Aldine R2",
    serial: "4410072",
    orientation: 1,
    dateTime: `${wall.slice(0, 10).replaceAll("-", ":")} ${wall.slice(11, 19)}`,
    subSec: "00",
    uniqueId: `${seed.toString(16)}${shot.toString(16).padStart(8, "0")}`.padStart(32, "0"),
    width: 6000,
    height: 4000,
    iso: 400,
    shutter: 500,
  };
}

/** A TIFF that says what a raw says; all that follows it is its one strip (TIFF 6.0, tags 273 and 279). */
function rawHead(facts: ShotFacts, length: number): Uint8Array {
  const head = (at: number) =>
    buildTiff([
      [
        ...exifFields(facts),
        { tag: 273, type: "long", values: [at] },
        { tag: 279, type: "long", values: [Math.max(0, length - at)] },
        { tag: 50_706, type: "byte", values: [1, 4, 0, 0] },
      ],
    ]);
  return head(head(0).length);
}

/** `head`, then a cipher's stream up to `length`: no two files alike, and nothing a drive could squeeze. */
function writeFilled(path: string, head: Uint8Array, length: number, seed: number, nth: number): void {
  const start = Buffer.alloc(16);
  start.writeUInt32BE(nth);
  const noise = createCipheriv("aes-256-ctr", Buffer.alloc(32, seed), start);
  mkdirSync(dirname(path), { recursive: true });
  const file = openSync(path, "wx");
  writeSync(file, head);
  for (let at = head.length; at < length; at += partBytes)
    writeSync(file, noise.update(zeros.subarray(0, Math.min(partBytes, length - at))));
  closeSync(file);
}
