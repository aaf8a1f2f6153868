/** What the tray says of an evening: sign, tooltip, lines, and what may be chosen. */

import { expect, test } from "vitest";
import type { StatusJson } from "../../shared/api.ts";
import { type Choice, type MenuEntry, viewOf, viewWithoutDaemon } from "../../tray/menuModel.ts";
import { card, drive, evening } from "../cli/boards.ts";

const idle: StatusJson = {
  ...evening,
  headline: "Everything is safe.",
  safe: true,
  advice: "Nothing needs to be done.",
  drives: [drive({}), drive({ id: "5".repeat(32), name: "Slate", place: null })],
  cards: [],
  work: [],
  alerts: [],
};
const [aWork] = evening.work;
const [anAlert] = evening.alerts;
if (aWork === undefined || anAlert === undefined) throw new Error("the evening has work and an alert");

/** Every line as it reads; choices in brackets, what is in a group indented. */
function read(entries: readonly MenuEntry[], indent = ""): readonly string[] {
  return entries.flatMap((entry) => linesOf(entry).map((line) => indent + line));
}

function linesOf(entry: MenuEntry): readonly string[] {
  switch (entry.entry) {
    case "line":
      return ["--"];
    case "text":
      return [entry.text];
    case "choice":
      return [`[${entry.text}]`];
    case "group":
      return [`${entry.text}:`, ...read(entry.entries, "  ")];
  }
}

function choices(entries: readonly MenuEntry[]): readonly Choice[] {
  return entries.flatMap((entry) => {
    if (entry.entry === "choice") return [entry.choice];
    return entry.entry === "group" ? choices(entry.entries) : [];
  });
}

const ejectable = (status: StatusJson): readonly string[] =>
  choices(viewOf(status).menu).flatMap((choice) => (choice.does === "eject" ? [choice.what] : []));

test("an evening with a drive missing reads from top to bottom as the board does", () => {
  expect(read(viewOf(evening).menu)).toEqual([
    "Not everything is safe yet.",
    "Plug in Rust: it owes 3,557 files.",
    "--",
    "Copying card 8 to Slate: 52 %, 4 min left",
    "Blue (on me): here",
    "Slate (room safe): here, owes 821 files",
    "Rust (car): not here, owes 3,557 files",
    "Card 7: keep it",
    "Card 8: keep it",
    "--",
    "[Open the page]",
    "[Pause]",
    "Eject:",
    "  [Blue]",
    "--",
    "[Quit the tray]",
  ]);
});

test("the tooltip is the board's two sentences", () => {
  expect(viewOf(evening).tooltip).toEqual({ title: evening.headline, text: evening.advice });
});

test("a card that may be formatted is never named without what to do before", () => {
  const clear = card({ clear: true, lackingTotal: 0 });
  expect(read(viewOf({ ...idle, cards: [clear] }).menu)).toContain(
    "Card 7: may be formatted; look at a few frames first",
  );
  const gone = card({ clear: true, vanished: ["DCIM/100ALDIN/ALD_0001.NEF"] });
  expect(read(viewOf({ ...idle, cards: [gone] }).menu)).toContain(
    "Card 7: may be formatted; look at a few frames first; 1 file gone, never copied",
  );
  // An empty card invites nobody to format it.
  expect(read(viewOf({ ...idle, cards: [card({ clear: true, files: 0 })] }).menu)).toContain(
    "Card 7: holds no files",
  );
});

test("a card that is away is named only as long as it must be kept", () => {
  expect(read(viewOf({ ...idle, cards: [card({ present: false })] }).menu)).toContain(
    "Card 7, not here: keep it",
  );
  const clear = card({ present: false, clear: true });
  expect(read(viewOf({ ...idle, cards: [clear] }).menu).join()).not.toContain("Card 7");
});

test("drives say where they are in words: lost, not introduced, of no trip", () => {
  const drives = [
    drive({ present: false, lost: true, id: null }),
    drive({ name: "Rust", present: false, id: null }),
    drive({ name: "Old", role: null, place: null }),
    drive({ name: "Older", role: null, place: null, present: false }),
  ];
  expect(read(viewOf({ ...idle, drives }).menu).slice(3, 6)).toEqual([
    "Blue (on me): declared lost",
    "Rust (on me): not introduced",
    "Old: here",
  ]);
});

test("the sign: urgent before working before missing before at goal", () => {
  const urgent = { ...anAlert, severity: "urgent" as const };
  expect(viewOf({ ...evening, alerts: [urgent] }).sign.sign).toBe("lookNow");
  expect(viewOf(evening).sign.sign).toBe("working");
  expect(viewOf({ ...evening, work: [] }).sign.sign).toBe("missing");
  expect(viewOf(idle).sign.sign).toBe("atGoal");
});

test("missing is an owing drive that is away, a warning, or a board that isn't safe", () => {
  const owing = drive({ present: false, owed: { files: 1, bytes: 1 } });
  expect(viewOf({ ...idle, drives: [owing] }).sign.sign).toBe("missing");
  expect(viewOf({ ...idle, alerts: [{ ...anAlert, severity: "warning" }] }).sign.sign).toBe("missing");
  expect(viewOf({ ...idle, safe: false }).sign.sign).toBe("missing");
  expect(viewOf({ ...idle, alerts: [{ ...anAlert, severity: "note" }] }).sign.sign).toBe("atGoal");
  // A drive that is away and owes nothing is where it should be.
  expect(viewOf({ ...idle, drives: [drive({ present: false })] }).sign.sign).toBe("atGoal");
});

test("working turns a step each second in which the status changes, and reading again isn't working", () => {
  const at = (time: string) => viewOf({ ...evening, at: time }).sign;
  expect(at("2027-06-06T22:41:05+01:00")).toEqual({ sign: "working", step: 5 });
  expect(at("2027-06-06T22:41:06+01:00")).toEqual({ sign: "working", step: 0 });
  expect(at("nonsense")).toEqual({ sign: "working", step: 0 });
  expect(viewOf({ ...idle, work: [{ ...aWork, kind: "scrub", from: "Blue" }] }).sign.sign).toBe("atGoal");
});

test("what is under way is told in words for each kind", () => {
  const told = (change: Partial<typeof aWork>) =>
    read(viewOf({ ...idle, work: [{ ...aWork, ...change }] }).menu)[3];
  expect(told({ kind: "survey" })).toBe("Looking at card 8");
  expect(told({ kind: "scrub", from: "Blue", secondsLeft: null })).toBe("Reading Blue again: 52 %");
  expect(told({ to: ["Blue", "Slate"], totalBytes: 0, secondsLeft: null })).toBe(
    "Copying card 8 to Blue, Slate: 0 %",
  );
});

test("paused is said in words, and Continue stands where Pause was", () => {
  const view = viewOf({ ...evening, work: [], paused: true });
  expect(view.tooltip.title).toBe("Not everything is safe yet. Paused.");
  expect(read(view.menu)).toContain("Paused: nothing is read or written");
  expect(read(view.menu)).toContain("[Continue]");
  expect(read(view.menu)).not.toContain("[Pause]");
});

test("to eject are offered drives and clear cards that are in and neither read nor written", () => {
  const clear = card({ clear: true });
  expect(ejectable({ ...idle, cards: [clear] })).toEqual(["Blue", "Slate", clear.id]);
  expect(ejectable({ ...idle, cards: [card({})] })).toEqual(["Blue", "Slate"]);
  expect(ejectable({ ...idle, cards: [{ ...clear, present: false }] })).toEqual(["Blue", "Slate"]);
  expect(ejectable({ ...idle, drives: [drive({ present: false })] })).toEqual([]);
  expect(ejectable({ ...idle, cards: [clear], work: [{ ...aWork, from: "Card 7", to: ["Slate"] }] })).toEqual(
    ["Blue"],
  );
  expect(ejectable({ ...idle, work: [{ ...aWork, from: "Blue", to: ["Slate"] }] })).toEqual([]);
  // Reading again gives way to an ejection.
  expect(ejectable({ ...idle, work: [{ ...aWork, kind: "scrub", from: "Blue", to: [] }] })).toEqual([
    "Blue",
    "Slate",
  ]);
});

test("hostile names are harmless and short in every text, and are handed on whole when chosen", () => {
  const name = `Evil\u202e\n\u0007${"x".repeat(300)}`;
  const status = {
    ...idle,
    headline: `${name} is safe`,
    advice: name.repeat(4),
    drives: [drive({ name, place: name })],
    cards: [card({ name, clear: true }), card({ name })],
    work: [{ ...aWork, from: name, to: [name, name, name] }],
  };
  const { menu, tooltip } = viewOf(status);
  for (const text of [...read(menu), tooltip.title]) {
    expect(text).not.toMatch(/[\u202e\n\u0007]/u);
    expect(text.length).toBeLessThan(200);
  }
  expect(tooltip.text).not.toMatch(/[\u202e\n\u0007]/u);
  expect(ejectable({ ...status, work: [] })[0]).toBe(name);
});

test("many drives and cards are counted past the eighth, and long advice ends in an ellipsis", () => {
  const drives = Array.from({ length: 10 }, (_, index) => drive({ name: `Drive ${index}` }));
  const cards = Array.from({ length: 9 }, (_, index) => card({ name: `Card ${index + 1}` }));
  const lines = read(viewOf({ ...idle, drives, cards, advice: "word ".repeat(200).trim() }).menu);
  expect(lines.filter((line) => line.startsWith("and "))).toEqual(["and 2 more drives", "and 1 more card"]);
  expect(lines[4]).toMatch(/word …$/);
  expect(Math.max(...lines.map((line) => line.length))).toBeLessThanOrEqual(62);
});

test("without a daemon it says what that means, and offers to start it", () => {
  const view = viewWithoutDaemon();
  expect(view.sign.sign).toBe("missing");
  expect(read(view.menu)).toEqual([
    "Scrubjay's daemon is not running.",
    "Nothing is read from cards or written to drives meanwhile.",
    "--",
    "[Start it]",
    "--",
    "[Quit the tray]",
  ]);
});
