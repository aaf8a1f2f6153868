/** Where tiles stand and which are near, against a layout that is counted out tile by tile. */

import { describe, expect, test } from "vitest";
import {
  cornerOf,
  dayAt,
  dayAtHeight,
  firstBelow,
  indexOf,
  layOut,
  rowsBetween,
  rowTop,
  type Step,
  sizes,
  stepFrom,
  withRowOf,
} from "../../tray/page/frames/sheetLayout.ts";
import { seeded } from "../core/seeded.ts";

const three = [
  { day: "2027-06-03", frames: 7 },
  { day: "2027-06-04", frames: 1 },
  { day: "2027-06-05", frames: 12 },
];
/** Five columns of 166.4 pixels. */
const wide = layOut(three, 896);

describe("the layout", () => {
  test.each([
    [896, 5],
    [368, 2],
    [288, 1],
    [100, 1],
    [0, 1],
  ])("%i pixels hold %i columns, and nothing is wider than they are", (width, columns) => {
    const layout = layOut(three, width);
    expect(layout.columns).toBe(columns);
    expect(columns * layout.tileWidth + (columns - 1) * sizes.gap).toBeCloseTo(width, 6);
  });

  test("days stand below each other, each with its heading and its rows", () => {
    expect(wide.days.map(({ first, rows, top }) => [first, rows, top])).toEqual([
      [0, 2, 0],
      [7, 1, sizes.heading + 2 * sizes.row],
      [8, 3, 2 * sizes.heading + 3 * sizes.row],
    ]);
    expect(wide.height).toBe(3 * sizes.heading + 6 * sizes.row);
    expect(wide.frames).toBe(20);
  });

  test("no two tiles share a place, and each is in its day's rows", () => {
    const corners = Array.from({ length: wide.frames }, (_, index) => cornerOf(wide, index));
    expect(new Set(corners.map((corner) => `${corner?.left} ${corner?.top}`)).size).toBe(wide.frames);
    corners.forEach((corner, index) => {
      const place = dayAt(wide, index);
      if (place === undefined || corner === undefined) throw new Error(`frame ${index} stands nowhere`);
      expect(corner.top).toBeGreaterThanOrEqual(rowTop(place, 0));
      expect(corner.top).toBeLessThan(rowTop(place, place.rows));
      expect(indexOf(wide, place.day, index - place.first)).toBe(index);
    });
    expect([cornerOf(wide, -1), cornerOf(wide, 20), indexOf(wide, "2027-06-04", 1)]).toEqual([
      undefined,
      undefined,
      undefined,
    ]);
  });

  test("without frames there is nothing, and nothing fails", () => {
    const none = layOut([], 896);
    expect([none.height, firstBelow(none, 0), stepFrom(none, 0, "down", 3)]).toEqual([0, 0, 0]);
    expect([rowsBetween(none, 0, 900), dayAtHeight(none, 0)]).toEqual([[], undefined]);
  });
});

describe("what is near", () => {
  test("exactly the rows that touch the stretch are there, wherever it is", () => {
    const roll = seeded(5);
    for (let nth = 0; nth < 300; nth += 1) {
      const layout = layOut(
        Array.from({ length: roll.below(5) }, (_, day) => ({
          day: `day ${day}`,
          frames: 1 + roll.below(60),
        })),
        100 + roll.below(1_500),
      );
      const top = roll.below(layout.height + 1_000) - 500;
      const bottom = top + 1 + roll.below(1_200);
      const touched = layout.days.flatMap((place) =>
        Array.from({ length: place.rows }, (_, row) => row)
          .filter((row) => rowTop(place, row) < bottom && rowTop(place, row) + sizes.row > top)
          .map((row) => `${place.day} ${row}`),
      );
      const near = rowsBetween(layout, top, bottom);
      expect(near.flatMap(({ place, rows }) => rows.map((row) => `${place.day} ${row}`))).toEqual(touched);
    }
  });

  test("of 50,000 frames a window draws a few rows", () => {
    const large = layOut([{ day: "2027-06-03", frames: 50_000 }], 896);
    const [day] = rowsBetween(large, 900_000, 901_000);
    expect(day?.rows.length).toBeLessThanOrEqual(7);
    // Chromium's lengths end at 33,554,428 pixels, Firefox's at 17,895,697 (from memory).
    expect(layOut([{ day: "", frames: 50_000 }], 300).height).toBeLessThan(17_895_697);
  });

  test("the focused row stays, once and in order, however far it is", () => {
    const near = rowsBetween(wide, 0, 50);
    expect(near.map(({ rows }) => rows)).toEqual([[]]);
    const kept = withRowOf(wide, near, 19);
    expect(kept.map(({ place, rows }) => [place.day, rows])).toEqual([
      ["2027-06-03", []],
      ["2027-06-05", [2]],
    ]);
    expect(withRowOf(wide, kept, 19)).toBe(kept);
    expect(withRowOf(wide, kept, 8).at(-1)?.rows).toEqual([0, 2]);
  });

  test("the first tile below a height is found, and the day that stands there", () => {
    expect(firstBelow(wide, 0)).toBe(0);
    expect(firstBelow(wide, sizes.heading + 1)).toBe(5);
    expect(firstBelow(wide, sizes.heading + sizes.row + 1)).toBe(7);
    expect(firstBelow(wide, wide.height)).toBe(19);
    expect(dayAtHeight(wide, -10)?.day).toBe("2027-06-03");
    expect(dayAtHeight(wide, wide.days[1]?.top ?? 0)?.day).toBe("2027-06-04");
    expect(dayAtHeight(wide, 1e9)?.day).toBe("2027-06-05");
  });
});

describe("steps", () => {
  test.each<[Step, number, number]>([
    ["right", 6, 7],
    ["left", 7, 6],
    ["left", 0, 0],
    ["right", 19, 19],
    ["down", 1, 6],
    // The second row is short: its last tile is the nearest.
    ["down", 4, 6],
    ["down", 6, 7],
    ["down", 7, 8],
    ["up", 8, 7],
    ["up", 7, 5],
    ["up", 2, 2],
    ["down", 18, 18],
    ["row-start", 12, 8],
    ["row-end", 9, 12],
    ["row-end", 5, 6],
    ["page-down", 0, 7],
    ["page-up", 19, 9],
    ["page-up", 1, 1],
    ["page-down", 14, 19],
    ["first", 13, 0],
    ["last", 2, 19],
  ])("%s from %i comes to %i", (step, from, to) => {
    expect(stepFrom(wide, from, step, 2)).toBe(to);
  });

  test("every step stays on the sheet, and right and left undo each other", () => {
    const roll = seeded(6);
    const steps: readonly Step[] = [
      "left",
      "right",
      "up",
      "down",
      "row-start",
      "row-end",
      "page-up",
      "page-down",
    ];
    let index = 0;
    for (let nth = 0; nth < 2_000; nth += 1) {
      index = stepFrom(wide, index, steps[roll.below(steps.length)] ?? "right", 1 + roll.below(3));
      expect(index).toBeGreaterThanOrEqual(0);
      expect(index).toBeLessThan(wide.frames);
      if (index < wide.frames - 1)
        expect(stepFrom(wide, stepFrom(wide, index, "right", 1), "left", 1)).toBe(index);
    }
  });
});
