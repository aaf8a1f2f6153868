/** Which frames stand before and behind one, over days' ends too, as a hook. */

import { useEffect, useState } from "preact/hooks";
import type { FrameDayJson, FrameJson } from "../../../shared/framesApi.ts";
import { addressOf } from "../address.ts";
import { Refused } from "../daemon.ts";
import type { FrameStore } from "./frameStore.ts";

export interface Neighbour {
  readonly id: string;
  readonly address: string;
}

export interface Neighbours {
  /** Its own number in its day, from 0; undefined while that isn't known, or where the day has no such frame. */
  readonly number: number | undefined;
  /** What the sheet knows of it. */
  readonly frame: FrameJson | undefined;
  readonly previous: Neighbour | undefined;
  readonly next: Neighbour | undefined;
}

const unknown: Neighbours = { number: undefined, frame: undefined, previous: undefined, next: undefined };

export function useNeighbours(
  store: FrameStore,
  days: readonly FrameDayJson[],
  day: string,
  id: string,
): Neighbours {
  const [found, setFound] = useState<{ readonly id: string; readonly around: Neighbours }>();
  useEffect(() => {
    let isOver = false;
    neighboursOf(store, days, day, id).then(
      (around) => {
        if (!isOver) setFound({ id, around });
      },
      (failure: unknown) => {
        // The frame itself is asked for too, and says why.
        if (!(failure instanceof Refused)) throw failure;
      },
    );
    return () => {
      isOver = true;
    };
  }, [store, days, day, id]);
  return found?.id === id ? found.around : unknown;
}

async function neighboursOf(
  store: FrameStore,
  days: readonly FrameDayJson[],
  day: string,
  id: string,
): Promise<Neighbours> {
  const number = await store.find(day, id);
  if (number === undefined) return unknown;
  const nth = days.findIndex((each) => each.day === day);
  const before = days[nth - 1];
  const after = days[nth + 1];
  const at = async (there: string, that: number): Promise<Neighbour | undefined> => {
    const frame = await store.load(there, that);
    return frame === undefined ? undefined : { id: frame.id, address: addressOf("frames", there, frame.id) };
  };
  const previous =
    (await at(day, number - 1)) ??
    (before === undefined ? undefined : await at(before.day, before.frames - 1));
  const next = (await at(day, number + 1)) ?? (after === undefined ? undefined : await at(after.day, 0));
  return { number, frame: store.frame(day, number), previous, next };
}
