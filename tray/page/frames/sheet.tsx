/**
 * The contact sheet: every frame of a trip by day, in the order taken. However many there are, only the rows near the
 * window are elements; the sheet's height comes from the days' counts (`sheetLayout.ts`). Each day is a grid that one
 * moves in with the arrow keys (WAI-ARIA Authoring Practices, grid), and the arrows go from day to day. The focused
 * tile stays an element however far it is scrolled away.
 */

import { useEffect, useId, useLayoutEffect, useMemo, useRef, useState } from "preact/hooks";
import type { FrameDayJson, FrameJson } from "../../../shared/framesApi.ts";
import { fullDay } from "../../../shared/moments.ts";
import { addressOf } from "../address.ts";
import type { FrameStore } from "./frameStore.ts";
import { sheetKey } from "./keys.ts";
import { nearestFirst, slicesNear, usePictures } from "./nearFrames.ts";
import {
  cornerOf,
  type DayRows,
  dayAt,
  dayAtHeight,
  firstBelow,
  indexOf,
  layOut,
  rowsBetween,
  rowTop,
  type SheetLayout,
  sizes,
  stepFrom,
  withRowOf,
} from "./sheetLayout.ts";
import { frameCount, Tile } from "./tile.tsx";
import { useNear } from "./useNear.ts";

/** A frame by its day and its number there. */
export interface FramePlace {
  readonly day: string;
  readonly number: number;
}

/** Where on the sheet somebody was, kept while one frame is shown. */
export interface SheetMemory {
  place: FramePlace | undefined;
  /** The frame was looked at by itself: it gets the focus. */
  returns: boolean;
  scroll: number;
}

export const dayWords = (day: string): string => fullDay(day) || "Without a day";

export function Sheet({
  days,
  store,
  day,
  memory,
}: {
  readonly days: readonly FrameDayJson[];
  readonly store: FrameStore;
  /** The day to begin at; undefined: where one was, or the first. */
  readonly day: string | undefined;
  readonly memory: SheetMemory;
}) {
  const box = useRef<HTMLDivElement>(null);
  const bar = useRef<HTMLDivElement>(null);
  const { width, near, calm, look } = useNear(box);
  const layout = useMemo(() => layOut(days, width), [days, width]);
  const [at, setAt] = useState(memory.place);
  const wantsFocus = useRef(false);
  const active = (at === undefined ? undefined : indexOf(layout, at.day, at.number)) ?? 0;
  const rows = withRowOf(layout, rowsBetween(layout, near.top, near.bottom), active);
  const stop =
    isWithin(layout, active, near) || hasFocus(box.current) ? active : firstBelow(layout, near.first);
  const barHeight = () => bar.current?.offsetHeight ?? 0;
  const sheetTop = () => (box.current?.getBoundingClientRect().top ?? 0) + scrollY;

  const show = (index: number) => {
    const top = (cornerOf(layout, index)?.top ?? 0) + sheetTop();
    if (top - barHeight() < scrollY) scrollTo({ top: top - barHeight() - sizes.gap });
    else if (top + sizes.row > scrollY + innerHeight) scrollTo({ top: top + sizes.row - innerHeight });
    look();
  };
  const jump = (to: string) => {
    const place = layout.days.find((each) => each.day === to);
    if (place === undefined) return;
    scrollTo({ top: place === layout.days[0] ? 0 : place.top + sheetTop() - barHeight() });
    look();
  };
  const goTo = (index: number) => {
    const place = dayAt(layout, index);
    if (place === undefined) return;
    wantsFocus.current = true;
    setAt({ day: place.day, number: index - place.first });
    memory.place = { day: place.day, number: index - place.first };
    show(index);
  };

  // Where to begin: a frame that was shown by itself, else the day of the address.
  const isLaidOut = width > 0;
  useLayoutEffect(() => {
    if (!isLaidOut) return;
    const { place, returns } = memory;
    memory.returns = false;
    const index = place === undefined ? undefined : indexOf(layout, place.day, place.number);
    if (returns && index !== undefined && (day === undefined || place?.day === day)) {
      scrollTo({ top: memory.scroll });
      goTo(index);
    } else if (day !== undefined) jump(day);
    else scrollTo({ top: 0 });
  }, [isLaidOut, day]);
  useLayoutEffect(() => {
    if (!wantsFocus.current) return;
    wantsFocus.current = false;
    tileAt(box.current, active)?.focus({ preventScroll: true });
  });
  useEffect(() => {
    const remember = () => {
      memory.scroll = scrollY;
    };
    addEventListener("scroll", remember, { passive: true });
    return () => removeEventListener("scroll", remember);
  }, [memory]);

  const calmRows = rowsBetween(layout, calm.top, calm.bottom);
  const slicesWanted = calmRows.flatMap((each) => slicesNear(layout, each));
  useEffect(() => store.want(slicesWanted), [store, JSON.stringify(slicesWanted)]);
  usePictures(store, nearestFirst(calmRows, calm.first), layout);

  const onKeyDown = (event: KeyboardEvent) => {
    const from = indexOfTile(event.target);
    const step = from === undefined ? undefined : sheetKey(event);
    if (from === undefined || step === undefined) return;
    event.preventDefault();
    const pageRows = Math.max(1, Math.floor((innerHeight - barHeight()) / sizes.row));
    goTo(stepFrom(layout, from, step, pageRows));
  };
  const onFocusIn = (event: FocusEvent) => {
    const index = indexOfTile(event.target);
    const place = index === undefined ? undefined : dayAt(layout, index);
    if (index === undefined || place === undefined) return;
    const number = index - place.first;
    if (at?.day !== place.day || at.number !== number) setAt({ day: place.day, number });
    memory.place = { day: place.day, number };
  };
  const current = dayAtHeight(layout, near.first)?.day ?? "";
  return (
    <>
      <div class="sheet-bar" ref={bar}>
        <label>
          Day{" "}
          <select
            value={current}
            onChange={(event) => {
              const to = event.currentTarget.value;
              history.replaceState(null, "", addressOf("frames", to));
              jump(to);
            }}
          >
            {days.map((each) => (
              <option key={each.day} value={each.day}>
                {dayWords(each.day)}
              </option>
            ))}
          </select>
        </label>
        <span class="small">Arrow keys go from frame to frame, Enter shows one large.</span>
      </div>
      {/* biome-ignore lint/a11y/noStaticElementInteractions: the keys are those of the tiles in it */}
      <div
        class="sheet"
        ref={box}
        style={{ height: `${layout.height}px` }}
        onKeyDown={onKeyDown}
        onFocusIn={onFocusIn}
      >
        {rows.map((each) => (
          <Day
            key={each.place.day}
            rows={each}
            layout={layout}
            store={store}
            stop={stop}
            isPictured={(row) =>
              calmRows.some(({ place, rows: calmed }) => place === each.place && calmed.includes(row))
            }
          />
        ))}
      </div>
    </>
  );
}

function Day({
  rows: { place, rows },
  layout,
  store,
  stop,
  isPictured,
}: {
  readonly rows: DayRows;
  readonly layout: SheetLayout;
  readonly store: FrameStore;
  readonly stop: number;
  readonly isPictured: (row: number) => boolean;
}) {
  const heading = useId();
  const words = dayWords(place.day);
  return (
    <section aria-labelledby={heading}>
      <div class="sheet-heading" style={{ top: `${place.top}px` }}>
        <h2 id={heading}>{words}</h2>
        <p class="small">
          {frameCount(place.frames)} ·{" "}
          <a href={addressOf("frames", place.day, "check")} aria-label={`Sample check of this day, ${words}`}>
            Sample check of this day
          </a>
        </p>
      </div>
      {rows.length === 0 ? null : (
        // biome-ignore lint/a11y/useSemanticElements: a table can't be drawn in part
        <div
          role="grid"
          tabIndex={-1}
          aria-labelledby={heading}
          aria-rowcount={place.rows}
          aria-colcount={layout.columns}
        >
          {rows.map((row) => (
            <Row
              key={row}
              row={row}
              place={place}
              layout={layout}
              store={store}
              stop={stop}
              pictured={isPictured(row)}
            />
          ))}
        </div>
      )}
    </section>
  );
}

function Row({
  row,
  place,
  layout,
  store,
  stop,
  pictured,
}: {
  readonly row: number;
  readonly place: DayRows["place"];
  readonly layout: SheetLayout;
  readonly store: FrameStore;
  readonly stop: number;
  readonly pictured: boolean;
}) {
  const from = row * layout.columns;
  const to = Math.min(from + layout.columns, place.frames);
  const gone = (frame: FrameJson) => store.change(new Map([[frame.id, { picture: "waiting" as const }]]));
  return (
    // biome-ignore lint/a11y/useSemanticElements: a table can't be drawn in part
    // biome-ignore lint/a11y/useFocusableInteractive: its tiles have the focus
    <div role="row" class="sheet-row" aria-rowindex={row + 1} style={{ top: `${rowTop(place, row)}px` }}>
      {Array.from({ length: to - from }, (_, column) => {
        const number = from + column;
        const index = place.first + number;
        return (
          // biome-ignore lint/a11y/useSemanticElements: a table can't be drawn in part
          // biome-ignore lint/a11y/useFocusableInteractive: the tile in it has the focus
          <div
            key={number}
            role="gridcell"
            class="sheet-cell"
            aria-colindex={column + 1}
            style={{ width: `${layout.tileWidth}px` }}
          >
            <Tile
              frame={store.frame(place.day, number)}
              day={place.day}
              number={number}
              index={index}
              isStop={index === stop}
              pictured={pictured}
              onGone={gone}
            />
          </div>
        );
      })}
    </div>
  );
}

function isWithin(
  layout: SheetLayout,
  index: number,
  near: { readonly top: number; readonly bottom: number },
) {
  const top = cornerOf(layout, index)?.top;
  return top !== undefined && top + sizes.row > near.top && top < near.bottom;
}

function hasFocus(box: HTMLElement | null): boolean {
  return indexOfTile(document.activeElement) !== undefined && box?.contains(document.activeElement) === true;
}

function tileAt(box: HTMLElement | null, index: number): HTMLElement | null {
  return box?.querySelector<HTMLElement>(`[data-index="${index}"]`) ?? null;
}

function indexOfTile(target: EventTarget | null): number | undefined {
  const index = target instanceof HTMLElement ? target.dataset["index"] : undefined;
  return index === undefined ? undefined : Number(index);
}
