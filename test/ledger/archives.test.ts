/** What the ledger knows of archives: from facts in any order, and what concerns this computer alone. */

import { expect, test } from "vitest";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";
import { encodeFact, journalLine, readJournal } from "../../daemon/record/journal.ts";
import type { Fact } from "../../shared/facts.ts";
import type {
  CardId,
  ContentHash,
  DriveId,
  OriginalId,
  RelativePath,
  TripId,
} from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { seeded } from "../core/seeded.ts";

const hashing = await createHashing();
const trip = "kc-test" as TripId;
const archive = "a".repeat(32);
const blue = "blue" as DriveId;
const path = (name: string) => `2027-06-05/${name}` as RelativePath;
const hash = (digit: string) => digit.repeat(16) as ContentHash;
const original = (nth: number): OriginalId => `original ${nth}` as OriginalId;

const base = (at: number) => ({ trip, at: instant(at) });
const originalFact = (nth: number): Fact => ({
  kind: "original",
  ...base(nth),
  original: original(nth),
  hash: hash(String(nth)),
  size: bytes(9),
  path: path(`${nth}.PNG`),
  role: "extra",
});
const archived = (at: number, ...numbers: readonly number[]): Fact => ({
  kind: "archived",
  ...base(at),
  archive,
  readBack: "direct",
  files: numbers.map((nth) => ({ path: path(`${nth}.PNG`), hash: hash(String(nth)), size: bytes(9) })),
});
const home = (at: number, complete: boolean): Fact => ({
  kind: "home",
  ...base(at),
  archives: [archive],
  complete,
});
const copy = (at: number, nth: number): Fact => ({
  kind: "copy",
  ...base(at),
  original: original(nth),
  drive: blue,
  path: path(`${nth}.PNG`),
  readBack: "direct",
});

const encoded = (facts: readonly Fact[]) => facts.map((fact) => encodeFact(fact, hashing));

function ledgerOf(...facts: readonly Fact[]): SqliteLedger {
  const ledger = new SqliteLedger(":memory:");
  ledger.learn(encoded(facts));
  return ledger;
}

test("a trip is home from the complete homecoming on, until an original comes that no archive holds", () => {
  const facts = [originalFact(1), originalFact(2), archived(10, 1), home(11, false)];
  const ledger = ledgerOf(...facts);
  expect([ledger.archives.isHome(trip), ledger.archives.home(trip)?.complete]).toEqual([false, false]);
  ledger.apply(encoded([archived(20, 2), home(21, true)]));
  expect([ledger.archives.isHome(trip), ledger.archives.home(trip)?.complete]).toEqual([true, true]);
  ledger.apply(encoded([originalFact(3)]));
  expect(ledger.archives.isHome(trip)).toBe(false);
  ledger.apply(encoded([archived(30, 3), home(31, true)]));
  expect(ledger.archives.isHome(trip)).toBe(true);
});

test("what an archive holds is nowhere no more, and without one it is", () => {
  const ledger = ledgerOf(originalFact(1), originalFact(2), archived(10, 1));
  expect(ledger.nowhere().map((row) => row.path)).toEqual([path("2.PNG")]);
});

test("a drive that was freed holds nothing of the trip, whatever is learnt of it later", () => {
  const drive: Fact = { kind: "drive", ...base(1), drive: blue, name: "Blue" };
  const retired: Fact = { kind: "drive-retired", ...base(9), drive: blue };
  const ledger = ledgerOf(originalFact(1), drive, copy(5, 1), retired);
  expect([ledger.copiesOn(blue, trip), ledger.archives.retiredNames(trip)]).toEqual([[], ["Blue"]]);
  ledger.learn(encoded([copy(12, 1)]));
  expect([ledger.hasCopy(original(1), blue), ledger.archives.isRetired(blue, trip)]).toEqual([false, true]);
});

test("facts in any order and more than once make the same archives", () => {
  const facts = [
    originalFact(1),
    originalFact(2),
    archived(10, 1),
    archived(20, 1, 2),
    home(11, false),
    home(21, true),
  ];
  const told = ledgerOf(...facts);
  for (let seed = 1; seed <= 30; seed += 1) {
    const random = seeded(seed);
    const shuffled = [...facts, ...facts]
      .map((fact) => ({ fact, at: random.below(1_000) }))
      .sort((a, b) => a.at - b.at)
      .map(({ fact }) => fact);
    const learnt = new SqliteLedger(":memory:");
    for (const fact of encoded(shuffled)) learnt.learn([fact]);
    expect(learnt.archives.archived(archive, trip), `seed ${seed}`).toEqual(
      told.archives.archived(archive, trip),
    );
    expect(learnt.archives.home(trip), `seed ${seed}`).toEqual(told.archives.home(trip));
  }
});

test("what was last seen of an original is the drive that verified it last, else the card that showed it", () => {
  const sighting: Fact = {
    kind: "sighting",
    ...base(3),
    card: "0123456789abcdef" as CardId,
    path: "DCIM/1.PNG" as RelativePath,
    fingerprint: { size: bytes(9), modified: instant(0), ends: hash("e") },
    original: original(1),
    damage: "it ends before its last strip",
  };
  const ledger = ledgerOf(originalFact(1), sighting);
  expect(ledger.archives.lastSeen(original(1))).toEqual({ drive: undefined, card: "0123456789abcdef" });
  expect(ledger.archives.brokenAtSource(trip)).toEqual([
    { path: path("1.PNG"), why: "it ends before its last strip" },
  ]);
  ledger.apply(
    encoded([
      copy(5, 1),
      { kind: "checked", ...base(8), drive: blue, readBack: "direct", originals: [original(1)] },
    ]),
  );
  expect(ledger.archives.lastSeen(original(1)).drive).toEqual({ id: blue, at: 8 });
  ledger.apply(encoded([{ kind: "drive-lost", ...base(9), drive: blue }]));
  expect(ledger.archives.lastSeen(original(1)).drive).toEqual({ id: blue, at: 5 });
});

test("a journal carries archives, homecomings and freed drives, and refuses paths that leave the trip's folder", () => {
  const facts = encoded([
    archived(10, 1),
    home(11, true),
    { kind: "drive-retired", ...base(12), drive: blue },
  ]);
  const text = new TextEncoder().encode(facts.map(journalLine).join(""));
  expect(readJournal(text, hashing).facts.map(({ fact }) => fact.kind)).toEqual([
    "archived",
    "home",
    "drive-retired",
  ]);
  const leaving = archived(10, 1);
  if (leaving.kind !== "archived") throw new Error("it is");
  const files = [{ path: "../x" as RelativePath, hash: hash("1"), size: bytes(9) }];
  const line = journalLine(encodeFact({ ...leaving, files }, hashing));
  expect(readJournal(new TextEncoder().encode(line), hashing)).toMatchObject({ facts: [], spoilt: 1 });
});

test("places, trees, looks and receipts are kept by this computer", () => {
  const { archives } = new SqliteLedger(":memory:");
  expect(archives.place("/archive")).toBeUndefined();
  archives.setPlace("/archive", { archive, fsId: "1111" });
  archives.setTree(archive, trip, "2027/Kestrel Cliffs" as RelativePath);
  expect(archives.place("/archive")).toEqual({ archive, fsId: "1111" });
  expect(archives.tree(archive, trip)).toBe("2027/Kestrel Cliffs");
  const seen = {
    path: path("1.PNG"),
    hash: hash("1"),
    size: bytes(9),
    modified: instant(-5),
    at: instant(7),
  };
  archives.see(archive, trip, [seen]);
  expect(archives.seen(archive, trip)).toEqual([seen]);
  archives.keepReceipt(trip, instant(1), "{}");
  archives.setReusable(trip, blue, "mark");
  expect([archives.receipt(trip), archives.reusable(trip, blue)]).toEqual(["{}", "mark"]);
  archives.forgetReusable(trip);
  expect(archives.reusable(trip, blue)).toBeUndefined();
});
