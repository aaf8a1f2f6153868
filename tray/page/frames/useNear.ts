/**
 * Which stretch of a tall element is near the window, as a hook. Two stretches: `near` follows every frame of scrolling
 * and decides what is drawn; `calm` follows a few times a second and decides what is asked of the daemon, so that what
 * flies by costs nothing.
 */

import type { RefObject } from "preact";
import { useCallback, useEffect, useLayoutEffect, useRef, useState } from "preact/hooks";

/** CSS pixels. Both ends of the stretch are whole multiples, so that it changes seldom. */
const grain = 96;
/** Of the window's height: what is drawn above and below it. */
const beyond = 0.75;
/** ms between two changes of `calm`. */
const calmEvery = 120;

export interface Stretch {
  /** From the element's own upper edge; outside of it where the window is. */
  readonly top: number;
  readonly bottom: number;
  /** Where the window begins. */
  readonly first: number;
}

const nothing: Stretch = { top: 0, bottom: 0, first: 0 };

export interface Near {
  readonly width: number;
  readonly near: Stretch;
  readonly calm: Stretch;
  /** Looks now, after scrolling by program. */
  readonly look: () => void;
}

export function useNear(element: RefObject<HTMLElement | null>): Near {
  const [width, setWidth] = useState(0);
  const [near, setNear] = useState(nothing);
  const [calm, setCalm] = useState(nothing);
  const latest = useRef(nothing);
  const look = useCallback(() => {
    const box = element.current?.getBoundingClientRect();
    if (box === undefined) return;
    const more = innerHeight * beyond;
    const stretch = {
      top: Math.floor((-box.top - more) / grain) * grain,
      bottom: Math.ceil((innerHeight - box.top + more) / grain) * grain,
      first: Math.floor(-box.top / grain) * grain,
    };
    if (isSame(latest.current, stretch)) return;
    latest.current = stretch;
    setNear(stretch);
  }, [element]);

  useLayoutEffect(() => {
    const { current } = element;
    if (current === null) return;
    const sizes = new ResizeObserver(() => {
      setWidth(current.clientWidth);
      look();
    });
    sizes.observe(current);
    setWidth(current.clientWidth);
    look();
    return () => sizes.disconnect();
  }, [element, look]);

  useEffect(() => {
    let drawn = 0;
    const moved = () => {
      if (drawn !== 0) return;
      drawn = requestAnimationFrame(() => {
        drawn = 0;
        look();
      });
    };
    addEventListener("scroll", moved, { passive: true });
    addEventListener("resize", moved);
    return () => {
      cancelAnimationFrame(drawn);
      removeEventListener("scroll", moved);
      removeEventListener("resize", moved);
    };
  }, [look]);

  useEffect(() => {
    if (isSame(near, calm)) return;
    const timer = setTimeout(() => setCalm(latest.current), calmEvery);
    return () => clearTimeout(timer);
    // Not by `near`: while somebody scrolls on, it would never come.
  }, [isSame(near, calm), calm]);

  return { width, near, calm, look };
}

function isSame(one: Stretch, other: Stretch): boolean {
  return one.top === other.top && one.bottom === other.bottom && one.first === other.first;
}
