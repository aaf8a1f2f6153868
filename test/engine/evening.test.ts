/** The evening copy on practice folders: what goes in comes out on every drive, and the board tells how it stands. */

import { execFileSync } from "node:child_process";
import {
  cpSync,
  mkdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { cardsJson, unclearCards } from "../../daemon/engine/cardBoard.ts";
import { introduceDrive } from "../../daemon/engine/introduce.ts";
import { encodeFact } from "../../daemon/record/journal.ts";
import { absolutePath, type CardId, type DriveId, type OriginalId } from "../../shared/identity.ts";
import { instant } from "../../shared/units.ts";
import { generateCard, nextEvening, profileText, tinyCard } from "../cards/generate/card.ts";
import { type Bench, makeBench, tree } from "./bench.ts";

let bench: Bench;
afterEach(async () => bench.end());

const profile = profileText({ drives: ["Blue", "Slate"], copies: 2 });

async function readyBench(drives: readonly string[] = ["Blue", "Slate"], text = profile): Promise<Bench> {
  bench = await makeBench();
  bench.trip(text);
  for (const drive of drives) await bench.drive(drive);
  return bench;
}

/** What a drive holds of the trip, without our own lists. */
function tripTree(drive: string): Map<string, Buffer> {
  const files = tree(join(bench.practice, drive, "Kestrel Cliffs"));
  files.delete("checksums.xxh64");
  return files;
}

function sameTrees(a: Map<string, Buffer>, b: Map<string, Buffer>): void {
  expect([...a.keys()].sort()).toEqual([...b.keys()].sort());
  for (const [path, content] of a) expect(b.get(path)?.equals(content), path).toBe(true);
}

function card(name = "CARD") {
  const found = cardsJson(bench.engine).find((each) => each.label === name);
  if (found === undefined) throw new Error(`no card ${name}`);
  return found;
}

const alertCodes = () => statusJson(bench.engine).alerts.map((alert) => alert.code);

/** A card of plain files: names and contents by path. */
function plainCard(
  name: string,
  files: Readonly<Record<string, string>>,
  time = "2027-06-05T12:00:00Z",
): void {
  for (const [path, content] of Object.entries(files)) {
    const at = join(bench.aside, name, path);
    mkdirSync(join(at, ".."), { recursive: true });
    writeFileSync(at, content);
    utimesSync(at, new Date(time), new Date(time));
  }
}

test("a card goes in: the same tree on both drives, every file of the card in it, the card as it was", async () => {
  await readyBench();
  generateCard(join(bench.aside, "CARD"), tinyCard);
  const before = tree(join(bench.aside, "CARD"));
  bench.plugIn("CARD");
  await bench.idle();

  sameTrees(tripTree("Blue"), tripTree("Slate"));
  sameTrees(tree(join(bench.practice, "CARD")), before);
  const held = [...tripTree("Blue").values()];
  for (const [path, content] of before)
    expect(held.some((each) => each.equals(content)) || path.startsWith(".Trashes/"), path).toBe(true);

  const { files, frameFiles, extras, leavings, clear, verdict, lacking } = card();
  expect(files).toBe(before.size);
  expect(frameFiles + extras + leavings.length).toBe(files);
  expect({ clear, lacking }).toEqual({ clear: true, lacking: [] });
  expect(verdict).toBe("Card 1 may be formatted. All 20 files are verified on Blue and Slate.");
  expect(statusJson(bench.engine).headline).toBe("Everything is safe.");
  expect(tree(join(bench.practice, "Blue/.scrubjay/incoming")).size).toBe(0);
});

test("general tools agree: xxhsum finds every copy as its list says", async () => {
  // Reference tool: Debian's xxhsum, the xxHash project's own command.
  await readyBench();
  generateCard(join(bench.aside, "CARD"), tinyCard);
  bench.plugIn("CARD");
  await bench.idle();
  for (const drive of ["Blue", "Slate"]) {
    const cwd = join(bench.practice, drive, "Kestrel Cliffs");
    const said = execFileSync("xxhsum", ["-c", "checksums.xxh64"], { cwd, encoding: "utf8" });
    expect(said.match(/: OK$/gm)).toHaveLength(tripTree(drive).size);
  }
});

test("copies keep the time of the file on the card", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" }, "2027-06-05T12:34:56.500Z");
  bench.plugIn("CARD");
  await bench.idle();
  const copy = join(bench.practice, "Blue/Kestrel Cliffs/2027-06-05/KC-20270605-X0001.PNG");
  expect(statSync(copy).mtime.toISOString()).toBe("2027-06-05T12:34:56.500Z");
});

test("a second evening's card is added beside the first, and the first is known when it comes again", async () => {
  await readyBench();
  generateCard(join(bench.aside, "CARD"), tinyCard);
  generateCard(join(bench.aside, "NEXT"), nextEvening(tinyCard));
  bench.plugIn("CARD");
  await bench.idle();
  bench.takeOut("CARD");
  bench.plugIn("NEXT");
  await bench.idle();
  expect(card("NEXT").clear).toBe(true);
  const after = tripTree("Blue");
  bench.takeOut("NEXT");
  bench.plugIn("CARD");
  await bench.idle();
  sameTrees(tripTree("Blue"), after);
  expect(card().clear).toBe(true);
  expect(bench.notices.filter((notice) => notice.title === "Card 1 may be formatted")).toHaveLength(2);
});

test("two bodies, equal names, a counter that wraps, one number in two folders, a frame twice: nothing lost", async () => {
  // DCF (CIPA DC-009) lets all of these happen: a base name is never a key.
  await readyBench(
    ["Blue", "Slate"],
    profile.replace("{code}-{day:yyyyMMdd}-{body}{number}", "{code}{number}"),
  );
  plainCard("ONE", {
    "DCIM/100ABCDE/ABCD0001.PNG": "body one, first",
    "DCIM/100ABCDE/ABCD9999.PNG": "body one, before the wrap",
    "DCIM/101ABCDE/ABCD0001.PNG": "body one, after the wrap",
    "DCIM/101ABCDE/ABCD0002.PNG": "body one, first", // the same frame again
  });
  plainCard("TWO", {
    "DCIM/100ABCDE/ABCD0001.PNG": "body two, first",
    "DCIM/100ABCDE/ABCD0001.MP3": "body two, memo",
    "DCIM/100ABCDE/ABCD9999.PNG": "body one, before the wrap", // the same frame on another card
  });
  bench.plugIn("ONE");
  await bench.idle();
  bench.plugIn("TWO");
  await bench.idle();
  const held = tripTree("Blue");
  expect(Object.fromEntries([...held].map(([path, content]) => [path, String(content)]))).toEqual({
    "2027-06-05/KC0001.PNG": "body one, first",
    "2027-06-05/KC9999.PNG": "body one, before the wrap",
    "2027-06-05/KC0001-2.PNG": "body one, after the wrap",
    "2027-06-05/KC0001-3.PNG": "body two, first",
    "2027-06-05/KC0001-3.MP3": "body two, memo",
  });
  sameTrees(held, tripTree("Slate"));
  expect([card("ONE").clear, card("TWO").clear]).toEqual([true, true]);
});

test("frames without a usable time are copied, filed by their file's time, and listed as such", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "no Exif" });
  bench.plugIn("CARD");
  await bench.idle();
  expect(card().undated).toEqual(["DCIM/100ABCDE/ABCD0001.PNG"]);
  expect([...tripTree("Blue").keys()]).toEqual(["2027-06-05/KC-20270605-X0001.PNG"]);
});

test("a drive that is named and not there is announced when the card goes in, and the card must be kept", async () => {
  await readyBench(["Blue"]);
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  const status = statusJson(bench.engine);
  expect(alertCodes()).toContain("drive-missing");
  expect(status.drives.map((drive) => [drive.name, drive.owed.files])).toEqual([
    ["Blue", 0],
    ["Slate", 1],
  ]);
  expect(card()).toMatchObject({
    clear: false,
    verdict: "Keep card 1: 1 file lacks copies (1 of 2).",
    lacking: [
      {
        path: "DCIM/100ABCDE/ABCD0001.PNG",
        verified: 1,
        goal: 2,
        why: "Slate owes it (not introduced yet)",
      },
    ],
  });
  const missing = bench.notices.filter((notice) => notice.body.includes("Slate"));
  expect(missing.length).toBeGreaterThan(0);
  expect(bench.notices.some((notice) => notice.title.includes("may be formatted"))).toBe(false);
});

test("the missing drive comes while the card is in: it is caught up, the alert goes, the card is clear", async () => {
  await readyBench(["Blue", "Slate"]);
  bench.takeOut("Slate");
  await bench.idle();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture", "MISC/NOTE.TXT": "note" });
  bench.plugIn("CARD");
  await bench.idle();
  expect(card().clear).toBe(false);
  expect(statusJson(bench.engine).alerts.find((alert) => alert.code === "drive-missing")?.happened).toBe(
    "Slate is not plugged in. It owes 2 files (11 B).",
  );
  bench.plugIn("Slate");
  await bench.idle();
  expect(alertCodes()).toEqual([]);
  expect(card().clear).toBe(true);
  sameTrees(tripTree("Blue"), tripTree("Slate"));
});

test("every drive's journal tells the copies on all drives", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  for (const drive of ["Blue", "Slate"]) {
    const journal = join(bench.practice, drive, ".scrubjay/trips/kc-2027-06-03-test/journal.jsonl");
    const facts = readFileSync(journal, "utf8")
      .trim()
      .split("\n")
      .map((line): { fact: { kind: string; drive?: string } } => JSON.parse(line));
    const kinds = facts.map(({ fact }) => fact.kind).sort();
    expect(kinds).toEqual(["card", "copy", "copy", "drive", "drive", "original", "sighting", "trip"]);
    const copies = facts.filter(({ fact }) => fact.kind === "copy").map(({ fact }) => fact.drive);
    expect(new Set(copies).size).toBe(2);
  }
});

test("a card of no trip is asked about, not guessed, and nothing of it is copied until someone says", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" }, "2026-01-01T12:00:00Z");
  bench.plugIn("CARD");
  await bench.idle();
  expect(alertCodes()).toEqual(["no-trip"]);
  expect(card()).toMatchObject({ clear: false, trip: null });
  expect([...tree(join(bench.practice, "Blue")).keys()].some((path) => path.endsWith(".PNG"))).toBe(false);

  const { ledger } = bench.engine.ports;
  const id = ledger.cards()[0]?.id;
  const trip = bench.engine.tripBook.trips[0]?.id;
  if (id === undefined || trip === undefined) throw new Error("card and trip are known");
  ledger.assignCard(id, trip);
  bench.engine.desk.forgetDecisions(id);
  await bench.idle();
  expect(card().clear).toBe(true);
  expect(alertCodes()).toEqual(["clock-suspect"]);
});

test("links on a card are not followed, and said", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  writeFileSync(join(bench.folder, "secret.txt"), "not on the card");
  symlinkSync(join(bench.folder, "secret.txt"), join(bench.aside, "CARD/DCIM/100ABCDE/ABCD0002.PNG"));
  symlinkSync(bench.folder, join(bench.aside, "CARD/DCIM/200LINKS"));
  bench.plugIn("CARD");
  await bench.idle();
  expect([...tripTree("Blue").keys()]).toEqual(["2027-06-05/KC-20270605-X0001.PNG"]);
  expect(
    card()
      .leavings.map((leaving) => leaving.path)
      .sort(),
  ).toEqual(["DCIM/100ABCDE/ABCD0002.PNG", "DCIM/200LINKS"]);
  expect(card().clear).toBe(true);
});

test("hostile names are kept apart, kept inside the trip's folder, and harmless to read", async () => {
  await readyBench();
  const names = [
    "DCIM/100ABCDE/line\nbreak.PNG",
    "DCIM/100ABCDE/\u001b[31mred\u001b[0m.PNG",
    "DCIM/100ABCDE/..%2f..%2fescape.PNG",
    "DCIM/100ABCDE/<script>alert(1)<",
    "MISC/back\\slash.TXT",
    `DCIM/100ABCDE/${"n".repeat(251)}.PNG`,
    `MISC/${"n".repeat(255)}`,
    `MISC/${"n".repeat(254)}m`,
    "MISC/Zu\u0308rich.txt",
    "MISC/Z\u00fcrich.txt",
    "MISC/aux.txt",
    "MISC/trailing. ",
    "MISC/\u202eright to left",
  ];
  plainCard("CARD", Object.fromEntries(names.map((name, index) => [name, `content ${index}`])));
  bench.plugIn("CARD");
  await bench.idle();
  const held = tripTree("Blue");
  expect(new Set([...held.values()].map(String))).toEqual(
    new Set(names.map((_, index) => `content ${index}`)),
  );
  expect(held.size).toBe(names.length);
  sameTrees(held, tripTree("Slate"));
  for (const path of held.keys()) {
    expect(path).not.toMatch(/[\p{Cc}\p{Cf}<>:"|?*\\]/u);
    for (const part of path.split("/")) expect(Buffer.byteLength(part)).toBeLessThanOrEqual(255);
  }
  expect(card().clear).toBe(true);
  expect(JSON.stringify(statusJson(bench.engine))).not.toMatch(/\\u001b|\\n|\u202e/);
  // And the list stays one that general tools read (xxhsum 0.8.1 doesn't escape names).
  const cwd = join(bench.practice, "Blue/Kestrel Cliffs");
  execFileSync("xxhsum", ["-c", "--quiet", "checksums.xxh64"], { cwd });
});

test("names that are no UTF-8 are copied like any other", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  const raw = Buffer.concat([
    Buffer.from(join(bench.aside, "CARD/MISC-")),
    Buffer.from([0xe9, 0xff]),
    Buffer.from(".TXT"),
  ]);
  writeFileSync(raw, "latin one");
  bench.plugIn("CARD");
  await bench.idle();
  expect([...tripTree("Blue").keys()]).toContain("extras/MISC-%E9%FF.TXT");
  expect(card().clear).toBe(true);
});

test("files that stand where a copy should go are left as they are", async () => {
  await readyBench();
  const taken = join(bench.practice, "Blue/Kestrel Cliffs/2027-06-05");
  mkdirSync(taken, { recursive: true });
  writeFileSync(join(taken, "KC-20270605-X0001.PNG"), "somebody else's");
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  expect(readFileSync(join(taken, "KC-20270605-X0001.PNG"), "utf8")).toBe("somebody else's");
  expect(readFileSync(join(taken, "KC-20270605-X0001-2.PNG"), "utf8")).toBe("picture");
  // What stands there is no card's: it is a work file like any other.
  expect([...tripTree("Slate").keys()]).toEqual([
    "2027-06-05/KC-20270605-X0001-changed.PNG",
    "2027-06-05/KC-20270605-X0001.PNG",
  ]);
  expect(alertCodes()).toEqual(["name-clash"]);
  expect(card().clear).toBe(true);
});

test("a volume with camera folders and a drive's identity is neither read nor written", async () => {
  await readyBench();
  cpSync(join(bench.practice, "Blue"), join(bench.aside, "ODD"), { recursive: true });
  plainCard("ODD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  const before = tree(join(bench.aside, "ODD"));
  bench.plugIn("ODD");
  await bench.idle();
  expect(alertCodes()).toEqual(["unknown-card"]);
  sameTrees(tree(join(bench.practice, "ODD")), before);
  expect(cardsJson(bench.engine)).toEqual([]);
});

test("a copy of a drive's folder isn't taken for the drive", async () => {
  await readyBench();
  cpSync(join(bench.practice, "Blue"), join(bench.aside, "COPY"), { recursive: true });
  const before = tree(join(bench.aside, "COPY"));
  bench.plugIn("COPY");
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  expect(alertCodes()).toEqual(["drive-twice"]);
  sameTrees(tree(join(bench.practice, "COPY")), before);
  expect(tripTree("Blue").size).toBe(1);
});

test("a card that comes back with other files under old names: all of them are kept", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  expect(card().clear).toBe(true);
  bench.takeOut("CARD");
  await bench.idle();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "another!", "DCIM/100ABCDE/ABCD0002.PNG": "new" });
  bench.plugIn("CARD");
  await bench.idle();
  // Same name, same size, same time, other bytes: both are kept.
  expect([...tripTree("Blue").values()].map(String).sort()).toEqual(["another!", "new", "picture"]);
  expect(card().clear).toBe(true);
});

test("the goal is raised: the card is no longer clear", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  expect(card().clear).toBe(true);
  bench.trip(profileText({ drives: ["Blue", "Slate", "Rust"], copies: 3 }));
  await bench.idle();
  expect(card()).toMatchObject({ clear: false, verdict: "Keep card 1: 1 file lacks copies (2 of 3)." });
});

test("after a restart nothing is copied again, and leftovers in incoming are gone", async () => {
  await readyBench();
  generateCard(join(bench.aside, "CARD"), tinyCard);
  bench.plugIn("CARD");
  await bench.idle();
  const inodes = () =>
    [...tripTree("Blue").keys()].map(
      (path) => statSync(join(bench.practice, "Blue/Kestrel Cliffs", path)).ino,
    );
  const before = inodes();
  writeFileSync(join(bench.practice, "Blue/.scrubjay/incoming/abc.part"), "half");
  await bench.restart();
  await bench.idle();
  expect(inodes()).toEqual(before);
  expect(tree(join(bench.practice, "Blue/.scrubjay/incoming")).size).toBe(0);
  expect(card().clear).toBe(true);
});

test("the power goes between naming and writing down: the copy that stands there is verified, not written again", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  // As if ledger and journal had never heard of Blue's copy, only of the intent.
  await bench.restart((ports) => ports);
  const blue = bench.engine.ports.ledger.drives().find((drive) => drive.name === "Blue");
  const copy = join(bench.practice, "Blue/Kestrel Cliffs/2027-06-05/KC-20270605-X0001.PNG");
  const inode = statSync(copy).ino;
  bench.takeOut("CARD");
  await bench.idle();
  const { default: Database } = await import("better-sqlite3");
  const db = new Database(join(bench.folder, "ledger.sqlite"));
  db.prepare("DELETE FROM copies WHERE drive = ?").run(blue?.id);
  db.close();
  bench.plugIn("CARD");
  await bench.idle();
  expect(statSync(copy).ino).toBe(inode);
  expect(card().clear).toBe(true);
});

test("a torn checksum list is mended when the drive comes", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture", "DCIM/100ABCDE/ABCD0002.PNG": "two" });
  bench.plugIn("CARD");
  await bench.idle();
  const list = join(bench.practice, "Blue/Kestrel Cliffs/checksums.xxh64");
  const whole = readFileSync(list, "utf8");
  bench.takeOut("Blue");
  await bench.idle();
  writeFileSync(join(bench.aside, "Blue/Kestrel Cliffs/checksums.xxh64"), whole.slice(0, whole.length - 9));
  bench.plugIn("Blue");
  await bench.idle();
  expect(readFileSync(list, "utf8").split("\n").sort()).toEqual(whole.split("\n").sort());
});

test("an empty card is clear without a word", async () => {
  await readyBench();
  mkdirSync(join(bench.aside, "CARD/DCIM"), { recursive: true });
  bench.plugIn("CARD");
  await bench.idle();
  expect(card()).toMatchObject({
    clear: true,
    files: 0,
    verdict: "Card 1 holds no files.".replace("Card 1", card().name),
  });
  expect(bench.notices).toEqual([]);
  expect(alertCodes()).toEqual([]);
  rmSync(join(bench.practice, "CARD"), { recursive: true });
});

test("a card that was taken out half read keeps the board unsafe until it is put in again or said to be of no concern", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" }, "2026-01-01T12:00:00Z");
  bench.plugIn("CARD");
  await bench.idle();
  bench.takeOut("CARD");
  await bench.idle();
  expect(alertCodes()).toEqual(["card-unfinished"]);
  expect(unclearCards(bench.engine)).toBe(1);
  expect(statusJson(bench.engine)).toMatchObject({ safe: false, headline: "Not everything is safe yet." });

  const { ledger } = bench.engine.ports;
  const [row] = ledger.cards();
  if (row === undefined) throw new Error("the card is known");
  ledger.dismissCard(row.id, bench.engine.now());
  await bench.idle();
  expect(alertCodes()).toEqual([]);
  expect(unclearCards(bench.engine)).toBe(0);
  expect(statusJson(bench.engine).cards).toEqual([]);
  // It is told all the same where cards are listed, and is a concern again as soon as it is in.
  expect(card()).toMatchObject({ dismissed: true, clear: false });
  bench.plugIn("CARD");
  await bench.idle();
  expect(card().dismissed).toBe(false);
  expect(alertCodes()).toEqual(["no-trip"]);
});

test("a drive without copies may be given another name; one that holds some keeps its own", async () => {
  await readyBench(["Blue", "Slat"]);
  const root = absolutePath(join(bench.practice, "Slat"));
  const rename = (name: string) => introduceDrive(bench.engine.ports, bench.engine.presence, root, name);
  expect(await rename("Slate")).toMatchObject({ name: "Slate" });
  await bench.idle();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  expect(card().clear).toBe(true);
  await expect(rename("Granite")).rejects.toThrow("is the drive Slate already and holds copies");
  expect(statusJson(bench.engine).drives.map((drive) => drive.name)).toEqual(["Blue", "Slate"]);
});

/** This copy isn't known any more, though it stands where it stood. */
function forget(original: OriginalId, drive: DriveId): void {
  const { ledger, hashing } = bench.engine.ports;
  const row = ledger.original(original);
  if (row === undefined) throw new Error("it is known");
  const { trip, path } = row;
  const copies = ledger.copyFacts(original, drive);
  ledger.apply([
    encodeFact(
      { kind: "loss", trip, at: instant(1), original, drive, path, why: "missing", copies },
      hashing,
    ),
  ]);
}

test("a copy that is found again doesn't stand twice in the checksum list", async () => {
  await readyBench();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  const blue = bench.engine.ports.ledger.drives().find((drive) => drive.name === "Blue");
  const original = bench.engine.ports.ledger.cardFiles(card().id as CardId)[0]?.original;
  if (blue === undefined || original === undefined) throw new Error("both are known");
  forget(original, blue.id);
  await bench.idle();
  expect(card().clear).toBe(true);
  // And as after a power cut between the list and the ledger: the drive comes with a line that nobody knows of.
  bench.takeOut("Blue");
  await bench.idle();
  forget(original, blue.id);
  bench.plugIn("Blue");
  await bench.idle();
  expect(card().clear).toBe(true);
  const list = readFileSync(join(bench.practice, "Blue/Kestrel Cliffs/checksums.xxh64"), "utf8");
  expect(list.trim().split("\n")).toHaveLength(1);
});

test("work that was paused waits, says so, and goes on where it was", async () => {
  await readyBench();
  bench.engine.pause();
  plainCard("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture" });
  bench.plugIn("CARD");
  await bench.idle();
  expect(statusJson(bench.engine)).toMatchObject({ paused: true, headline: "Not everything is safe yet." });
  expect(statusJson(bench.engine).advice).toContain("Work is paused");
  expect(card().clear).toBe(false);
  bench.engine.goOn();
  await bench.idle();
  expect(card().clear).toBe(true);
  expect(statusJson(bench.engine).paused).toBe(false);
});
