/**
 * Where everything on the contact sheet stands, computed from the days' counts and the sheet's width alone, so that a
 * place in it is known before its frames are, and 50,000 frames cost as much as fifty. Lengths are CSS pixels, measured
 * from the sheet's own upper left corner. A frame is named by its day and its number there, or by its index over all
 * days; both count from 0. Not its job: elements, scrolling, frames themselves.
 */

/** CSS pixels; `frames.css` draws by the same numbers. */
export const sizes = {
  /** A picture narrower than this is too small to judge. */
  tileLeast: 160,
  gap: 16,
  /** A tile and the space below it. */
  row: 192,
  /** A day's heading with the space around it. */
  heading: 100,
} as const;

export interface DayPlace {
  readonly day: string;
  readonly frames: number;
  /** Index of its first frame over all days. */
  readonly first: number;
  /** Where its heading begins; its first row begins `sizes.heading` below. */
  readonly top: number;
  readonly rows: number;
}

export interface SheetLayout {
  readonly columns: number;
  readonly tileWidth: number;
  readonly days: readonly DayPlace[];
  readonly frames: number;
  readonly height: number;
}

/** The rows of a day that are to be there. */
export interface DayRows {
  readonly place: DayPlace;
  /** Ascending; empty where only the heading is near. */
  readonly rows: readonly number[];
}

/** A way to go from one tile to another, as the grid pattern has them (WAI-ARIA Authoring Practices, grid). */
export type Step =
  | "left"
  | "right"
  | "up"
  | "down"
  | "row-start"
  | "row-end"
  | "page-up"
  | "page-down"
  | "first"
  | "last";

export function layOut(
  days: readonly { readonly day: string; readonly frames: number }[],
  width: number,
): SheetLayout {
  const columns = Math.max(1, Math.floor((width + sizes.gap) / (sizes.tileLeast + sizes.gap)));
  const tileWidth = Math.max(0, (width - sizes.gap * (columns - 1)) / columns);
  const places: DayPlace[] = [];
  let top = 0;
  let first = 0;
  for (const { day, frames } of days) {
    const rows = Math.ceil(frames / columns);
    places.push({ day, frames, first, top, rows });
    first += frames;
    top += sizes.heading + rows * sizes.row;
  }
  return { columns, tileWidth, days: places, frames: first, height: top };
}

/** Upper left corner of a tile; undefined where there is no such frame. */
export function cornerOf(
  layout: SheetLayout,
  index: number,
): { readonly left: number; readonly top: number } | undefined {
  const place = dayAt(layout, index);
  if (place === undefined) return undefined;
  const nth = index - place.first;
  const column = nth % layout.columns;
  return {
    left: column * (layout.tileWidth + sizes.gap),
    top: rowTop(place, Math.floor(nth / layout.columns)),
  };
}

/** Where a row of a day begins. */
export function rowTop(place: DayPlace, row: number): number {
  return place.top + sizes.heading + row * sizes.row;
}

/** The day that a frame of this index belongs to; undefined where there is none. */
export function dayAt({ days, frames }: SheetLayout, index: number): DayPlace | undefined {
  if (index < 0 || index >= frames) return undefined;
  return days.find(({ first, frames: many }) => index < first + many);
}

export function indexOf({ days }: SheetLayout, day: string, nth: number): number | undefined {
  const place = days.find((each) => each.day === day);
  return place === undefined || nth < 0 || nth >= place.frames ? undefined : place.first + nth;
}

/** The day whose heading or rows stand at this height; the nearest where none does. */
export function dayAtHeight({ days }: SheetLayout, top: number): DayPlace | undefined {
  return days.findLast((each) => each.top <= top) ?? days[0];
}

/** Every row that touches the stretch between two heights, day by day. */
export function rowsBetween(layout: SheetLayout, top: number, bottom: number): readonly DayRows[] {
  const near: DayRows[] = [];
  for (const place of layout.days) {
    const end = rowTop(place, place.rows);
    if (end <= top || place.top >= bottom) continue;
    const begin = place.top + sizes.heading;
    const from = Math.max(0, Math.floor((top - begin) / sizes.row));
    const to = Math.min(place.rows, Math.ceil((bottom - begin) / sizes.row));
    near.push({ place, rows: Array.from({ length: Math.max(0, to - from) }, (_, nth) => from + nth) });
  }
  return near;
}

/** The same rows and the one this frame stands in: whatever is focused stays, however far it is scrolled away. */
export function withRowOf(layout: SheetLayout, near: readonly DayRows[], index: number): readonly DayRows[] {
  const place = dayAt(layout, index);
  if (place === undefined) return near;
  const row = Math.floor((index - place.first) / layout.columns);
  const those = near.find((each) => each.place === place);
  if (those?.rows.includes(row)) return near;
  const rows = [...(those?.rows ?? []), row].sort((a, b) => a - b);
  return [...near.filter((each) => each !== those), { place, rows }].sort(
    (a, b) => a.place.top - b.place.top,
  );
}

/** Index of the first frame whose tile begins below `top`; the last one where none does. */
export function firstBelow(layout: SheetLayout, top: number): number {
  for (const place of layout.days) {
    const row = Math.max(0, Math.ceil((top - place.top - sizes.heading) / sizes.row));
    if (row < place.rows) return place.first + row * layout.columns;
  }
  return Math.max(0, layout.frames - 1);
}

/** @param pageRows how many rows a window shows @returns the index one comes to; the same at an end */
export function stepFrom(layout: SheetLayout, index: number, step: Step, pageRows: number): number {
  const place = dayAt(layout, index);
  if (place === undefined) return index;
  const column = (index - place.first) % layout.columns;
  switch (step) {
    case "left":
      return Math.max(0, index - 1);
    case "right":
      return Math.min(layout.frames - 1, index + 1);
    case "up":
      return rowsOn(layout, index, -1);
    case "down":
      return rowsOn(layout, index, 1);
    case "row-start":
      return index - column;
    case "row-end":
      return Math.min(index - column + layout.columns, place.first + place.frames) - 1;
    case "page-up":
      return rowsOn(layout, index, -Math.max(1, pageRows));
    case "page-down":
      return rowsOn(layout, index, Math.max(1, pageRows));
    case "first":
      return 0;
    case "last":
      return layout.frames - 1;
  }
}

/** As many rows on or back, days' ends passed over, in the same column or the last a short row has. */
function rowsOn(layout: SheetLayout, index: number, by: number): number {
  const start = dayAt(layout, index);
  if (start === undefined) return index;
  const column = (index - start.first) % layout.columns;
  let nth = layout.days.indexOf(start);
  let row = Math.floor((index - start.first) / layout.columns) + by;
  for (;;) {
    const { rows } = layout.days[nth] ?? start;
    if (row < 0) {
      if (nth === 0) {
        row = 0;
        break;
      }
      nth -= 1;
      row += layout.days[nth]?.rows ?? 0;
    } else if (row >= rows) {
      if (nth === layout.days.length - 1) {
        row = rows - 1;
        break;
      }
      row -= rows;
      nth += 1;
    } else break;
  }
  const place = layout.days[nth] ?? start;
  return place.first + Math.min(row * layout.columns + column, place.frames - 1);
}
