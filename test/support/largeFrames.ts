/**
 * Cards of a few large frames: real raws and films of the invented maker, as large as cameras write them, for tests in
 * which it matters how much of a file is read. One small picture is painted and laid side by side; only the noise
 * differs from shot to shot.
 */

import { mkdirSync, utimesSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { encodeJpeg } from "../cards/generate/jpeg.ts";
import { film } from "../cards/generate/mov.ts";
import { cameraRaw, type Mosaic, mosaicOf, rgbOf } from "../cards/generate/raw.ts";
import { paintScene, shrink } from "../cards/generate/scene.ts";

export interface LargeCard {
  readonly seed: number;
  /** Each of about 25 MB. */
  readonly raws: number;
  /** Each of about 25 MB. */
  readonly films: number;
}

const tile = { width: 480, height: 320 };
const [across, down] = [8, 10];
const filmBytes = 24.6e6;

/** Writes the frames below `folder`, an evening of the trip that tests describe. @returns how many bytes. */
export function largeCard(folder: string, card: LargeCard): number {
  const picture = paintScene({ ...tile, seed: card.seed, light: 0.5 });
  const preview = shrink(picture, 2);
  const rgb = rgbOf(preview);
  const mosaic = sideBySide(mosaicOf(picture));
  const jpeg = encodeJpeg(picture, 90);
  let total = 0;
  const write = (number: number, extension: string, content: Buffer): void => {
    const path = join(folder, `DCIM/100ALDIN/ALD_${String(number).padStart(4, "0")}.${extension}`);
    mkdirSync(dirname(path), { recursive: true });
    writeFileSync(path, content);
    utimesSync(path, takenAt(number) / 1000, takenAt(number) / 1000);
    total += content.length;
  };
  for (let number = 1; number <= card.raws; number += 1) {
    const wall = new Date(takenAt(number)).toISOString();
    const shot = {
      make: "Aldine",
      model: "Aldine R2",
      serial: "4410072",
      orientation: 1,
      dateTime: `${wall.slice(0, 10).replaceAll("-", ":")} ${wall.slice(11, 19)}`,
      subSec: "00",
      uniqueId: `${card.seed.toString(16)}${number.toString(16).padStart(8, "0")}`.padStart(32, "0"),
      width: mosaic.width,
      height: mosaic.height,
      iso: 400,
      shutter: 500,
    };
    write(number, "DNG", cameraRaw(mosaic, preview, rgb, shot, card.seed * 1_000 + number));
  }
  for (let nth = 1; nth <= card.films; nth += 1) {
    const number = card.raws + nth;
    const pictures = Array.from({ length: Math.ceil(filmBytes / jpeg.length) + nth }, () => jpeg);
    const created = takenAt(number) / 1000;
    const facts = { ...tile, framesPerSecond: 12, created, make: "Aldine", model: "Aldine R2" };
    write(number, "MOV", film(pictures, facts));
  }
  return total;
}

function sideBySide({ width, height, values }: Mosaic): Mosaic {
  const large = new Uint16Array(width * across * height * down);
  for (let y = 0; y < height * down; y += 1) {
    const from = (y % height) * width;
    const row = values.subarray(from, from + width);
    for (let nth = 0; nth < across; nth += 1) large.set(row, (y * across + nth) * width);
  }
  return { width: width * across, height: height * down, values: large };
}

/** A shot every two seconds, the step of a FAT's times. */
function takenAt(number: number): number {
  return Date.parse("2027-06-05T18:00:00Z") + 2_000 * number;
}
