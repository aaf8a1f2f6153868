/**
 * The tray's icon: one large seed, drawn from shapes so that it is sharp at every size. Four signs are told by shape
 * alone; colour only says it again.
 *
 * Invariants: the colours stand out from light and dark panels alike (3:1 or more, WCAG 2.2, 1.4.11); nothing touches the
 * edge. Not its job: which sign holds (`menuModel.ts`), how a host wants the pixels (`platform/`).
 */

import type { Branded } from "../shared/brand.ts";

export type Pixels = Branded<number, "pixels">;
export const pixels = (value: number): Pixels => value as Pixels;

/**
 * `atGoal` a filled seed; `working` a ring with one filled third, turned by `step`; `missing` a ring with a gap at the
 * bottom; `lookNow` a notched seed with a dot above.
 */
export type Sign =
  | { readonly sign: "atGoal" | "missing" | "lookNow" }
  | { readonly sign: "working"; readonly step: number };

/** Steps of a whole turn. */
export const turnSteps = 6;

/** What panels ask for: 16 and 22 commonly, 24 and up on larger panels and dense screens. */
export const iconSizes: readonly Pixels[] = [16, 22, 24, 32, 48].map(pixels);

export interface Pixmap {
  /** Width and height. */
  readonly size: Pixels;
  /** Rows from the top; of each pixel alpha, red, green, blue, not multiplied by alpha. */
  readonly argb: Uint8Array;
}

export function drawIcon(sign: Sign, size: Pixels): Pixmap {
  const argb = new Uint8Array(size * size * 4);
  const shape = shapeOf(sign);
  const colour = colours[sign.sign];
  const unit = grid / size;
  for (let row = 0; row < size; row += 1) {
    for (let column = 0; column < size; column += 1) {
      const distance = shape((column + 0.5) * unit, (row + 0.5) * unit) / unit;
      const covered = Math.min(1, Math.max(0, 0.5 - distance));
      if (covered > 0) argb.set([Math.round(covered * 255), ...colour], 4 * (row * size + column));
    }
  }
  return { size, argb };
}

/** Between the page's colours for light and for dark paper, so that one serves both. */
const colours: { readonly [S in Sign["sign"]]: readonly [number, number, number] } = {
  atGoal: [0x4a, 0x88, 0xc0],
  working: [0x4a, 0x88, 0xc0],
  missing: [0xb0, 0x80, 0x2c],
  lookNow: [0xd9, 0x60, 0x3f],
};

/** Shapes are drawn on a square of this many units, whatever the size in pixels. */
const grid = 16;
const centre = grid / 2;

/** How far a point is from a shape's edge, in units; negative inside. */
type Shape = (x: number, y: number) => number;

function shapeOf(sign: Sign): Shape {
  switch (sign.sign) {
    case "atGoal":
      return disc(centre, centre, 6.9);
    case "working":
      return either(ring, both(disc(centre, centre, 6), wedge(centre, centre, sign.step / turnSteps, 1 / 3)));
    case "missing":
      return both(ring, not(wedge(centre, centre, 1 / 2, 0.22)));
    case "lookNow":
      return either(both(disc(7.3, 8.8, 6.1), not(disc(11.8, 3.7, 3.9))), disc(12.3, 3.3, 2.2));
  }
}

function disc(atX: number, atY: number, radius: number): Shape {
  return (x, y) => Math.hypot(x - atX, y - atY) - radius;
}

const ring: Shape = both(disc(centre, centre, 6.9), not(disc(centre, centre, 4.4)));

/** Everything seen from a point within an angle. `towards` and `width` are parts of a turn, clockwise from the top. */
function wedge(atX: number, atY: number, towards: number, width: number): Shape {
  const [turn, half] = [2 * Math.PI * towards, Math.PI * width];
  return (x, y) => {
    const along = (x - atX) * Math.sin(turn) - (y - atY) * Math.cos(turn);
    const across = Math.abs((x - atX) * Math.cos(turn) + (y - atY) * Math.sin(turn));
    return across * Math.cos(half) - along * Math.sin(half);
  };
}

function either(one: Shape, other: Shape): Shape {
  return (x, y) => Math.min(one(x, y), other(x, y));
}

function both(one: Shape, other: Shape): Shape {
  return (x, y) => Math.max(one(x, y), other(x, y));
}

function not(shape: Shape): Shape {
  return (x, y) => -shape(x, y);
}
