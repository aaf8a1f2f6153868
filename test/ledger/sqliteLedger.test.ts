/** The ledger keeps what it was told, over restarts and power cuts, and claims nothing more. */

import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { afterEach, beforeEach, expect, test } from "vitest";
import { migrations } from "../../daemon/ledger/migrations.ts";
import { holdLock } from "../../daemon/ledger/oneOnly.ts";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";
import { encodeFact } from "../../daemon/record/journal.ts";
import type { Fact } from "../../shared/facts.ts";
import {
  type CardId,
  type ContentHash,
  type DriveId,
  type FrameId,
  nameKey,
  type OriginalId,
  type RelativePath,
  type TripId,
} from "../../shared/identity.ts";
import type { Alert } from "../../shared/problems.ts";
import { bytes, instant } from "../../shared/units.ts";

const hashing = await createHashing();
const trip = "kc" as TripId;
const card = "card" as CardId;
const blue = "blue" as DriveId;
const slate = "slate" as DriveId;

let folder: string;
let file: string;
let ledger: SqliteLedger;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "scrubjay-ledger-"));
  file = join(folder, "ledger.sqlite");
  ledger = new SqliteLedger(file);
});
afterEach(() => {
  ledger.close();
  rmSync(folder, { recursive: true });
});

const learn = (...facts: Fact[]): void => ledger.apply(facts.map((fact) => encodeFact(fact, hashing)));
const path = (text: string) => text as RelativePath;

function original(nth: number, frame = `f${nth}`, at = `d/KC-A${nth}.NEF`): Fact {
  return {
    kind: "original",
    trip,
    at: instant(nth),
    original: `o${nth}` as OriginalId,
    hash: `${nth}`.padStart(16, "0") as ContentHash,
    size: bytes(100),
    path: path(at),
    role: "frame",
    frame: {
      id: frame as FrameId,
      stem: path(`d/KC-${frame}`),
      key: `key ${frame}`,
      count: nth,
      taken: { instant: 0, local: "", day: "2027-06-03", basis: "trip-zone", camera: "" },
      letter: "A",
      serial: "1",
      model: "Aldine R2",
    },
  };
}

const copy = (nth: number, drive: DriveId): Fact => ({
  kind: "copy",
  trip,
  at: instant(1000 + nth),
  original: `o${nth}` as OriginalId,
  drive,
  path: path(`d/KC-A${nth}.NEF`),
  readBack: nth % 2 === 0 ? "direct" : "cache",
});

const sighting = (nth: number, on = `DCIM/${nth}`): Fact => ({
  kind: "sighting",
  trip,
  at: instant(nth),
  card,
  path: path(on),
  fingerprint: { size: bytes(100), modified: instant(5), ends: "e".repeat(16) as ContentHash },
  original: `o${nth}` as OriginalId,
});

test("what is written survives a power cut: WAL with synchronous=FULL, read back from the connection", () => {
  // SQLite documentation, PRAGMA synchronous: 2 is FULL.
  expect(ledger.durability()).toEqual({ journalMode: "wal", synchronous: 2 });
});

test("facts are kept over a restart in the order learnt, and the same fact twice is one", () => {
  learn(original(1), copy(1, blue));
  learn(original(1), copy(1, blue), copy(1, slate));
  ledger.close();
  ledger = new SqliteLedger(file);
  const kinds = [...ledger.factsOf(trip)].map((fact): string => JSON.parse(fact.json).kind);
  expect(kinds).toEqual(["original", "copy", "copy"]);
  expect(ledger.hasCopy("o1" as OriginalId, slate)).toBe(true);
});

test("a copy of an original nobody knows is a bug, and nothing of that round is kept", () => {
  expect(() => learn(original(1), copy(2, blue))).toThrow("assertion failed");
  expect([...ledger.factsOf(trip)]).toEqual([]);
  expect(ledger.original("o1" as OriginalId)).toBeUndefined();
});

test("owed is what exists less what the drive holds", () => {
  learn(original(1), original(2), original(3), copy(1, blue), copy(2, blue), copy(2, slate));
  expect(ledger.share(trip, blue)).toMatchObject({
    holdsFiles: 2,
    owedFiles: 1,
    owedBytes: 100,
    direct: 1,
    cache: 1,
    lastVerified: 1002,
  });
  expect(ledger.share(trip, "rust" as DriveId)).toMatchObject({
    holdsFiles: 0,
    owedFiles: 3,
    owedBytes: 300,
  });
});

function knowDrives(): void {
  for (const id of [blue, slate]) ledger.addDrive({ id, name: id, fsId: id, lastSeen: instant(1) });
}

test("a frame is at its goal when all its files are, on different drives", () => {
  knowDrives();
  learn(original(1, "f"), original(2, "f"), original(3, "g"));
  learn(copy(1, blue), copy(1, slate), copy(2, blue), copy(3, blue), copy(3, slate));
  expect(ledger.totals(trip, 2)).toEqual({ frames: 2, files: 3, atGoal: 1, filesAtGoal: 2 });
  learn(copy(2, slate));
  expect(ledger.totals(trip, 2)).toEqual({ frames: 2, files: 3, atGoal: 2, filesAtGoal: 3 });
});

test("copies count on drives that are known, were here and aren't lost; a drive that was only heard of counts when it comes", () => {
  knowDrives();
  const rust = "rust" as DriveId;
  learn(original(1, "f"), copy(1, blue), copy(1, slate), copy(1, rust));
  expect(ledger.totals(trip, 3).atGoal).toBe(0);
  ledger.hearOfDrive({ id: rust, name: "Rust", fsId: "", lastSeen: instant(1) });
  expect(ledger.totals(trip, 3).atGoal).toBe(0);
  ledger.driveSeen(rust, instant(2));
  expect(ledger.totals(trip, 3).atGoal).toBe(1);
  ledger.loseDrive(rust, instant(3));
  expect(ledger.totals(trip, 3).atGoal).toBe(0);
});

test("a card's file counts as known only as it was seen: another size or time is another file", () => {
  knowDrives();
  learn(original(1), sighting(1, "DCIM/a"), copy(1, blue), copy(1, slate));
  ledger.cardSeen(card, "CARD", bytes(1_000), instant(1));
  const as = (size: number, modified: number) => {
    const role = "frame" as const;
    const one = {
      path: path("DCIM/a"),
      size: bytes(size),
      modified: instant(modified),
      role,
      frame: "f",
      why: "",
    };
    ledger.setCardFiles(card, [one], instant(2));
    return ledger.cardFiles(card)[0];
  };
  expect(as(100, 5)).toMatchObject({ original: "o1", trip, drives: [blue, slate] });
  expect(as(101, 5)).toMatchObject({ original: undefined, drives: [] });
  expect(as(100, 6)).toMatchObject({ original: undefined, drives: [] });
});

test("names of every kind come back as they were", () => {
  const names = [
    "a'b\"c",
    '"quoted',
    "line\nend",
    "Zu\u0308rich",
    "raw \udc80\udcff",
    "'; DROP TABLE cards; --",
  ];
  ledger.cardSeen(card, "CARD", bytes(1_000), instant(1));
  const files = names.map((name) => ({
    path: path(name),
    size: bytes(1),
    modified: instant(1),
    role: "extra" as const,
    frame: "",
    why: "",
  }));
  ledger.setCardFiles(card, files, instant(2));
  expect(new Set(ledger.cardFiles(card).map((each) => each.path))).toEqual(new Set(names));
  learn(...names.map((name, nth) => original(nth, `f${nth}`, name)));
  for (const name of names) expect(ledger.originalAt(trip, nameKey(name))?.path).toBe(name);
});

test("an alert that stands keeps its moment; one that goes and comes again is new again", () => {
  const alert = (happened: string): Alert => ({
    code: "drive-missing",
    severity: "warning",
    about: "kc/Rust",
    happened,
    safe: "",
    next: "",
  });
  expect(ledger.setAlerts([alert("owes 1")], instant(10))).toHaveLength(1);
  expect(ledger.setAlerts([alert("owes 2")], instant(20))).toHaveLength(0);
  expect(ledger.alerts()).toMatchObject([{ happened: "owes 2", since: 10 }]);
  expect(ledger.sayOnce("alert drive-missing kc/Rust", instant(20))).toBe(true);
  expect(ledger.sayOnce("alert drive-missing kc/Rust", instant(21))).toBe(false);
  expect(ledger.setAlerts([], instant(30))).toEqual([]);
  expect(ledger.setAlerts([alert("owes 3")], instant(40))).toMatchObject([{ since: 40 }]);
  expect(ledger.sayOnce("alert drive-missing kc/Rust", instant(40))).toBe(true);
});

test("a ledger of a later version is refused, not guessed at", () => {
  const db = new Database(file);
  db.pragma(`user_version = ${migrations.length + 1}`);
  db.close();
  expect(() => new SqliteLedger(file)).toThrow("later version");
});

test("a file that is no ledger is refused and stays as it was", () => {
  const other = join(folder, "notes.sqlite");
  const db = new Database(other);
  db.exec("CREATE TABLE originals (note TEXT); INSERT INTO originals VALUES ('mine')");
  db.close();
  expect(() => new SqliteLedger(other)).toThrow();
  const after = new Database(other);
  expect(after.prepare("SELECT note FROM originals").pluck().get()).toBe("mine");
  after.close();
});

test("one holder at a time, and the next may have it when it is released", () => {
  const lock = join(folder, "lock");
  const first = holdLock(lock);
  expect(first).toBeDefined();
  expect(holdLock(lock)).toBeUndefined();
  first?.release();
  const second = holdLock(lock);
  expect(second).toBeDefined();
  second?.release();
});
