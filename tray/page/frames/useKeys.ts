/**
 * Keys of a whole screen, as a hook: heard unless somebody types or scrolls with them. Whether single letters count is
 * asked once and kept in this browser (WCAG 2.2, 2.1.4: they can be switched off).
 */

import { useEffect, useRef, useState } from "preact/hooks";

/** Where the browser keeps it. */
const storedAs = "scrubjay-letters";

/** What has keys of its own: fields to type in, lists to choose from, tables that scroll. */
const ownKeys =
  "input:not([type=checkbox], [type=radio], [type=button]), select, textarea, [contenteditable], .wide";

/** @param act does what the key stands for. @returns whether it did anything */
export function useKeys(act: (event: KeyboardEvent, typing: boolean) => boolean): void {
  const latest = useRef(act);
  latest.current = act;
  useEffect(() => {
    const pressed = (event: KeyboardEvent) => {
      const typing = event.target instanceof Element && event.target.closest(ownKeys) !== null;
      if (!event.defaultPrevented && latest.current(event, typing)) event.preventDefault();
    };
    addEventListener("keydown", pressed);
    return () => removeEventListener("keydown", pressed);
  }, []);
}

/** Whether single letters count, and how to say otherwise. */
export function useLetters(): readonly [boolean, (on: boolean) => void] {
  const [on, setOn] = useState(stored);
  const say = (wish: boolean) => {
    setOn(wish);
    try {
      localStorage.setItem(storedAs, wish ? "on" : "off");
    } catch {
      // Then it holds until the page is loaded again.
    }
  };
  return [on, say];
}

function stored(): boolean {
  try {
    return localStorage.getItem(storedAs) !== "off";
  } catch {
    return true;
  }
}
