/**
 * Paints Kestrel Cliffs: sky, sea, cliffs in layers and birds, from evening light to the short night of June. Made by
 * rule and seed; no picture of anybody's is in it.
 */

import { seeded } from "./random.ts";

export interface Picture {
  readonly width: number;
  readonly height: number;
  /** RGBA, row by row. */
  readonly data: Uint8Array;
}

export interface SceneWish {
  readonly width: number;
  readonly height: number;
  readonly seed: number;
  /** 0: evening sun; 1: the middle of the night. */
  readonly light: number;
  /** 0 to 1: how far the birds have flown. */
  readonly flight?: number;
}

type Colour = readonly [number, number, number];
interface Palette {
  readonly zenith: Colour;
  readonly horizon: Colour;
  readonly sea: Colour;
  readonly rock: Colour;
  readonly grass: Colour;
}

const palettes: readonly [Palette, Palette, Palette] = [
  {
    zenith: [84, 136, 190],
    horizon: [250, 222, 178],
    sea: [46, 96, 122],
    rock: [104, 88, 78],
    grass: [112, 136, 62],
  },
  {
    zenith: [62, 78, 136],
    horizon: [252, 158, 92],
    sea: [58, 62, 96],
    rock: [74, 58, 62],
    grass: [74, 80, 50],
  },
  {
    zenith: [20, 30, 62],
    horizon: [116, 126, 158],
    sea: [22, 34, 58],
    rock: [28, 30, 42],
    grass: [30, 40, 42],
  },
];

export function paintScene(wish: SceneWish): Picture {
  const { width, height } = wish;
  const random = seeded(wish.seed);
  const palette = paletteAt(wish.light);
  const horizon = Math.round(height * (0.58 + random() * 0.1));
  const sun = { x: width * (0.3 + random() * 0.4), y: horizon - height * (0.16 - wish.light * 0.2) };
  const left = random() < 0.5;
  const ridges = [0.16, 0.3, 0.46].map((rise, layer) =>
    ridgeLine(width, seeded(wish.seed * 31 + layer), {
      rise: rise * height,
      from: left === (layer !== 1) ? 0 : 1,
      reach: 0.85 - layer * 0.2,
    }),
  );
  const data = new Uint8Array(width * height * 4);
  for (let y = 0; y < height; y += 1) {
    const streak = seeded(wish.seed * 977 + y);
    let shimmer = 0;
    for (let x = 0; x < width; x += 1) {
      let colour: Colour;
      if (y < horizon) colour = skyAt(x, y, horizon, width, sun, palette, wish.light);
      else {
        if ((x & 15) === 0) shimmer = streak();
        const depth = (y - horizon) / (height - horizon);
        const glitter =
          Math.exp(-(((x - sun.x) / (width * (0.03 + depth * 0.1))) ** 2)) * shimmer * (1 - wish.light * 0.8);
        colour = mix(
          mix(palette.horizon, palette.sea, Math.min(1, 0.35 + depth * 1.2 + shimmer * 0.1)),
          [255, 236, 200],
          glitter * 0.8,
        );
      }
      for (let layer = 0; layer < ridges.length; layer += 1) {
        const tall = ridges[layer]?.[x] ?? 0;
        const foot = horizon + Math.round(layer * height * 0.035);
        const below = y - (foot - tall);
        if (tall < 1 || below < 0 || y > foot) continue;
        const haze = 0.55 - layer * 0.22;
        const layered = Math.sin((y + 5 * Math.sin(x * (9 / width))) * (75 / height));
        const slope = (ridges[layer]?.[Math.min(width - 1, x + 4)] ?? 0) - tall;
        const strata = 0.9 + 0.05 * layered + Math.max(-0.16, Math.min(0.14, slope * (14 / height)));
        const ground = below < height * 0.02 + tall * 0.06 ? palette.grass : palette.rock;
        colour = mix([ground[0] * strata, ground[1] * strata, ground[2] * strata], palette.horizon, haze);
      }
      const at = (y * width + x) * 4;
      data[at] = colour[0];
      data[at + 1] = colour[1];
      data[at + 2] = colour[2];
      data[at + 3] = 255;
    }
  }
  const picture = { width, height, data };
  const birds = 9 + Math.floor(random() * 10);
  for (let n = 0; n < birds; n += 1) {
    const span = height * (0.02 + random() * 0.05);
    const x = ((random() + (wish.flight ?? 0) * (0.3 + random() * 0.4)) % 1) * width;
    const y = (0.08 + random() * 0.42) * height;
    drawBird(
      picture,
      x,
      y,
      span,
      Math.sin(n + (wish.flight ?? 0) * 25),
      mix(palette.rock, [10, 10, 14], 0.6),
    );
  }
  return picture;
}

/** Turned a quarter to the left: how a portrait lies in the file of a body held upright (Exif orientation 6). */
export function lieDown(upright: Picture): Picture {
  const { width, height } = upright;
  const from = new Uint32Array(upright.data.buffer, upright.data.byteOffset, width * height);
  const to = new Uint32Array(width * height);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) to[(width - 1 - x) * height + y] = from[y * width + x] ?? 0;
  }
  return { width: height, height: width, data: new Uint8Array(to.buffer) };
}

/** Every `step`th pixel of every `step`th row. */
export function shrink(picture: Picture, step: number): Picture {
  const width = Math.floor(picture.width / step);
  const height = Math.floor(picture.height / step);
  const data = new Uint8Array(width * height * 4);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const from = (y * step * picture.width + x * step) * 4;
      data.set(picture.data.subarray(from, from + 4), (y * width + x) * 4);
    }
  }
  return { width, height, data };
}

function mix(a: Colour, b: Colour, share: number): Colour {
  return [a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share, a[2] + (b[2] - a[2]) * share];
}

function paletteAt(light: number): Palette {
  const [evening, sunset, night] = palettes;
  const [a, b, share] = light < 0.5 ? [evening, sunset, light * 2] : [sunset, night, light * 2 - 1];
  const between = (part: keyof Palette): Colour => mix(a[part], b[part], share);
  return {
    zenith: between("zenith"),
    horizon: between("horizon"),
    sea: between("sea"),
    rock: between("rock"),
    grass: between("grass"),
  };
}

function skyAt(
  x: number,
  y: number,
  horizon: number,
  width: number,
  sun: { x: number; y: number },
  palette: Palette,
  light: number,
): Colour {
  const sky = mix(palette.zenith, palette.horizon, (y / horizon) ** 1.6);
  const distance = Math.hypot(x - sun.x, y - sun.y) / width;
  const glow = Math.exp(-distance * 7) * (1 - light * 0.7);
  const disc = distance < 0.022 && light < 0.6 ? 0.85 : 0;
  return mix(sky, [255, 242, 206], Math.max(glow * 0.7, disc));
}

/** Heights of a cliff's edge above its foot, one a column: steps and slopes falling away from one side. */
function ridgeLine(
  width: number,
  random: () => number,
  shape: { readonly rise: number; readonly from: 0 | 1; readonly reach: number },
): Float64Array {
  const knots = Array.from({ length: 24 }, () => random());
  const heights = new Float64Array(width);
  for (let x = 0; x < width; x += 1) {
    const along = Math.abs(x / width - shape.from) / shape.reach;
    const envelope = along >= 1 ? 0 : Math.min(1, (1 - along) * 2.2) ** 0.7;
    const position = (x / width) * (knots.length - 1);
    const knot = Math.floor(position);
    const part = (position - knot) ** 3;
    const rough = (knots[knot] ?? 0) * (1 - part) + (knots[knot + 1] ?? 0) * part;
    heights[x] = shape.rise * envelope * (0.6 + 0.4 * rough) * (1 + 0.012 * Math.sin(x * (310 / width)));
  }
  return heights;
}

/** Two wings as arcs, thinner towards their tips. */
function drawBird(
  picture: Picture,
  cx: number,
  cy: number,
  span: number,
  beat: number,
  colour: Colour,
): void {
  const steps = Math.ceil(span * 3);
  for (let step = -steps; step <= steps; step += 1) {
    const along = step / steps;
    const reach = Math.abs(along);
    const x = cx + along * span;
    const y = cy - Math.sin(reach * Math.PI * 0.75) * span * 0.35 * (0.5 + beat * 0.5) + reach * span * 0.12;
    const thick = Math.max(0.6, span * 0.07 * (1 - reach * 0.75));
    for (let dy = -Math.ceil(thick); dy <= Math.ceil(thick); dy += 1) {
      const cover = Math.max(0, Math.min(1, thick + 0.5 - Math.abs(dy)));
      blend(picture, Math.round(x), Math.round(y) + dy, colour, cover);
    }
  }
}

function blend(picture: Picture, x: number, y: number, colour: Colour, share: number): void {
  if (x < 0 || y < 0 || x >= picture.width || y >= picture.height || share <= 0) return;
  const at = (y * picture.width + x) * 4;
  for (let part = 0; part < 3; part += 1) {
    const old = picture.data[at + part] ?? 0;
    picture.data[at + part] = old + ((colour[part] ?? 0) - old) * share;
  }
}
