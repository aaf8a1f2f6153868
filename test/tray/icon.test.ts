/** The icon's pixels: four signs that differ by shape alone, whole at every size, in an order that hosts understand. */

import { spawnSync } from "node:child_process";
import { inflateSync } from "node:zlib";
import { describe, expect, test } from "vitest";
import { drawIcon, iconSizes, type Pixmap, pixels, type Sign, turnSteps } from "../../tray/icon.ts";
import { icoOf, pngOf } from "../../tray/picture.ts";

const turns: readonly Sign[] = Array.from({ length: turnSteps }, (_, step) => ({ sign: "working", step }));
const still: readonly Sign[] = [{ sign: "atGoal" }, { sign: "missing" }, { sign: "lookNow" }];
const all = [...still, ...turns];

/** Which pixels are more than half covered, row by row: what is left of an icon in one colour. */
function ink({ size, argb }: Pixmap): readonly string[] {
  return Array.from({ length: size }, (_, row) =>
    Array.from({ length: size }, (__, column) =>
      (argb[4 * (row * size + column)] ?? 0) > 127 ? "#" : ".",
    ).join(""),
  );
}

function differing(one: readonly string[], other: readonly string[]): number {
  const [a, b] = [one.join(""), other.join("")];
  return [...a].filter((pixel, index) => pixel !== b[index]).length;
}

describe.each(iconSizes.map(Number))("at %i pixels", (number) => {
  const size = pixels(number);

  test("any two signs differ in a tenth of the pixels when all colour is taken away", () => {
    for (const [index, one] of all.entries()) {
      for (const other of all.slice(index + 1)) {
        const count = differing(ink(drawIcon(one, size)), ink(drawIcon(other, size)));
        // Turns of one sign mean the same; that they differ at all is enough.
        const least = one.sign === other.sign ? 1 : number * number * 0.1;
        expect(count, `${JSON.stringify(one)} and ${JSON.stringify(other)}`).toBeGreaterThanOrEqual(least);
      }
    }
  });

  test("nothing touches the edge, where it would look cut off", () => {
    for (const sign of all) {
      const { argb } = drawIcon(sign, size);
      for (let at = 0; at < number; at += 1) {
        const edge = [at, at + number * (number - 1), at * number, at * number + number - 1];
        expect(edge.map((pixel) => argb[4 * pixel])).toEqual([0, 0, 0, 0]);
      }
    }
  });

  test("the signs are those that the look asks for", () => {
    const at = (sign: Sign, x: number, y: number): string | undefined =>
      ink(drawIcon(sign, size))[Math.floor(y * number)]?.[Math.floor(x * number)];
    // A filled seed.
    expect([at({ sign: "atGoal" }, 0.5, 0.5), at({ sign: "atGoal" }, 0.5, 0.87)]).toEqual(["#", "#"]);
    // A ring with a gap at the bottom, and nowhere else.
    const missing = (x: number, y: number) => at({ sign: "missing" }, x, y);
    expect([missing(0.5, 0.5), missing(0.5, 0.87)]).toEqual([".", "."]);
    expect([missing(0.5, 0.13), missing(0.13, 0.5), missing(0.87, 0.5)]).toEqual(["#", "#", "#"]);
    // A ring with one filled third: the top one at first, the bottom one after half a turn.
    const working = (step: number, y: number) => at({ sign: "working", step }, 0.5, y);
    expect([working(0, 0.13), working(0, 0.3), working(0, 0.7), working(0, 0.87)]).toEqual([
      "#",
      "#",
      ".",
      "#",
    ]);
    expect([working(3, 0.13), working(3, 0.3), working(3, 0.7), working(3, 0.87)]).toEqual([
      "#",
      ".",
      "#",
      "#",
    ]);
    // A seed with a notch in the upper right, and a dot above that.
    const look = (x: number, y: number) => at({ sign: "lookNow" }, x, y);
    expect([look(0.4, 0.6), look(0.8, 0.2), look(0.62, 0.35)]).toEqual(["#", "#", "."]);
  });
});

test("a dot that says look now stands free of its seed at the smallest size", () => {
  const rows = ink(drawIcon({ sign: "lookNow" }, pixels(16)));
  const seen = new Set<string>();
  const spread = (row: number, column: number): void => {
    const key = `${row},${column}`;
    if (rows[row]?.[column] !== "#" || seen.has(key)) return;
    seen.add(key);
    for (const [down, right] of [
      [0, 1],
      [1, 0],
      [0, -1],
      [-1, 0],
      [1, 1],
      [1, -1],
      [-1, 1],
      [-1, -1],
    ] as const)
      spread(row + down, column + right);
  };
  spread(3, 12);
  const dot = seen.size;
  spread(9, 6);
  expect(dot).toBeGreaterThan(8);
  expect(seen.size).toBe(rows.join("").split("#").length - 1);
  expect(dot).toBeLessThan(seen.size / 3);
});

test("each pixel is alpha, red, green, blue, so that a host finds the colour meant", () => {
  // Status Notifier Item 0.1: "ARGB32 binary representation, the byte order is network byte order": 0xFF4A88C0, an
  // opaque blue, begins with FF. That a host reads it so is tried in panel.test.ts.
  const { argb } = drawIcon({ sign: "atGoal" }, pixels(16));
  const middle = 4 * (8 * 16 + 8);
  expect([...argb.subarray(middle, middle + 4)]).toEqual([0xff, 0x4a, 0x88, 0xc0]);
});

test("the colours stand out from light panels and dark ones", () => {
  // Formulas: WCAG 2.2, "relative luminance" and "contrast ratio"; 3:1 by success criterion 1.4.11. Panels: GNOME's and
  // Xfce's light and dark greys, from memory.
  const luminance = (rgb: readonly number[]): number => {
    const [red = 0, green = 0, blue = 0] = rgb.map((value) => {
      const part = value / 255;
      return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
  };
  const panels = [0xff, 0xf6, 0x2d, 0x1e, 0x00].map((grey) => luminance([grey, grey, grey]));
  for (const sign of all) {
    const { argb } = drawIcon(sign, pixels(48));
    const opaque = argb.findIndex((value, index) => index % 4 === 0 && value === 255);
    const own = luminance([...argb.subarray(opaque + 1, opaque + 4)]);
    for (const panel of panels)
      expect((Math.max(own, panel) + 0.05) / (Math.min(own, panel) + 0.05)).toBeGreaterThanOrEqual(3);
  }
});

const magick = spawnSync("sh", ["-c", "command -v convert identify"]).status === 0;
test.skipIf(!magick)("another program reads the same pixels from the PNG (needs imagemagick)", () => {
  const pixmap = drawIcon({ sign: "lookNow" }, pixels(22));
  // Reference tool: ImageMagick.
  const read = spawnSync("convert", ["png:-", "-depth", "8", "rgba:-"], { input: pngOf(pixmap) });
  const rgba = pixmap.argb.map((_, index) => {
    const pixel = index - (index % 4);
    return pixmap.argb[pixel + ((index + 1) % 4)] ?? 0;
  });
  const seen = Buffer.from(read.stdout);
  expect(seen.length).toBe(rgba.length);
  // What is wholly transparent has no colour to agree on.
  for (let at = 0; at < rgba.length; at += 4)
    if (rgba[at + 3] !== 0) expect([...seen.subarray(at, at + 4)]).toEqual([...rgba.subarray(at, at + 4)]);
});

test.skipIf(!magick)("another program finds the picture in the ICO (needs imagemagick)", () => {
  const read = spawnSync("identify", ["-format", "%m %wx%h", "ico:-"], {
    input: icoOf(drawIcon({ sign: "atGoal" }, pixels(32))),
    encoding: "utf8",
  });
  expect(read.stdout).toMatch(/^(ICO|PNG) 32x32$/);
});

test("the PNG's rows are as long as it says", () => {
  const png = pngOf(drawIcon({ sign: "atGoal" }, pixels(24)));
  const at = png.indexOf("IDAT");
  expect(inflateSync(png.subarray(at + 4, at + 4 + png.readUInt32BE(at - 4))).length).toBe(24 * (1 + 4 * 24));
});
