/**
 * Raw files in the public DNG layout (a TIFF 6.0 with an uncompressed RGB preview in IFD 0 and the sensor's values in
 * a sub-IFD), so that any TIFF reader shows at least the preview.
 */

import { exifFields, type ShotFacts } from "./exif.ts";
import type { Picture } from "./scene.ts";
import { buildTiff, type Field } from "./tiff.ts";

/** Values of a sensor under a Bayer mosaic (RG over GB), 14 bits, room left for noise. */
export interface Mosaic {
  readonly width: number;
  readonly height: number;
  readonly values: Uint16Array;
}

const blackLevel = 512;
const whiteLevel = 16_383;
/** What `cameraRaw` adds at most. */
const noiseMask = 0x001f001f;

/** What a sensor would have seen: linear light. */
export function mosaicOf(picture: Picture): Mosaic {
  const { width, height, data } = picture;
  const linear = Array.from({ length: 256 }, (_, v) =>
    Math.round(blackLevel + (v / 255) ** 2.2 * (whiteLevel - 31 - blackLevel)),
  );
  const values = new Uint16Array(width * height);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const part = (y & 1) + (x & 1);
      values[y * width + x] = linear[data[(y * width + x) * 4 + part] ?? 0] ?? 0;
    }
  }
  return { width, height, values };
}

/** RGB without alpha, as TIFF's photometric interpretation 2 wants it. */
export function rgbOf(picture: Picture): Uint8Array {
  const rgb = new Uint8Array(picture.width * picture.height * 3);
  for (let n = 0; n < picture.width * picture.height; n += 1) {
    rgb.set(picture.data.subarray(n * 4, n * 4 + 3), n * 3);
  }
  return rgb;
}

/** @param noiseSeed another for each shot: no two have the same bytes. */
export function cameraRaw(
  mosaic: Mosaic,
  preview: Picture,
  rgb: Uint8Array,
  shot: ShotFacts,
  noiseSeed: number,
): Buffer {
  const sensor: Field[] = [
    { tag: 254, type: "long", values: [0] },
    { tag: 256, type: "long", values: [mosaic.width] },
    { tag: 257, type: "long", values: [mosaic.height] },
    { tag: 258, type: "short", values: [16] },
    { tag: 259, type: "short", values: [1] },
    { tag: 262, type: "short", values: [32_803] },
    { tag: 273, type: "data", data: noisy(mosaic, noiseSeed) },
    { tag: 277, type: "short", values: [1] },
    { tag: 278, type: "long", values: [mosaic.height] },
    { tag: 279, type: "long", values: [mosaic.values.byteLength] },
    { tag: 284, type: "short", values: [1] },
    { tag: 33_421, type: "short", values: [2, 2] },
    { tag: 33_422, type: "byte", values: [0, 1, 1, 2] },
    { tag: 50_714, type: "short", values: [blackLevel] },
    { tag: 50_717, type: "short", values: [whiteLevel] },
  ];
  return buildTiff([
    [
      ...exifFields(shot),
      { tag: 254, type: "long", values: [1] },
      { tag: 256, type: "long", values: [preview.width] },
      { tag: 257, type: "long", values: [preview.height] },
      { tag: 258, type: "short", values: [8, 8, 8] },
      { tag: 259, type: "short", values: [1] },
      { tag: 262, type: "short", values: [2] },
      { tag: 273, type: "data", data: rgb },
      { tag: 277, type: "short", values: [3] },
      { tag: 278, type: "long", values: [preview.height] },
      { tag: 279, type: "long", values: [rgb.length] },
      { tag: 284, type: "short", values: [1] },
      { tag: 330, type: "ifd", fields: sensor },
      { tag: 50_706, type: "byte", values: [1, 4, 0, 0] },
      { tag: 50_707, type: "byte", values: [1, 1, 0, 0] },
      { tag: 50_708, type: "ascii", text: shot.model },
      // XYZ (D65) to sRGB primaries, times 10,000: the invented sensor sees like a screen shows.
      {
        tag: 50_721,
        type: "srational",
        values: [32405, -15371, -4985, -9693, 18760, 416, 556, -2040, 10572].flatMap((v) => [v, 10_000]),
      },
      { tag: 50_728, type: "rational", values: [1, 1, 1, 1, 1, 1] },
      { tag: 50_735, type: "ascii", text: shot.serial },
      { tag: 50_778, type: "short", values: [21] },
    ],
  ]);
}

/** The values with a little noise in each, two at a time (xorshift32): quick enough for a whole card. */
function noisy(mosaic: Mosaic, seed: number): Uint8Array {
  const values = mosaic.values.slice();
  const pairs = new Uint32Array(values.buffer);
  let state = (seed | 0) === 0 ? 1 : seed | 0;
  for (let n = 0; n < pairs.length; n += 1) {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    pairs[n] = (pairs[n] ?? 0) + (state & noiseMask);
  }
  return new Uint8Array(values.buffer);
}
