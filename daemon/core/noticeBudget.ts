/**
 * How much may be said at once: a few notices in a row, then one after a while that holds what came together. Nothing is
 * dropped; what a notice names is on the board and in the list of what happened in any case.
 */

import { counted } from "../../shared/format.ts";
import { type Millis, millis } from "../../shared/units.ts";

/** Notices that may still be shown, as of a moment of the steady clock. */
export interface Budget {
  readonly left: number;
  readonly at: Millis;
}

export interface BudgetBounds {
  /** notices in a row. */
  readonly most: number;
  /** After which one more may be shown. */
  readonly every: Millis;
}

/** @returns what is left after one notice, or how long to wait for it. */
export function spend(
  budget: Budget,
  now: Millis,
  { most, every }: BudgetBounds,
): { readonly budget: Budget; readonly wait: Millis } {
  const earned = Math.max(0, now - budget.at) / every;
  const left = Math.min(most, budget.left + earned);
  if (left >= 1) return { budget: { left: left - 1, at: now }, wait: millis(0) };
  return { budget: { left, at: now }, wait: millis(Math.ceil((1 - left) * every)) };
}

/** What one notice says; as `Notice` of the port. */
export interface Saying {
  readonly title: string;
  readonly body: string;
  readonly urgency: "low" | "normal" | "critical";
  readonly matter: string;
}

/** titles. A notice has room for about so many lines. */
const linesMost = 5;

const rank = { low: 0, normal: 1, critical: 2 } as const;

/** One notice for all of these: the most urgent one's urgency, each one's title as a line. @param sayings at least one */
export function together(sayings: readonly [Saying, ...Saying[]]): Saying {
  const [first, ...others] = sayings;
  if (others.length === 0) return first;
  const urgent = sayings.reduce((most, each) => (rank[each.urgency] > rank[most.urgency] ? each : most));
  // The urgent ones first, each kind in the order in which it came.
  const lines = [...sayings].sort((a, b) => rank[b.urgency] - rank[a.urgency]).map((each) => each.title);
  const more = lines.length - linesMost;
  return {
    title: `${counted(sayings.length, "thing")} happened`,
    body: [...lines.slice(0, linesMost), ...(more > 0 ? [`and ${counted(more, "more", "more")}`] : [])].join(
      "\n",
    ),
    urgency: urgent.urgency,
    matter: "evening",
  };
}
