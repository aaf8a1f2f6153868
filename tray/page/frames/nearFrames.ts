/** What the rows near the window need: the slices that hold their frames, and pictures of those that have none yet. */

import { useEffect, useMemo } from "preact/hooks";
import type { FrameJson } from "../../../shared/framesApi.ts";
import { change } from "../daemon.ts";
import type { FrameStore } from "./frameStore.ts";
import { PictureWishes } from "./pictureWishes.ts";
import { type DayRows, rowTop, type SheetLayout, sizes } from "./sheetLayout.ts";
import { slicesOf } from "./slices.ts";

/** Pictures that are near and aren't there are made, in the order of the rows; those being made are asked after. */
export function usePictures(store: FrameStore, rows: readonly DayRows[], layout: SheetLayout): void {
  const wishes = useMemo(
    () =>
      new PictureWishes(
        "sheet",
        (frames, size) => change("/v1/pictures", { frames, size }),
        (states) => store.change(new Map([...states].map(([id, picture]) => [id, { picture }]))),
      ),
    [store],
  );
  useEffect(() => () => wishes.end(), [wishes]);
  const waiting = framesIn(store, rows, layout).filter(({ picture }) => picture === "waiting");
  // After each rendering: frames that were loaded meanwhile are wanted too.
  useEffect(() => wishes.want(waiting.map(({ id }) => id)));
}

/** What the window shows before what it is scrolled past. */
export function nearestFirst(rows: readonly DayRows[], top: number): readonly DayRows[] {
  const part = (isShown: boolean) =>
    rows.map(({ place, rows: those }) => ({
      place,
      rows: those.filter((row) => rowTop(place, row) + sizes.row > top === isShown),
    }));
  return [...part(true), ...part(false)];
}

function framesIn(
  store: FrameStore,
  rows: readonly DayRows[],
  { columns }: SheetLayout,
): readonly FrameJson[] {
  return rows.flatMap(({ place, rows: those }) =>
    those.flatMap((row) =>
      Array.from({ length: columns }, (_, column) => store.frame(place.day, row * columns + column)).filter(
        (frame) => frame !== undefined,
      ),
    ),
  );
}

/** The slices that hold these rows. */
export function slicesNear({ columns }: SheetLayout, { place, rows }: DayRows) {
  const first = rows[0];
  const last = rows.at(-1);
  if (first === undefined || last === undefined) return [];
  return slicesOf(place.day, first * columns, Math.min((last + 1) * columns, place.frames));
}
