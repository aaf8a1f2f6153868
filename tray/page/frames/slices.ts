/**
 * The frames that the page keeps in memory: slices of a day's list, as they come from the daemon. Bounded: those that
 * weren't wanted for longest go first, which are those that are farthest away. Slices belong to days, so that frames
 * which come to one day shift no other's. Not its job: asking for them.
 */

import type { FrameJson } from "../../../shared/framesApi.ts";

/** frames in a slice. One is loaded in a few milliseconds and fills four windows. */
export const sliceFrames = 200;
/** slices. 6,000 frames, about 3 MB. */
export const slicesMost = 30;

export interface SliceName {
  readonly day: string;
  /** Which slice of the day, from 0. */
  readonly nth: number;
}

interface Kept {
  readonly frames: readonly FrameJson[];
  /** It may have changed: shown until it is loaded anew. */
  readonly stale: boolean;
}

/** The slices that hold a day's frames from `from` until before `to`. */
export function slicesOf(day: string, from: number, to: number): readonly SliceName[] {
  if (to <= from) return [];
  const first = Math.floor(from / sliceFrames);
  const last = Math.floor((to - 1) / sliceFrames);
  return Array.from({ length: last - first + 1 }, (_, nth) => ({ day, nth: first + nth }));
}

export const keyOf = ({ day, nth }: SliceName): string => `${day}/${nth}`;

export class Slices {
  /** In the order they were last wanted. */
  readonly #kept = new Map<string, Kept & { readonly day: string }>();
  readonly #most: number;

  constructor(most: number = slicesMost) {
    this.#most = most;
  }

  /** The frame of this number in its day, if it is in memory. */
  frame(day: string, number: number): FrameJson | undefined {
    const nth = Math.floor(number / sliceFrames);
    return this.#kept.get(keyOf({ day, nth }))?.frames[number % sliceFrames];
  }

  /** @returns which of them have to be asked for */
  want(slices: readonly SliceName[]): readonly SliceName[] {
    for (const slice of slices) {
      const key = keyOf(slice);
      const kept = this.#kept.get(key);
      if (kept === undefined) continue;
      this.#kept.delete(key);
      this.#kept.set(key, kept);
    }
    return slices.filter((slice) => this.#kept.get(keyOf(slice))?.stale !== false);
  }

  /** @param stale it is known to change soon */
  put(slice: SliceName, frames: readonly FrameJson[], stale = false): void {
    const key = keyOf(slice);
    this.#kept.delete(key);
    this.#kept.set(key, { day: slice.day, frames, stale });
    for (const oldest of this.#kept.keys()) {
      if (this.#kept.size <= this.#most) return;
      this.#kept.delete(oldest);
    }
  }

  /** What is kept of these days may have changed. */
  doubt(isChanged: (day: string) => boolean): void {
    for (const [key, kept] of this.#kept)
      if (isChanged(kept.day)) this.#kept.set(key, { ...kept, stale: true });
  }

  /** What has become known of single frames. @returns whether anything is shown differently now */
  change(changes: ReadonlyMap<string, Partial<FrameJson>>): boolean {
    let changed = false;
    for (const [key, kept] of this.#kept) {
      if (!kept.frames.some(({ id }) => changes.has(id))) continue;
      const frames = kept.frames.map((frame) => {
        const change = changes.get(frame.id);
        return change === undefined ? frame : { ...frame, ...change };
      });
      this.#kept.set(key, { ...kept, frames });
      changed = true;
    }
    return changed;
  }

  get size(): number {
    return this.#kept.size;
  }
}
