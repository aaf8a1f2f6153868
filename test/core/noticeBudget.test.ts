/** How much is said at once: a few in a row, then what came together comes as one. */

import { expect, test } from "vitest";
import { type Budget, type Saying, spend, together } from "../../daemon/core/noticeBudget.ts";
import { millis } from "../../shared/units.ts";

const bounds = { most: 4, every: millis(60_000) };

/** How many of so many tries at these moments may speak. */
function spoken(moments: readonly number[]): number {
  let budget: Budget = { left: bounds.most, at: millis(0) };
  let said = 0;
  for (const at of moments) {
    const spent = spend(budget, millis(at), bounds);
    budget = spent.budget;
    if (spent.wait === 0) said += 1;
  }
  return said;
}

test("so many in a row are said, the next one waits its time and no longer", () => {
  expect(spoken([0, 0, 0, 0, 0, 0])).toBe(4);
  const empty: Budget = { left: 0, at: millis(1_000) };
  const refused = spend(empty, millis(31_000), bounds);
  expect(refused.wait).toBe(30_000);
  expect(spend(refused.budget, millis(31_000 + refused.wait), bounds).wait).toBe(0);
});

test("whatever comes in an hour, no more than the burst and one a span is said", () => {
  const everySecond = Array.from({ length: 3_600 }, (_, second) => second * 1_000);
  expect(spoken(everySecond)).toBeLessThanOrEqual(4 + 60);
  expect(spoken(everySecond)).toBeGreaterThanOrEqual(60);
});

test("a pause never earns more than the burst, and a clock that stands still earns nothing", () => {
  const day = 86_400_000;
  expect(spoken([day, day, day, day, day, day])).toBe(4);
});

const saying = (title: string, urgency: Saying["urgency"] = "normal"): Saying => ({
  title,
  body: `${title}, in full.`,
  urgency,
  matter: `evening/${title}`,
});

test("one alone is said as it is", () => {
  expect(together([saying("Card 7 may be formatted")])).toEqual(saying("Card 7 may be formatted"));
});

test("several are one, as urgent as the most urgent, which stands first", () => {
  const one = together([saying("a", "low"), saying("b", "critical"), saying("c")]);
  expect(one).toEqual({
    title: "3 things happened",
    body: "b\nc\na",
    urgency: "critical",
    matter: "evening",
  });
});

test("a flood is counted, not listed", () => {
  const [first, ...others] = Array.from({ length: 40 }, (_, number) => saying(`matter ${number}`));
  if (first === undefined) throw new Error("no saying");
  const { body } = together([first, ...others]);
  expect(body.split("\n")).toHaveLength(6);
  expect(body).toContain("and 35 more");
});
