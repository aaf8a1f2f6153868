/** The ledger's answers about frames: order, days, pages, looks whatever the order they are learnt in, older ledgers. */

import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { expect, onTestFinished, test } from "vitest";
import { migrations } from "../../daemon/ledger/migrations.ts";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";
import { encodeFact } from "../../daemon/record/journal.ts";
import type { Fact } from "../../shared/facts.ts";
import type {
  CardId,
  ContentHash,
  DriveId,
  FrameId,
  OriginalId,
  RelativePath,
  TripId,
} from "../../shared/identity.ts";
import { bytes, count, instant } from "../../shared/units.ts";

const hashing = await createHashing();
const trip = "kc-test" as TripId;

function newLedger(file = ":memory:"): SqliteLedger {
  const ledger = new SqliteLedger(file);
  onTestFinished(() => ledger.close());
  return ledger;
}

const encoded = (facts: readonly Fact[]) => facts.map((fact) => encodeFact(fact, hashing));

function original(nth: number, moment: number, day: string, extension = "CRW", size = 10): Fact {
  const stem = `${day}/KC-${String(nth).padStart(5, "0")}` as RelativePath;
  return {
    kind: "original",
    trip,
    at: instant(1),
    original: `original ${nth} ${extension}` as OriginalId,
    hash: "0123456789abcdef" as ContentHash,
    size: bytes(size),
    path: `${stem}.${extension}` as RelativePath,
    role: "frame",
    frame: {
      id: `frame ${nth}` as FrameId,
      stem,
      key: "",
      count: 0,
      taken: { instant: moment, local: `${day}T10:00:00.000`, day, basis: "trip-zone", camera: "" },
      letter: "A",
      serial: "",
      model: "",
    },
  };
}

const look = (nth: number, at: number, fine: boolean): Fact => ({
  kind: "look",
  trip,
  at: instant(at),
  frame: `frame ${nth}` as FrameId,
  fine,
});

test("frames come by day, moment and name, a page at a time, and days are counted", () => {
  const ledger = newLedger();
  ledger.apply(
    encoded([
      original(1, 300, "2027-06-04"),
      original(2, 100, "2027-06-05"),
      original(3, 200, "2027-06-04"),
      original(4, 200, "2027-06-04"),
      original(4, 200, "2027-06-04", "JPG", 5),
    ]),
  );
  const order = (day: string | undefined, from: number, most: number) =>
    ledger.frames.page(trip, day, count(from), count(most)).map(({ id }) => id);
  expect(order(undefined, 0, 9)).toEqual(["frame 3", "frame 4", "frame 1", "frame 2"]);
  expect(order(undefined, 1, 2)).toEqual(["frame 4", "frame 1"]);
  expect(order("2027-06-05", 0, 9)).toEqual(["frame 2"]);
  expect(ledger.frames.latestFirst(trip, count(0), count(2))).toEqual(["frame 2", "frame 1"]);
  expect(ledger.frames.days(trip)).toEqual([
    { day: "2027-06-04", frames: 3, files: 4, bytes: 35 },
    { day: "2027-06-05", frames: 1, files: 1, bytes: 10 },
  ]);
  expect([ledger.frames.count(trip, undefined), ledger.frames.count(trip, "2027-06-04")]).toEqual([4, 3]);
  // The same facts once more change nothing.
  ledger.apply(encoded([original(4, 200, "2027-06-04")]));
  ledger.learn(encoded([original(4, 200, "2027-06-04", "JPG", 5)]));
  expect(ledger.frames.count(trip, undefined)).toBe(4);
});

test("a page holds files with their copies and what was said of the frame", () => {
  const ledger = newLedger();
  const drive = "blue" as DriveId;
  ledger.apply(
    encoded([
      original(1, 100, "2027-06-04"),
      {
        kind: "copy",
        trip,
        at: instant(7),
        original: "original 1 CRW" as OriginalId,
        drive,
        path: "2027-06-04/moved.CRW" as RelativePath,
        readBack: "direct",
      },
      look(1, 5, true),
    ]),
  );
  const [frame] = ledger.frames.page(trip, undefined, count(0), count(1));
  expect(frame).toMatchObject({ fine: true, rating: undefined });
  expect(frame?.files[0]?.copies).toEqual([
    { drive, path: "2027-06-04/moved.CRW", readBack: "direct", checked: 7 },
  ]);
  const row = {
    path: "2027-06-04/KC-00001.xmp" as RelativePath,
    size: bytes(9),
    modified: instant(3),
    hash: "f".repeat(16) as ContentHash,
    rating: 4.5,
  };
  const id = "frame 1" as FrameId;
  ledger.frames.setSidecars(new Map([[id, row]]));
  expect(ledger.frames.sidecars([id]).get(id)).toEqual(row);
  expect(ledger.frames.byId([id])[0]?.rating).toBe(4.5);
  ledger.frames.setSidecars(new Map([[id, undefined]]));
  expect(ledger.frames.sidecars([id]).size).toBe(0);
});

test("the latest look holds in whatever order looks are learnt; of two at one moment, the doubt", () => {
  const looks = [look(1, 5, false), look(1, 9, true), look(1, 9, false), look(1, 7, true)];
  for (const order of [looks, [...looks].reverse(), [looks[2], looks[0], looks[3], looks[1]]]) {
    const ledger = newLedger();
    const facts = order.filter((fact) => fact !== undefined);
    ledger.learn(encoded([...facts.slice(0, 2), original(1, 100, "2027-06-04")]));
    ledger.learn(encoded(facts.slice(2)));
    expect(ledger.frames.byId(["frame 1" as FrameId])[0]?.fine).toBe(false);
    expect(ledger.frames.doubted()).toMatchObject([{ frame: "frame 1", cards: [] }]);
    expect(ledger.frames.lastLook("frame 1" as FrameId)).toBe(9);
  }
});

test("a card's files tell at once that one of its frames is in doubt, and that it isn't any more", () => {
  const ledger = newLedger();
  const card = "card, with a comma" as CardId;
  const path = "DCIM/100ABCDE/ABCD0001.CRW" as RelativePath;
  const fingerprint = { size: bytes(10), modified: instant(1), ends: "0".repeat(16) as ContentHash };
  ledger.apply(
    encoded([
      { kind: "card", trip, at: instant(1), card, label: "", number: 1 },
      original(1, 100, "2027-06-04"),
      {
        kind: "sighting",
        trip,
        at: instant(2),
        card,
        path,
        fingerprint,
        original: "original 1 CRW" as OriginalId,
      },
    ]),
  );
  ledger.setCardFiles(
    card,
    [{ path, size: bytes(10), modified: instant(1), role: "frame", frame: "1", why: "" }],
    instant(3),
  );
  const doubted = () => ledger.cardFiles(card).map((file) => file.doubted);
  expect(doubted()).toEqual([false]);
  ledger.apply(encoded([look(1, 5, false)]));
  expect(doubted()).toEqual([true]);
  expect(ledger.frames.doubted()[0]?.cards).toEqual([card]);
  ledger.apply(encoded([look(1, 6, true)]));
  expect(doubted()).toEqual([false]);
  expect(ledger.frames.ofDay(trip, "2027-06-04")).toEqual([
    { id: "frame 1", letter: "A", local: "2027-06-04T10:00:00.000", cards: [card] },
  ]);
});

test("a ledger from before frames were shown has their order and days after it is opened", () => {
  const folder = mkdtempSync(join(tmpdir(), "scrubjay-ledger-"));
  onTestFinished(() => rmSync(folder, { recursive: true }));
  const file = join(folder, "ledger.sqlite");
  const db = new Database(file);
  for (const step of migrations.slice(0, 2)) db.exec(step);
  db.pragma("user_version = 2");
  const taken = JSON.stringify({
    instant: 77,
    local: "2027-06-04T10:00:00.000",
    day: "2027-06-04",
    basis: "trip-zone",
    camera: "",
  });
  db.prepare(
    `INSERT INTO frames (id, trip, stem, stem_key, key, count, day, letter, serial, model, taken)
     VALUES ('frame 1', ?, 'a/b', 'a/b', '', 0, '2027-06-04', 'A', '', '', ?)`,
  ).run(trip, taken);
  db.prepare(
    `INSERT INTO originals (id, trip, hash, size, path, path_key, role, frame, at)
     VALUES ('original 1', ?, 'h', 12, 'a/b.CRW', 'a/b.crw', 'frame', 'frame 1', 1)`,
  ).run(trip);
  db.close();
  const ledger = newLedger(file);
  expect(ledger.frames.days(trip)).toEqual([{ day: "2027-06-04", frames: 1, files: 1, bytes: 12 }]);
  expect(ledger.frames.page(trip, undefined, count(0), count(9)).map(({ id }) => id)).toEqual(["frame 1"]);
});
