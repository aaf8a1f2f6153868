/** The board, the cards and the drives as text, from documents made by hand. */

import { expect, test } from "vitest";
import { renderCards } from "../../daemon/cli/renderCards.ts";
import { renderDrives } from "../../daemon/cli/renderDrives.ts";
import { renderStatus } from "../../daemon/cli/renderStatus.ts";
import { paragraph, table, tableOrList, widthOf } from "../../daemon/cli/table.ts";
import { writesUnicode } from "../../daemon/cli/terminal.ts";
import { formatCautions } from "../../shared/cautions.ts";
import { dayOfTrip, fullMoment, shortMoment } from "../../shared/moments.ts";
import { card, drive, evening } from "./boards.ts";

/** The text without line ends and runs of blanks: for what a paragraph says, wherever it is broken. */
const flat = (text: string): string => text.replace(/\s+/g, " ");

test("the board says what is safe, what to do, and which seeds are where", () => {
  const lines = renderStatus(evening, true, 110).split("\n");
  expect(lines.slice(0, 9)).toEqual([
    " Kestrel Cliffs · day 4 of 12                                                               Sun 6 June, 22:41",
    "",
    " Not everything is safe yet.",
    " Plug in Rust: it owes 3,557 files.",
    "",
    "               Blue      Slate         Rust",
    "               on me     room safe     car · not here since 08:10",
    " Card 7        ● 1,824   ● 1,824       ○ 1,824                     keep this card: 1,824 files short of copies",
    " Card 8        ● 1,733   ◐ 912/1,733   ○ 1,733                     keep this card: 1,733 files short of copies",
  ]);
  expect(lines[9]).toBe(
    " filed so far  ● 12,867  ◉ 12,046      ◌ 9,310                     4,655 of 6,433 frames at goal",
  );
  expect(lines[10]).toBe(" owed so far   nothing   ○ 821, 41 GB  ○ 3,557, 178 GB");
});

test("where the verdicts don't fit behind their rows they stand below", () => {
  const lines = renderStatus(evening, true, 70).split("\n");
  expect(lines.slice(0, 12)).toEqual([
    " Kestrel Cliffs · day 4 of 12                       Sun 6 June, 22:41",
    "",
    " Not everything is safe yet.",
    " Plug in Rust: it owes 3,557 files.",
    "",
    "               Blue      Slate         Rust",
    "               on me     room safe     car · not here since 08:10",
    " Card 7        ● 1,824   ● 1,824       ○ 1,824",
    "               keep this card: 1,824 files short of copies",
    " Card 8        ● 1,733   ◐ 912/1,733   ○ 1,733",
    "               keep this card: 1,733 files short of copies",
    " filed so far  ● 12,867  ◉ 12,046      ◌ 9,310",
  ]);
});

test("where the drives don't fit beside each other they stand below each other", () => {
  const text = renderStatus(evening, true, 40);
  for (const line of text.split("\n")) expect(widthOf(line)).toBeLessThanOrEqual(40);
  expect(text).toContain(
    [
      " Blue   on me",
      " Slate  room safe",
      " Rust   car · not here since 08:10",
      " Card 7: keep this card: 1,824 files",
      "   short of copies",
      "   Blue   ● 1,824",
      "   Slate  ● 1,824",
      "   Rust   ○ 1,824",
      "",
    ].join("\n"),
  );
  expect(text).toContain(" owed so far\n   Blue   nothing\n   Slate  ○ 821, 41 GB\n");
});

test("a cell whose files were verified perhaps from a cache shows it, while the drive is here", () => {
  const held = [
    { drive: "Blue", files: 1824, unsure: 3 },
    { drive: "Slate", files: 1824, unsure: 0 },
    { drive: "Rust", files: 1824, unsure: 3 },
  ];
  const board = { ...evening, cards: [card({ held })] };
  expect(renderStatus(board, true, 120)).toMatch(/Card 7 +◉ 1,824 +● 1,824 +◌ 1,824/);
  expect(renderStatus(board, false, 120)).toMatch(/Card 7 +@ 1,824 +# 1,824 +\. 1,824/);
});

test("a card without files holds no files on the board, too", () => {
  const empty = card({
    files: 1,
    leavings: [{ path: ".Trashes/x", why: "trash" }],
    clear: true,
    lackingTotal: 0,
  });
  const text = renderStatus({ ...evening, cards: [empty] }, true);
  expect(text).toMatch(/Card 7 .*holds no files/);
  expect(text).not.toContain("may be formatted");
  expect(text).not.toContain("Before you format");
  expect(renderCards([empty], true)).not.toContain("Before you format");
});

test("cards stand in the order of their numbers, those without one behind them", () => {
  const named = ["Card “C2019”", "Card 10", "Card 2", "Card “B”"].map((name) => card({ name, label: "" }));
  const order = (text: string): string[] =>
    [...text.matchAll(/^ ?(Card (?:\d+|“\w+”))/gm)].map((found) => found[1] ?? "");
  const wanted = ["Card 2", "Card 10", "Card “C2019”", "Card “B”"];
  expect(order(renderCards(named, true))).toEqual(wanted);
  expect(order(renderStatus({ ...evening, cards: named }, true))).toEqual(wanted);
});

test("a card says its label once, and when its verdict was given", () => {
  const text = renderCards(
    [card({ name: "Card “C2019”", label: "C2019", judgedAt: "2027-11-25T08:58:00+01:00" }), card({})],
    true,
  );
  expect(text).toContain("Card “C2019”: here, at");
  expect(flat(text)).toContain("short of their 3 copies. (25 November, 08:58) Kestrel Cliffs;");
  expect(flat(text).split("copies. (").length).toBe(2);
});

test("work under way says how far, how fast and how long", () => {
  const text = renderStatus(evening, true, 120);
  expect(text).toContain(" copying card 8 → Slate: 52 %, 45 GB of 86 GB, 96 MB/s, 4 min left\n");
  const work = evening.work.map((each) => ({ ...each, kind: "survey" as const }));
  expect(renderStatus({ ...evening, work }, true, 120)).toContain(" looking at card 8\n");
});

test("an alert has its three sentences and how grave it is", () => {
  const text = flat(renderStatus(evening, true));
  expect(text).toContain(
    "○ Rust is not here. What it holds is as it was. Plug it in. (warning, since 4 June, 08:10)",
  );
});

test("without UTF-8 the signs are ASCII", () => {
  const text = renderStatus(evening, false);
  expect(text).toMatch(/^[\x20-\x7e\n]+$/);
  expect(text).toContain("# 1,824");
  expect(text).toContain("c 912/1,733");
  expect(text).toContain("o 1,733");
  expect(text).toContain("@ 12,046");
  expect(text).toContain(". 9,310");
});

test("the locale that counts is the first of LC_ALL, LC_CTYPE and LANG that is set", () => {
  // POSIX.1-2017, Base Definitions 8.2.
  expect(writesUnicode({ LANG: "en_GB.UTF-8" })).toBe(true);
  expect(writesUnicode({ LANG: "C.utf8" })).toBe(true);
  expect(writesUnicode({ LC_ALL: "C", LANG: "en_GB.UTF-8" })).toBe(false);
  expect(writesUnicode({ LC_ALL: "", LC_CTYPE: "de_DE.UTF-8", LANG: "C" })).toBe(true);
  expect(writesUnicode({})).toBe(false);
});

test("cautions stand next to any clear verdict, once, and nowhere else", () => {
  expect(flat(renderStatus(evening, true))).not.toContain("Before you format");
  const clear = card({
    name: "Card 6",
    clear: true,
    lacking: [],
    lackingTotal: 0,
    verdict: "Card 6 may be formatted.",
  });
  const other = { ...clear, id: "6".repeat(16), name: "Card 5" };
  const board = flat(renderStatus({ ...evening, cards: [clear, other] }, true));
  expect(board.split(formatCautions).length).toBe(2);
  const cards = flat(renderCards([clear, other, card({})], true));
  expect(cards.split(formatCautions).length).toBe(2);
  expect(cards).toContain("Card 6 may be formatted.");
  expect(flat(renderCards([card({})], true))).not.toContain("Before you format");
  const out = { ...clear, present: false, mount: null };
  expect(flat(renderCards([out], true))).toContain(formatCautions);
});

test("a card that files are gone from is never said to be ready, however clear the rest of it is", () => {
  const paths = Array.from({ length: 41 }, (_, index) => `DCIM/100ALDIN/ALD_04${index + 10}.NEF`);
  const verdict = "Keep card 7: 41 files that were never copied are gone from it.";
  for (const clear of [false, true]) {
    const robbed = card({ clear, lackingTotal: 0, vanished: paths, verdict });
    const board = renderStatus({ ...evening, cards: [robbed] }, true, 140);
    expect(board).toContain("◖! keep this card: 41 files gone, never copied\n");
    for (const text of [board, renderCards([robbed], true)])
      expect(text).not.toMatch(/may be formatted|Before you format/);
  }
  const emptied = card({ files: 0, lackingTotal: 0, vanished: ["DCIM/a.NEF"], verdict });
  expect(renderStatus({ ...evening, cards: [emptied] }, true, 140)).toContain(
    "◖! keep this card: 1 file gone, never copied\n",
  );
});

test("a card that goes with damage that someone accepted says so beside its verdict", () => {
  const file = (nth: number) => ({ path: `DCIM/ALD_041${nth}.NEF`, why: "it is cut short", accepted: true });
  const verdict = "Card 7 may be formatted. All 1,824 files are verified on Blue, Slate and Rust.";
  const clear = card({ clear: true, lackingTotal: 0, verdict, damaged: [file(1), file(2)] });
  expect(flat(renderCards([clear], true))).toContain(
    "verified on Blue, Slate and Rust; 2 of its files are damaged, as you accepted. Kestrel Cliffs;",
  );
  expect(flat(renderCards([{ ...clear, damaged: [file(1)] }], true))).toContain(
    "; 1 of its files is damaged, as you accepted.",
  );
  expect(renderCards([{ ...clear, clear: false }], true)).not.toContain("as you accepted");
  expect(renderCards([{ ...clear, damaged: [] }], true)).not.toContain("as you accepted");
});

test("cards that went and are clear are left out of the board, those not clear stay", () => {
  const gone = card({ name: "Card 1", present: false, mount: null });
  const text = renderStatus({ ...evening, cards: [{ ...gone, clear: true, name: "Card 2" }, gone] }, true);
  expect(text).toContain("Card 1, not here");
  expect(text).not.toContain("Card 2");
});

test("a card's reasons are named, the rest counted", () => {
  const lacking = Array.from({ length: 7 }, (_, index) => ({
    path: `DCIM/100ALDIN/ALD_042${index}.NEF`,
    verified: 2,
    goal: 3,
    why: "Rust owes it (not here)",
  }));
  const text = renderCards(
    [
      card({
        lacking,
        lackingTotal: 1824,
        undated: Array.from({ length: 7 }, (_, index) => `DCIM/100ALDIN/ALD_040${index}.JPG`),
        leavings: [{ path: "System Volume Information/x", why: "an operating system's" }],
      }),
    ],
    true,
  );
  expect(text).toContain("Card 7 'ALDINE_R2': here, at /media/anna/ALDINE_R2\n");
  expect(text).toContain("    DCIM/100ALDIN/ALD_0424.NEF: 2 of 3 copies; Rust owes it (not here)\n");
  expect(text).not.toContain("ALD_0425");
  expect(text).toContain("and 1,819 more files");
  expect(text).toContain("Not copied: System Volume Information/x (an operating system's).");
  expect(flat(text)).toContain("7 files are of frames without a usable time of their own");
  expect(flat(text)).toContain("ALD_0403.JPG, DCIM/100ALDIN/ALD_0404.JPG and 2 more.");
  expect(text).not.toContain("ALD_0405");
  const one = flat(renderCards([card({ undated: ["DCIM/100ALDIN/ALD_0400.JPG"] })], true));
  expect(one).toContain("1 file is of a frame without a usable time of its own");
});

test("a card of no trip counts no copies, for there is no goal", () => {
  const lacking = [{ path: "DCIM/a.NEF", verified: 0, goal: 0, why: "it isn't known which trip this is" }];
  expect(renderCards([card({ trip: null, lacking })], true)).toContain(
    "    DCIM/a.NEF: it isn't known which trip",
  );
});

test("a card names its damaged files, those known of last, and what is gone from it", () => {
  const damaged = [
    { path: "DCIM/100ALDIN/ALD_0418.DNG", why: "its strips lie outside the file", accepted: true },
    { path: "DCIM/100ALDIN/ALD_0417.DNG", why: "it ends before its last strip", accepted: false },
  ];
  const lacking = [
    {
      path: "DCIM/100ALDIN/ALD_0417.DNG",
      verified: 3,
      goal: 3,
      why: "it ends before its last strip, as the card gives it",
    },
    { path: "DCIM/100ALDIN/ALD_0420.DNG", verified: 2, goal: 3, why: "Rust owes it (not plugged in)" },
  ];
  const vanished = ["DCIM/100ALDIN/ALD_0419.DNG"];
  const hurt = card({ damaged, lacking, vanished, lackingTotal: 12 });
  // Each damaged file once, however many reasons keep the card.
  expect(renderCards([hurt], true, 80).split("\n").slice(3)).toEqual([
    "    ◖! DCIM/100ALDIN/ALD_0417.DNG: damaged: it ends before its last strip",
    "    ◖! DCIM/100ALDIN/ALD_0418.DNG: known to be damaged: its strips lie outside",
    "       the file",
    "    ◖! DCIM/100ALDIN/ALD_0419.DNG: gone from the card and never copied",
    "    DCIM/100ALDIN/ALD_0420.DNG: 2 of 3 copies; Rust owes it (not plugged in)",
    "    and 10 more files",
    "",
  ]);
  expect(renderCards([hurt], false, 80)).toContain("    !  DCIM/100ALDIN/ALD_0417.DNG: damaged: ");
  const board = (changes: Partial<typeof hurt>): string =>
    renderStatus({ ...evening, cards: [{ ...hurt, ...changes }] }, true, 140);
  expect(board({})).toContain(
    "◖! keep this card: 1 file damaged, 11 files short of copies; 1 file gone, never copied\n",
  );
  expect(board({ lacking: lacking.slice(0, 1), lackingTotal: 1, vanished: [] })).toContain(
    "◖! keep this card: 1 file damaged\n",
  );
  const known = damaged.map((file) => ({ ...file, accepted: true }));
  const clear = { damaged: known, lacking: [], lackingTotal: 0, clear: true, vanished: [] };
  expect(board(clear)).toContain("  may be formatted; 2 files known to be damaged\n");
  expect(renderCards([{ ...hurt, ...clear }], true, 80)).not.toContain(": damaged:");
});

test("of very many damaged or vanished files twenty are named, the others counted", () => {
  const paths = Array.from({ length: 23 }, (_, index) => `DCIM/100ALDIN/ALD_04${index + 10}.DNG`);
  const damaged = paths.map((path) => ({ path, why: "it is cut short", accepted: false }));
  const text = renderCards([card({ damaged, vanished: paths.slice(0, 21) })], true);
  expect(text.match(/damaged: it is cut short/g)?.length).toBe(20);
  expect(text).toContain("    and 3 more damaged files; `--json` names all\n");
  expect(text).toContain("    and 1 more file that is gone; `--json` names all\n");
  expect(renderCards([card({ vanished: [...paths, ...paths, "a"] })], true)).toContain(
    "    and 27 more files that are gone; `--json` names all\n",
  );
  expect(renderCards([card({ vanished: paths.slice(0, 20) })], true)).not.toContain("--json");
});

test("a drive that was declared lost says so on the board and in the list", () => {
  const lost = drive({ id: null, name: "Rust", lost: true, present: false, mount: null, lastSeen: null });
  expect(renderDrives([lost], 110)).toContain("declared lost");
  const board = renderStatus({ ...evening, drives: [{ ...lost, place: "car" }] }, true);
  expect(board).toContain("car · declared lost");
  for (const text of [renderDrives([lost], 110), board]) expect(text).not.toContain("not introduced");
});

test("a scrub under way says which drive is read again, how far it is and how long it takes", () => {
  const work = {
    kind: "scrub" as const,
    from: "Blue",
    to: [],
    doneBytes: 27_100_000_000,
    totalBytes: 52_300_000_000,
    bytesPerSecond: 412_000_000,
    secondsLeft: 240,
  };
  expect(renderStatus({ ...evening, work: [work] }, true, 120)).toContain(
    " reading Blue again: 51 %, 27.1 GB of 52.3 GB, 412 MB/s, 4 min left\n",
  );
});

test("names from cards and drives can't steer the terminal", () => {
  const evil = "a\u001b[2J\u202eb\nc";
  const hostile = card({
    label: evil,
    verdict: evil,
    mount: evil,
    trip: evil,
    lacking: [{ path: evil, verdict: 0, verified: 0, goal: 1, why: evil } as never],
    leavings: [{ path: evil, why: evil }],
    damaged: [{ path: evil, why: evil, accepted: false }],
    vanished: [evil],
  });
  const bad = drive({ name: evil, place: evil, mount: evil });
  const alert = {
    code: "x",
    severity: "note",
    about: "x",
    text: evil,
    happened: evil,
    safe: evil,
    next: evil,
    since: evil,
  };
  const board = {
    ...evening,
    cards: [hostile],
    drives: [bad],
    alerts: [alert as never],
    headline: evil,
    advice: evil,
  };
  for (const text of [renderCards([hostile], true), renderDrives([bad]), renderStatus(board, true)]) {
    expect(text).not.toMatch(/[\p{Cf}\u001b]/u);
    expect(text).toContain("\\u{1b}");
  }
});

test("nothing yet is said in words", () => {
  expect(renderCards([], true)).toMatch(/No card/);
  expect(renderDrives([])).toMatch(/scrubjay drive add/);
  const empty = renderStatus({ ...evening, trip: null, cards: [], drives: [], work: [], alerts: [] }, true);
  expect(empty.split("\n").length).toBe(5);
});

test("drives are listed with what they hold and owe", () => {
  const drives = [drive({}), drive({ id: null, name: "Rust", present: false, mount: null, freeBytes: null })];
  const text = renderDrives(drives, 110);
  expect(text).toContain("Blue   primary  on me  /media/anna/Blue  1.2 TB of 2 TB  12,867 files  nothing");
  expect(text).toContain("not introduced");
  expect(flat(renderDrives(drives, 50))).toContain(
    "Blue: role primary, place on me, where /media/anna/Blue, free 1.2 TB of 2 TB, holds 12,867 files, owes nothing",
  );
});

test("columns stand straight with wide and combining characters", () => {
  // UAX #11: ideographs are wide; combining marks take no column.
  expect(widthOf("写真")).toBe(4);
  expect(widthOf("e\u0301")).toBe(1);
  expect(widthOf("🐦")).toBe(2);
  expect(widthOf("●")).toBe(1);
  expect(
    table([
      ["写真", "x"],
      ["ab", "y"],
      ["e\u0301", "z"],
    ]),
  ).toBe("写真  x\nab    y\ne\u0301     z\n");
});

test("a number stays with its unit, and a command in one line, where they fit", () => {
  expect(paragraph("free is 34 GB now", 12)).toBe("free is\n34 GB now\n");
  expect(paragraph("it is (92.8 MB), or 96 MB/s and 1 h 20 min", 10)).toBe(
    "it is\n(92.8 MB),\nor 96 MB/s\nand 1 h\n20 min\n",
  );
  expect(paragraph("say `scrubjay trip add FILE` now", 24)).toBe("say\n`scrubjay trip add FILE`\nnow\n");
  // Too wide for any line: broken like other text.
  expect(paragraph("`scrubjay trip add FILE`", 12)).toBe("`scrubjay\ntrip add\nFILE`\n");
  expect(paragraph("a`b is no command at all", 8)).toBe("a`b is\nno\ncommand\nat all\n");
  expect(paragraph("20 small cards", 5)).toBe("20\nsmall\ncards\n");
});

test("a table that is too wide becomes a paragraph a row, without what is empty", () => {
  const rows = [["Blue", "primary", ""]];
  expect(tableOrList(["drive", "role", "place"], rows, 40)).toBe("drive  role     place\nBlue   primary\n");
  expect(tableOrList(["drive", "role", "place"], rows, 20)).toBe("Blue: role primary\n");
});

test("paragraphs break at blanks and never inside a word", () => {
  expect(paragraph("one two three", 8, "  ")).toBe("  one\n  two\n  three\n");
  expect(paragraph("averyveryverylongword", 5)).toBe("averyveryverylongword\n");
});

test("moments are those of the trip's zone, whatever this computer's", () => {
  expect(fullMoment("2027-06-06T00:05:00+01:00")).toBe("Sun 6 June, 00:05");
  expect(shortMoment("2027-06-06T08:10:00+01:00", "2027-06-06T22:41:00+01:00")).toBe("08:10");
  expect(shortMoment("2027-06-04T08:10:00+01:00", "2027-06-06T22:41:00+01:00")).toBe("4 June, 08:10");
  expect(dayOfTrip("2027-06-03T00:00:00+01:00", "2027-06-03", "2027-06-14")).toBe("day 1 of 12");
  expect(dayOfTrip("2027-06-01T00:00:00+01:00", "2027-06-03", "2027-06-14")).toBe("begins in 2 days");
  expect(dayOfTrip("2027-06-15T00:00:00+01:00", "2027-06-03", "2027-06-14")).toBe("ended 1 day ago");
  expect(fullMoment("never")).toBe("");
});
