/** `edits list` and `edits restore`: what they show, how a version is named, and what they ask of the daemon. */

import { beforeEach, expect, test } from "vitest";
import { renderEdits, renderVersions } from "../../daemon/cli/renderEdits.ts";
import { renderStatus } from "../../daemon/cli/renderStatus.ts";
import { seedsFor } from "../../daemon/cli/seeds.ts";
import { widthOf } from "../../daemon/cli/table.ts";
import type { EditsJson, EditsStatusJson, EditVersionsJson, WorkFileJson } from "../../shared/editsApi.ts";
import { UserMistake } from "../../shared/problems.ts";
import { evening } from "./boards.ts";
import { scrubjay, startDaemon, world } from "./commandLine.ts";

const status: EditsStatusJson = {
  files: 212,
  bytes: 3_400_000_000,
  drives: [
    { drive: "Blue", files: 212, behind: 0 },
    { drive: "Slate", files: 212, behind: 0 },
    { drive: "Rust", files: 187, behind: 25 },
  ],
  waiting: 0,
  waitingFor: [],
  leftOut: { files: 0, bytes: 0 },
  deleted: 0,
  conflicts: 0,
};
const file = (path: string): WorkFileJson => ({
  path,
  bytes: 4_120,
  modified: "2027-06-06T20:58:00+01:00",
  drives: ["Blue", "Slate"],
  versions: 3,
  deleted: false,
});
const known: EditsJson = {
  trip: { id: "kc-20270603-3f9a", name: "Kestrel Cliffs", zone: "Atlantic/Faroe" },
  edits: status,
  conflicts: [],
  files: [file("2027-06-03/KC-20270603-A0421.xmp")],
  total: 1,
  at: "2027-06-06T22:41:00+01:00",
};
const version = (at: string, inPlace: boolean) => ({
  at,
  modified: at,
  bytes: 4_120,
  drives: inPlace ? ["Blue", "Slate"] : ["Blue"],
  inPlace,
  madeOn: "Blue",
});
const versions: EditVersionsJson = {
  path: "notes.txt",
  deleted: false,
  versions: [
    version("2027-06-06T21:00:00+01:00", true),
    version("2027-06-06T20:10:00+01:00", false),
    version("2027-06-05T23:15:00+01:00", false),
  ],
};
const flat = (text: string): string => text.replace(/\s+/g, " ").trim();

let asked: string[];
let answer: EditsJson;
beforeEach(() => {
  asked = [];
  answer = known;
  Object.assign(world.face, {
    edits: {
      edits: (trip: string | undefined, from: number, most: number) => {
        asked.push(`edits ${trip} ${from}`);
        return { ...answer, files: answer.files.slice(from, from + most) };
      },
      versions: async (trip: string | undefined, path: string) => {
        asked.push(`versions ${trip} ${path}`);
        if (path === "nothing.txt")
          throw new UserMistake("No work file is called nothing.txt.", "See the list.");
        return { ...versions, path };
      },
      restore: async (trip: string | undefined, path: string, at: string) => {
        asked.push(`restore ${trip} ${path} ${at}`);
        return { path, drive: "Blue", at: "2027-06-06T22:50:00+01:00" };
      },
    },
  });
});

test("the board in a terminal has a row of them as the page has", () => {
  const board = (edits: EditsStatusJson): string =>
    renderStatus({ ...evening, edits }, true, 140)
      .split("\n")
      .find((line) => line.includes("your edits")) ?? "";
  expect(flat(board(status))).toBe("your edits ● 212 ● 212 ◌ 187 25 newer than on Rust");
  const open = {
    ...status,
    drives: status.drives.slice(0, 2),
    waiting: 3,
    waitingFor: [{ path: "Catalogue", why: "is open" }],
  };
  expect(flat(board(open))).toBe("your edits ● 212 ● 212 waiting: Catalogue is open");
  expect(flat(board({ ...status, drives: status.drives.slice(0, 2) }))).toBe(
    "your edits ● 212 ● 212 the same on all",
  );
  expect(renderStatus(evening, true, 140)).not.toContain("your edits");
});

test("the list names each file with who holds its newest version, and what each drive lacks", async () => {
  await startDaemon();
  const { exit, out } = await scrubjay("edits", "list");
  expect(exit).toBe(0);
  expect(out).toMatch(/^file +size +changed +newest on +versions\n/);
  expect(flat(out)).toContain("2027-06-03/KC-20270603-A0421.xmp 4.1 kB 20:58 Blue, Slate 3");
  expect(flat(out)).toContain(
    "● Blue: the newest of all 212. ● Slate: the newest of all 212. ○ Rust: lacks the newest of 25 files.",
  );
});

test("all files are listed, however many answers that takes; as JSON it is one document", async () => {
  await startDaemon();
  const files = Array.from({ length: 1_203 }, (_, number) => file(`Exports/${number}.jpg`));
  answer = { ...known, files, total: files.length };
  const { exit, out, err } = await scrubjay("edits", "list", "--trip", "KC", "--json");
  expect([exit, err]).toEqual([0, ""]);
  expect((JSON.parse(out) as EditsJson).files).toEqual(files);
  expect(asked).toEqual(["edits KC 0", "edits KC 500", "edits KC 1000"]);
});

test("what is waited for, left out, deleted, or changed apart is told, with the next step", () => {
  const side = { drive: "Blue", at: known.at, modified: known.at, bytes: 1, path: null };
  const text = flat(
    renderEdits(
      {
        ...known,
        edits: {
          ...status,
          waiting: 2,
          waitingFor: [{ path: "Catalogue", why: "is open" }],
          leftOut: { files: 1_204, bytes: 3_100_000_000 },
          deleted: 1,
        },
        conflicts: [
          {
            id: "0".repeat(16),
            path: "my notes.txt",
            kept: side,
            other: { ...side, drive: "Rust", deleted: true },
          },
        ],
      },
      seedsFor(true),
      90,
    ),
  );
  expect(text).toContain("2 files waited for, copied when quiet. Catalogue is open.");
  expect(text).toContain("1,204 files (3.1 GB) left out, as the profile says.");
  expect(text).toContain("1 file deleted on the primary drive");
  expect(text).toContain("my notes.txt was changed on Blue, 22:41, and deleted on Rust, 22:41, apart.");
  expect(text).toContain("`scrubjay edits list 'my notes.txt'`");
});

test("no trip and no work files are said so", () => {
  expect(renderEdits({ ...known, trip: null, edits: null, files: [], total: 0 }, seedsFor(true), 80)).toBe(
    "No trip is described yet.\n",
  );
  expect(renderEdits({ ...known, edits: null, files: [], total: 0 }, seedsFor(true), 80)).toBe(
    "Kestrel Cliffs has no work files yet.\n",
  );
});

test("hostile paths are harmless, and nothing is wider than the terminal but a path itself", () => {
  const hostile = "a\u001b[2J\nb\u202e.xmp";
  const text = renderEdits({ ...known, files: [file(hostile)] }, seedsFor(true), 60);
  expect(text).toContain("a\\u{1b}[2J\\u{a}b\\u{202e}.xmp");
  expect(text.split("\n").filter((line) => widthOf(line) > 60)).toEqual([]);
  expect(renderVersions({ ...versions, path: hostile }, 60)).not.toMatch(/\u001b|\u202e/);
});

test("the versions of one file stand newest first, with the moments that --at takes", async () => {
  await startDaemon();
  const { exit, out } = await scrubjay("edits", "list", "notes.txt");
  expect(exit).toBe(0);
  const moments = out.match(/2027-06-\d\dT[^ ]*/g);
  expect(moments).toEqual(versions.versions.map(({ at }) => at));
  expect(flat(out)).toContain("2027-06-06T21:00:00+01:00 4.1 kB in place Blue, Slate Blue");
  const json = await scrubjay("edits", "list", "notes.txt", "--json");
  expect(JSON.parse(json.out)).toEqual(versions);
});

test.each([
  ["2027-06-05T23:15:00+01:00", "its whole moment"],
  ["2027-06-05T22:15:00Z", "the same moment in another zone"],
  ["2027-06-05", "a beginning that only it has"],
  ["2027-06-05 23", "a beginning with a blank"],
])("restore takes %s: %s", async (at) => {
  await startDaemon();
  const { exit, out } = await scrubjay("edits", "restore", "notes.txt", "--at", at);
  expect(exit).toBe(0);
  expect(asked.at(-1)).toBe("restore undefined notes.txt 2027-06-05T23:15:00+01:00");
  expect(flat(out)).toContain("The version of Sat 5 June, 23:15 is in place again on Blue: notes.txt.");
});

test("restore says as JSON what the daemon said", async () => {
  await startDaemon();
  const { out } = await scrubjay(
    "edits",
    "restore",
    "notes.txt",
    "--at",
    "2027-06-05",
    "--trip",
    "KC",
    "--json",
  );
  expect(JSON.parse(out)).toEqual({ path: "notes.txt", drive: "Blue", at: "2027-06-06T22:50:00+01:00" });
  expect(asked.at(-1)).toMatch(/^restore KC/);
});

test.each([
  [["--at", "2027-06-06"], /2 versions of notes\.txt are of 2027-06-06: 2027-06-06T21:00.*Say more/],
  [
    ["--at", "2026"],
    /No version of notes\.txt is of 2026\. The newest one is of 2027-06-06T21:00.*edits list notes\.txt/,
  ],
  [["--at", "\u001b[2J"], /is of \\u\{1b\}\[2J/],
  [[], /Which version is meant\? `scrubjay edits list notes\.txt` shows them: --at TIME/],
])("a version that can't be told is a mistake with the next step: %j", async (more, says) => {
  await startDaemon();
  const { exit, out, err } = await scrubjay("edits", "restore", "notes.txt", ...more);
  expect([exit, out]).toEqual([64, ""]);
  expect(flat(err)).toMatch(says);
  expect(asked.filter((each) => each.startsWith("restore"))).toEqual([]);
});

test("a file that isn't known is the daemon's to refuse, and without a daemon that is said", async () => {
  expect((await scrubjay("edits", "list")).exit).toBe(69);
  await startDaemon();
  const { exit, err } = await scrubjay("edits", "restore", "nothing.txt", "--at", "2027");
  expect([exit, flat(err)]).toEqual([64, "scrubjay: No work file is called nothing.txt. See the list."]);
});
