/**
 * What a key does on the screens of frames, as one table a screen. Never while somebody types, and never with a modifier:
 * those are the browser's and the system's. Single letters can be switched off (WCAG 2.2, 2.1.4), arrows needn't be.
 */

import type { Choice } from "./ratingWords.ts";
import type { Step } from "./sheetLayout.ts";

/** What is looked at of a keyboard event. */
export interface Pressed {
  readonly key: string;
  readonly ctrlKey: boolean;
  readonly altKey: boolean;
  readonly metaKey: boolean;
  /** The key is held down. */
  readonly repeat: boolean;
  /** A character is being composed from several keys. */
  readonly isComposing: boolean;
}

export type FrameAct =
  | { readonly kind: "rate"; readonly choice: Choice }
  | { readonly kind: "go"; readonly to: "previous" | "next" | "sheet" };

export type CheckAct =
  | { readonly kind: "look"; readonly fine: boolean }
  | { readonly kind: "go"; readonly to: "previous" | "next" };

const rates: Readonly<Record<string, Choice>> = {
  "0": 0,
  "1": 1,
  "2": 2,
  "3": 3,
  "4": 4,
  "5": 5,
  k: "keep",
  r: "reject",
};

const steps: Readonly<Record<string, Step>> = {
  ArrowLeft: "left",
  ArrowRight: "right",
  ArrowUp: "up",
  ArrowDown: "down",
  Home: "row-start",
  End: "row-end",
  PageUp: "page-up",
  PageDown: "page-down",
};

/** @param letters whether single letters and digits count */
export function frameKey(pressed: Pressed, typing: boolean, letters: boolean): FrameAct | undefined {
  if (typing || isModified(pressed)) return undefined;
  if (pressed.key === "ArrowLeft") return { kind: "go", to: "previous" };
  if (pressed.key === "ArrowRight") return { kind: "go", to: "next" };
  if (pressed.key === "Escape") return { kind: "go", to: "sheet" };
  const choice = own(rates, letterOf(pressed));
  // Held down, a key would write the same file again and again.
  return !letters || pressed.repeat || choice === undefined ? undefined : { kind: "rate", choice };
}

export function checkKey(pressed: Pressed, typing: boolean, letters: boolean): CheckAct | undefined {
  if (typing || isModified(pressed)) return undefined;
  if (pressed.key === "ArrowLeft") return { kind: "go", to: "previous" };
  if (pressed.key === "ArrowRight") return { kind: "go", to: "next" };
  const letter = letterOf(pressed);
  // Held down, a key would answer for frames that nobody saw.
  if (!letters || pressed.repeat || (letter !== "f" && letter !== "n")) return undefined;
  return { kind: "look", fine: letter === "f" };
}

/** Control with Home and End goes to the sheet's ends, as in any grid. */
export function sheetKey(pressed: Pressed): Step | undefined {
  if (pressed.altKey || pressed.metaKey || pressed.isComposing) return undefined;
  if (!pressed.ctrlKey) return own(steps, pressed.key);
  if (pressed.key === "Home") return "first";
  return pressed.key === "End" ? "last" : undefined;
}

function isModified({ ctrlKey, altKey, metaKey, isComposing }: Pressed): boolean {
  return ctrlKey || altKey || metaKey || isComposing;
}

/** The same with the capitals' lock on. */
function letterOf({ key }: Pressed): string {
  return key.length === 1 ? key.toLowerCase() : key;
}

function own<T>(table: Readonly<Record<string, T>>, key: string): T | undefined {
  return Object.hasOwn(table, key) ? table[key] : undefined;
}
