/** The board's two sentences: is everything safe, and what is to be done. */

import { expect, test } from "vitest";
import { type BoardView, boardSentences } from "../../daemon/core/board.ts";
import { millis } from "../../shared/units.ts";

const blue = { name: "Blue", introduced: true, lost: false, present: true, owedFiles: 0 };
const rust = { name: "Rust", introduced: true, lost: false, present: false, owedFiles: 1824 };
const card = (nth: number, more: Partial<BoardView["cards"][number]> = {}) => ({
  name: `Card ${nth}`,
  present: true,
  clear: true,
  files: 100,
  ...more,
});
const board = (more: Partial<BoardView>): BoardView => ({
  tripDescribed: true,
  frames: { total: 50, atGoal: 50 },
  filesLacking: 0,
  otherTrip: undefined,
  cards: [card(1)],
  drives: [blue],
  edits: undefined,
  work: undefined,
  paused: false,
  urgent: undefined,
  warnings: 0,
  ...more,
});

test("where all is safe and something is to be looked at, that is said in place of nothing to do", () => {
  expect(boardSentences(board({ cards: [], warnings: 2 }))).toEqual({
    headline: "Everything is safe.",
    advice: "There are 2 matters to look at.",
  });
});

test("all frames at their goal and every card clear: everything is safe", () => {
  expect(boardSentences(board({}))).toEqual({
    headline: "Everything is safe.",
    advice: "Card 1 may be formatted.",
  });
});

test("an owed drive and the cards that wait for it are named", () => {
  const view = board({
    frames: { total: 50, atGoal: 10 },
    cards: [card(7, { clear: false }), card(8, { clear: false })],
    drives: [blue, rust],
  });
  expect(boardSentences(view)).toEqual({
    headline: "Not everything is safe yet.",
    advice: "Plug in Rust: it owes 1,824 files. Card 7 and card 8 must not be formatted yet.",
  });
});

test("a card that was taken out half read keeps the board from saying that all is safe", () => {
  const view = board({ cards: [card(1), card(2, { present: false, clear: false })] });
  expect(boardSentences(view)).toEqual({
    headline: "Not everything is safe yet.",
    advice: "Card 2 must not be formatted yet.",
  });
});

test.each<[string, Partial<BoardView>]>([
  ["a card is in that isn't listed yet", { cards: [card(1, { clear: false, files: 0 })] }],
  ["files that are no frames lack copies", { filesLacking: 1 }],
  ["another trip lacks copies", { filesLacking: 2, otherTrip: { name: "Gannet Rocks", files: 2 } }],
])("not everything is safe while %s", (_, more) => {
  expect(boardSentences(board(more)).headline).toBe("Not everything is safe yet.");
});

test("while copying, the time left stands first", () => {
  const view = board({
    cards: [card(1, { clear: false })],
    work: { kind: "copy", from: "Card 1", left: millis(240_000) },
  });
  expect(boardSentences(view).advice).toBe(
    "Copying from card 1; 4 min left. Card 1 must not be formatted yet.",
  );
});

test("an urgent alert is never hidden behind frames that are all at goal", () => {
  const view = board({ urgent: "Keep Card 2." });
  expect(boardSentences(view).headline).toBe("Not everything is safe yet.");
  expect(boardSentences(view).advice).toContain("Keep Card 2.");
});

test("before anything was copied, the next step of setting up is said", () => {
  const empty = { frames: { total: 0, atGoal: 0 }, cards: [] };
  expect(boardSentences(board({ ...empty, tripDescribed: false })).headline).toBe(
    "No trip is described yet.",
  );
  expect(boardSentences(board({ ...empty, drives: [{ ...blue, introduced: false }] })).advice).toBe(
    "Plug in Blue and introduce it: under Drives on the page, or with `scrubjay drive add MOUNT --name Blue`.",
  );
  expect(boardSentences(board(empty)).advice).toBe("Put a card in.");
});

test("reading copies again is no work that makes anything safer, and the board doesn't call it copying", () => {
  const work = (kind: "survey" | "scrub") => ({ kind, from: "Card 1", left: undefined });
  const unsafe = { frames: { total: 2, atGoal: 1 }, filesLacking: 1 };
  expect(boardSentences(board({ ...unsafe, work: work("survey") })).advice).toContain("Looking at card 1.");
  expect(boardSentences(board({ ...unsafe, work: work("scrub") })).advice).not.toContain("Card 1");
});

test("work files that too few drives hold aren't safe, and it is said whom they lack", () => {
  const lacking = (whole: number) => ({
    whole,
    goal: 2,
    behind: [
      { name: "Slate", present: true, files: 3 },
      { name: "Rust", present: false, files: 25 },
    ],
  });
  const unsafe = boardSentences(board({ cards: [], edits: lacking(1) }));
  expect(unsafe.headline).toBe("Not everything is safe yet.");
  expect(unsafe.advice).toBe(
    "Slate lacks the newest of 3 work files; they come when they are quiet. Plug in Rust: it lacks the newest of 25 work files.",
  );
  expect(boardSentences(board({ cards: [], edits: lacking(2) })).headline).toBe("Everything is safe.");
});
