/** May this card be formatted: only when every file that counts has its goal of verified copies on different drives. */

import { expect, test } from "vitest";
import { type CardForVerdict, type VerdictFile, verdictOf } from "../../daemon/core/verdict.ts";
import type { DriveId, RelativePath } from "../../shared/identity.ts";

const blue = "blue" as DriveId;
const slate = "slate" as DriveId;

function file(path: string, heldBy: readonly DriveId[], more: Partial<VerdictFile> = {}): VerdictFile {
  return {
    path: path as RelativePath,
    heldBy,
    unsure: [],
    archives: [],
    known: true,
    fault: undefined,
    damage: undefined,
    doubted: false,
    lostOn: new Map(),
    ...more,
  };
}

function card(files: readonly VerdictFile[], more: Partial<CardForVerdict> = {}): CardForVerdict {
  return {
    name: "Card 7",
    present: true,
    surveyed: true,
    confirmed: true,
    goal: 2,
    drives: [
      { id: blue, name: "Blue", present: true, lost: false },
      { id: slate, name: "Slate", present: false, lost: false },
    ],
    files,
    archives: [],
    unreadFolders: [],
    vanished: 0,
    hearsay: false,
    ...more,
  };
}

test("every file on its goal of drives: clear, and the drives are named", () => {
  const verdict = verdictOf(card([file("a", [blue, slate]), file("b", [slate, blue])]));
  expect(verdict).toEqual({
    clear: true,
    sentence: "Card 7 may be formatted. All 2 files are verified on Blue and Slate.",
    lacking: [],
  });
});

test("an archive counts as a copy, and the verdict says where what is home stands", () => {
  const archives = [
    { id: "attic", name: "/archive", unsure: false },
    { id: "office", name: "/second", unsure: false },
  ];
  const ofDrives = verdictOf(card([file("a", [blue], { archives: ["attic"] })], { archives }));
  expect([ofDrives.clear, ofDrives.sentence]).toEqual([
    true,
    "Card 7 may be formatted. Its one file is verified on Blue and in the archive /archive.",
  ]);
  const twice = [
    file("a", [], { archives: ["attic", "office"] }),
    file("b", [], { archives: ["attic", "office"] }),
  ];
  const freed = verdictOf(card(twice, { archives, drives: [] }));
  expect([freed.clear, freed.sentence]).toEqual([
    true,
    "Card 7 may be formatted. All 2 files are verified in the archives /archive and /second.",
  ]);
});

test("one archive alone isn't two copies: the card is kept, and it is said that its files are home", () => {
  const files = [file("a", [], { archives: ["attic"] }), file("b", [], { archives: ["attic"] })];
  const verdict = verdictOf(
    card(files, { archives: [{ id: "attic", name: "/archive", unsure: false }], drives: [] }),
  );
  expect(verdict.clear).toBe(false);
  expect(verdict.sentence).toBe(
    "Keep card 7: 2 files lack copies (1 of 2). They are home in the archive /archive.",
  );
  expect(verdict.lacking[0]?.why).toBe(
    "it is home, and no further drive keeps a copy of it (2 are asked for)",
  );
  // One that is in no archive is what the card is kept for: nothing calms about the others.
  const more = verdictOf(
    card([...files, file("c", [])], {
      archives: [{ id: "attic", name: "/archive", unsure: false }],
      drives: [],
    }),
  );
  expect(more.sentence).toBe("Keep card 7: 3 files lack copies (0 of 2).");
});

test("where copies were read back perhaps from a cache, the verdict says so", () => {
  const verdict = verdictOf(card([file("a", [blue, slate], { unsure: [slate] })]));
  expect(verdict.clear).toBe(true);
  expect(verdict.sentence).toMatch(
    / On Slate they were read back perhaps from a cache, not from the medium\.$/,
  );
});

test("an archive that was read back perhaps from a cache says so, beside drives and alone", () => {
  const archives = [{ id: "attic", name: "/archive", unsure: true }];
  const both = verdictOf(card([file("a", [slate], { unsure: [slate], archives: ["attic"] })], { archives }));
  expect(both.sentence).toContain(
    " On Slate and in the archive /archive they were read back perhaps from a cache, not from the medium.",
  );
  const alone = verdictOf(card([file("a", [blue], { archives: ["attic"] })], { archives }));
  expect(alone.sentence).toContain(" In the archive /archive they were read back perhaps from a cache");
});

test("one file short of one copy: not clear, and the drive that owes it is named with why", () => {
  const verdict = verdictOf(card([file("a", [blue, slate]), file("DCIM/b", [blue])]));
  expect(verdict.clear).toBe(false);
  expect(verdict.lacking).toEqual([
    { path: "DCIM/b", verified: 1, goal: 2, why: "Slate owes it (not plugged in)" },
  ]);
});

test("two copies on one drive are one copy", () => {
  expect(verdictOf(card([file("a", [blue, blue])])).clear).toBe(false);
});

test.each<[string, Partial<CardForVerdict>, Partial<VerdictFile>]>([
  ["its files weren't listed since it was put in", { surveyed: false }, {}],
  ["it wasn't listed once more after copying", { confirmed: false }, {}],
  ["the trip isn't known", { goal: undefined }, {}],
  ["a folder on it can't be read", { unreadFolders: ["DCIM/101" as RelativePath] }, {}],
  ["a file was never read as it stands", {}, { known: false }],
])("not clear while %s", (_, cardMore, fileMore) => {
  expect(verdictOf(card([file("a", [blue, slate], fileMore)], cardMore)).clear).toBe(false);
});

test("what went wrong with a file is its reason", () => {
  const verdict = verdictOf(
    card([file("a", [], { known: false, fault: "the medium answered with an error" })]),
  );
  expect(verdict.lacking[0]?.why).toBe("the medium answered with an error");
});

test("a drive's name can't steer the terminal through a verdict", () => {
  const hostile = card([file("a", [blue])], {
    drives: [{ id: undefined, name: "Bad\u001b[2J\u202ename", present: false, lost: false }],
  });
  const why = verdictOf(hostile).lacking[0]?.why ?? "";
  expect(why).toBe("Bad\\u{1b}[2J\\u{202e}name owes it (not introduced yet)");
});
