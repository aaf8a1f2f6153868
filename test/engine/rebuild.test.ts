/** One drive left: a ledger made anew from what drives carry, and what is nowhere to be found named. */

import {
  appendFileSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { rebuildFrom } from "../../daemon/engine/rebuild.ts";
import { encodeFact, journalLine } from "../../daemon/record/journal.ts";
import type { Fact } from "../../shared/facts.ts";
import type { DriveId, OriginalId, RelativePath, TripId } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { instant } from "../../shared/units.ts";
import { generateCard, profileText, tinyCard } from "../cards/generate/card.ts";
import { type Bench, makeBench, tree } from "./bench.ts";
import {
  alertCodes,
  away,
  back,
  cardOf,
  copyOn,
  evening,
  filedAs,
  held,
  loseLedger,
  owed,
  spoil,
} from "./pictures.ts";

let bench: Bench;
afterEach(async () => bench.end());

const all = ["Blue", "Slate", "Rust"];
const profile = profileText({ drives: all, copies: 3 });
const tripId = "kc-2027-06-03-test";
const journalOf = (drive: string, place = bench.practice) =>
  join(place, drive, `.scrubjay/trips/${tripId}/journal.jsonl`);

async function ready(drives: readonly string[] = all): Promise<void> {
  bench = await makeBench();
  bench.trip(profile);
  for (const drive of drives) await bench.drive(drive);
}

function rebuild(drives: readonly string[], owner?: string) {
  const mounts = drives.map((drive) => join(bench.practice, drive));
  return bench.engine.between(() => rebuildFrom(bench.engine, mounts, owner));
}

/** Everything is taken out, the computer is gone with what it knew and its profiles; these come to a new one. */
async function newComputer(...drives: readonly string[]): Promise<void> {
  for (const name of readdirSync(bench.practice)) bench.takeOut(name);
  await bench.idle();
  bench.forgetTrips();
  await loseLedger(bench);
  await back(bench, ...drives);
}

/** What the board says of a drive, without what passes with time or isn't the drive's own. */
function driveState(name: string) {
  const drive = statusJson(bench.engine).drives.find((each) => each.name === name);
  if (drive === undefined) throw new Error(`no drive ${name}`);
  const { lastSeen, freeBytes, ...state } = drive;
  return state;
}

test("one drive gives a new computer the same board for that drive, trips and profiles too", async () => {
  await ready();
  generateCard(join(bench.aside, "REAL"), tinyCard);
  bench.plugIn("REAL");
  await bench.idle();
  await away(bench, "REAL", "Rust");
  await evening(bench, "ONE", [1, 2]);
  const before = driveState("Slate");
  const beforeTrip = statusJson(bench.engine).trip;
  const framesBefore = statusJson(bench.engine).frames;
  await back(bench, "Rust");
  await newComputer("Slate");
  expect(statusJson(bench.engine).trip).toBe(null);
  expect(alertCodes(bench)).toContain("unknown-drive");

  const learnt = await rebuild(["Slate"]);
  expect(driveState("Slate")).toEqual(before);
  expect(statusJson(bench.engine).trip).toEqual(beforeTrip);
  expect(statusJson(bench.engine).frames.total).toBe(framesBefore.total);
  expect(statusJson(bench.engine).drives.map((drive) => [drive.name, drive.present])).toEqual([
    ["Blue", false],
    ["Slate", true],
    ["Rust", false],
  ]);
  expect(learnt).toMatchObject({ torn: 0, disagreeing: 0, nowhere: [], nowhereTotal: 0, elsewhere: [] });
  expect(learnt.trips).toMatchObject([{ id: tripId, name: "Kestrel Cliffs", files: framesBefore.files }]);
  expect(bench.trips()).toEqual([{ id: tripId, text: profile }]);
  // The cards are known again: nothing is read or copied a second time.
  const kept = tree(join(bench.practice, "Slate/Kestrel Cliffs"));
  await back(bench, "Blue", "Rust", "ONE");
  expect(cardOf(bench, "ONE").clear).toBe(true);
  expect([...tree(join(bench.practice, "Slate/Kestrel Cliffs")).keys()]).toEqual([...kept.keys()]);
});

test("what existed and is on no drive is named, with its day and card; what only others hold is counted", async () => {
  await ready();
  await away(bench, "Slate");
  await evening(bench, "ONE", [1, 2]);
  await back(bench, "Slate");
  await away(bench, "Blue");
  await evening(bench, "TWO", [3]);
  await away(bench, "Slate");
  // Both that held picture 2 lost it; Slate alone has it still when it is named too.
  await newComputer("Blue", "Rust");
  for (const drive of ["Blue", "Rust"]) rmSync(copyOn(bench, drive, 2));
  const learnt = await rebuild(["Blue", "Rust"]);
  expect(learnt.elsewhere).toEqual([{ drive: "Slate", files: 1 }]);
  expect(learnt.nowhereTotal).toBe(0);
  await away(bench, "Blue", "Rust");
  await back(bench, "Slate");
  rmSync(copyOn(bench, "Slate", 2));
  const more = await rebuild(["Slate"]);
  expect(more.nowhere).toEqual([
    { trip: "Kestrel Cliffs", path: filedAs(2), day: "2027-06-05", card: "card 1", bytes: 9 },
  ]);
  expect(more.elsewhere).toEqual([]);
});

test("a torn last line costs that line alone", async () => {
  await ready();
  await evening(bench, "ONE", [1, 2]);
  await newComputer("Blue");
  const journal = readFileSync(journalOf("Blue"));
  writeFileSync(journalOf("Blue"), journal.subarray(0, journal.length - 30));
  const learnt = await rebuild(["Blue"]);
  expect(learnt.torn).toBe(1);
  expect(learnt.trips).toMatchObject([{ files: 2 }]);
  // Every copy stands there: the one whose line was torn is found when the card or another drive comes.
  await back(bench, "Slate", "Rust");
  expect(owed(bench)).toEqual([0, 0, 0]);
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "picture 1", [filedAs(2)]: "picture 2" });
});

test("a journal without the trip's own line has the profile beside it", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await newComputer("Blue");
  const lines = readFileSync(journalOf("Blue"), "utf8").split("\n");
  writeFileSync(journalOf("Blue"), lines.filter((line) => !line.includes('"kind":"trip"')).join("\n"));
  await rebuild(["Blue"]);
  expect(statusJson(bench.engine).trip?.name).toBe("Kestrel Cliffs");
  expect(driveState("Blue").holds.files).toBe(1);
});

test("records that disagree: what one can't be true beside the other is left out, counted, and nothing is lost", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await newComputer("Blue", "Slate");
  const { hashing } = bench.engine.ports;
  const base = { trip: tripId as TripId, at: instant(1) };
  const lie: Fact[] = [
    // Another file under the name that picture 1 has, and a copy of something whose bytes can't be known.
    {
      ...base,
      at: instant(Date.parse("2040-01-01")),
      kind: "original",
      original: "0000000000000000-5-00000000" as OriginalId,
      hash: "0000000000000000" as never,
      size: 5 as never,
      path: filedAs(1) as RelativePath,
      role: "extra",
    },
    {
      ...base,
      kind: "copy",
      original: "something" as OriginalId,
      drive: "0123456789abcdef0123456789abcdef" as DriveId,
      path: "x" as RelativePath,
      readBack: "direct",
    },
  ];
  appendFileSync(journalOf("Slate"), lie.map((fact) => journalLine(encodeFact(fact, hashing))).join(""));
  const learnt = await rebuild(["Blue", "Slate"]);
  expect(learnt.disagreeing).toBe(2);
  expect(learnt.trips).toMatchObject([{ files: 1 }]);
  expect(held(bench, "Slate")).toEqual({ [filedAs(1)]: "picture 1" });
});

test("paths in a record can't lead out of the trip's folder", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await newComputer("Blue");
  const { hashing } = bench.engine.ports;
  const original = readFileSync(journalOf("Blue"), "utf8")
    .split("\n")
    .find((line) => line.includes('"kind":"original"'));
  if (original === undefined) throw new Error("the record tells of an original");
  const fact: Fact = JSON.parse(original).fact;
  const hostile = { ...fact, original: "evil", path: "../../home/x" } as unknown as Fact;
  appendFileSync(journalOf("Blue"), journalLine(encodeFact(hostile, hashing)));
  const learnt = await rebuild(["Blue"]);
  expect(learnt).toMatchObject({ torn: 1, nowhereTotal: 0 });
  expect(learnt.trips).toMatchObject([{ files: 1 }]);
});

test("the newest knowledge wins whatever the order: a copy that was lost stays lost, one made again counts", async () => {
  await ready();
  await evening(bench, "ONE", [1, 2]);
  await away(bench, "Slate", "Rust");
  spoil(copyOn(bench, "Blue", 1));
  await away(bench, "Blue");
  rmSync(join(bench.aside, "Blue/Kestrel Cliffs", filedAs(2)));
  await back(bench, "Blue");
  expect(owed(bench)).toEqual([1, 0, 0]);
  const before = driveState("Blue");
  await newComputer("Blue");
  await rebuild(["Blue"]);
  expect(driveState("Blue")).toEqual(before);
});

test("another photographer's drive is refused, and nothing is learnt from any; who says it is theirs may have it", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  const other = await makeBench();
  try {
    other.trip(profile);
    await other.drive("Granite");
    renameSync(join(other.practice, "Granite"), join(bench.practice, "Granite"));
  } finally {
    await other.end();
  }
  await bench.idle();
  const before = tree(join(bench.practice, "Granite"));
  const refused = await rebuild(["Blue", "Granite"]).catch((mistake: unknown) => mistake);
  expect(refused).toBeInstanceOf(UserMistake);
  expect(refused).toMatchObject({ exit: 64 });
  expect(String((refused as UserMistake).message)).toContain("another photographer's Scrubjay");
  expect(tree(join(bench.practice, "Granite"))).toEqual(before);
  const owner = /--owner ([0-9a-f]{32})/.exec((refused as UserMistake).next)?.[1];
  expect(owner).toBeDefined();
  expect((await rebuild(["Granite"], owner)).drives).toMatchObject([{ name: "Granite" }]);
});

test.each([
  ["a card", "CARD", "camera's card"],
  ["a folder without a record", "PLAIN", "carries no record"],
  ["what isn't there", "NOWHERE", "No volume is mounted"],
])("%s is refused in words", async (_what, name, words) => {
  await ready(["Blue"]);
  mkdirSync(join(bench.practice, "CARD/DCIM"), { recursive: true });
  mkdirSync(join(bench.practice, "PLAIN"));
  await bench.idle();
  await expect(rebuild([name])).rejects.toThrow(words);
});
