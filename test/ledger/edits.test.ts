/** Whatever the order in which facts about work files are learnt, a ledger knows the same versions, holders and conflicts. */

import { expect, test } from "vitest";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";
import type { EncodedFact } from "../../daemon/ports/ledger.ts";
import { encodeFact } from "../../daemon/record/journal.ts";
import type { Fact } from "../../shared/facts.ts";
import {
  type ContentHash,
  type DriveId,
  nameKey,
  type RelativePath,
  type TripId,
} from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { type Seeded, seeded } from "../core/seeded.ts";

const hashing = await createHashing();
const trip = "kc-test" as TripId;
const drives = ["blue", "slate", "rust"] as DriveId[];
const paths = ["2027-06-05/a.xmp", "2027-06-05/A.XMP", "Notes/day 1.txt"] as RelativePath[];

function life(roll: Seeded): readonly EncodedFact[] {
  const facts: EncodedFact[] = [];
  const versions: { readonly id: string; readonly path: RelativePath }[] = [];
  const tell = (fact: Fact): string => {
    const encoded = encodeFact(fact, hashing);
    facts.push(encoded);
    return encoded.id;
  };
  for (let step = 1; step <= 40; step += 1) {
    const at = instant(step * 10);
    const drive = roll.pick(drives);
    const what = roll.below(10);
    const path = roll.pick(paths);
    const known = versions.filter((each) => nameKey(each.path) === nameKey(path));
    if (what < 5 || known.length === 0) {
      const after = [
        ...new Set(
          [known.at(-1), roll.below(4) === 0 ? known.at(-2) : undefined].flatMap((each) => each?.id ?? []),
        ),
      ];
      const gone = roll.below(6) === 0;
      const hash = (gone ? "" : `content ${roll.below(9)}`.padEnd(16, "0").slice(0, 16)) as ContentHash | "";
      const id = tell({
        kind: "edit",
        trip,
        at,
        path,
        hash,
        size: bytes(gone ? 0 : step),
        modified: instant(step),
        drive,
        after,
      });
      versions.push({ id, path });
    } else if (what < 8)
      tell({ kind: "edit-copy", trip, at, edit: roll.pick(known).id, drive, readBack: "direct" });
    else if (what < 9) tell({ kind: "edit-seen", trip, at, edit: roll.pick(known).id });
    else if (roll.below(10) === 0) tell({ kind: "drive-lost", trip, at, drive });
  }
  return facts;
}

function known({ edits }: SqliteLedger) {
  const summary = edits.summary(trip);
  return {
    heads: edits
      .heads(trip)
      .map((head) => ({ ...head, after: head.after.toSorted(), drives: head.drives.toSorted() })),
    conflicts: edits.conflicts(trip).map(({ id }) => id),
    summary: { ...summary, held: [...summary.held].sort() },
    copies: paths.map((path) =>
      [...edits.ofPath(trip, nameKey(path)).copies].map(([drive, ids]) => [drive, [...ids].sort()]).sort(),
    ),
  };
}

test("facts of work files in any order, in any parts and more than once make the same versions, holders and conflicts", () => {
  let conflicts = 0;
  for (let seed = 1; seed <= 60; seed += 1) {
    const roll = seeded(seed);
    const facts = life(roll);
    const told = new SqliteLedger(":memory:");
    for (const fact of facts) told.apply([fact]);
    const mixed = [...facts, ...facts.slice(0, 10)]
      .map((each) => ({ each, at: roll.below(1_000_000) }))
      .sort((a, b) => a.at - b.at)
      .map(({ each }) => each);
    const learnt = new SqliteLedger(":memory:");
    learnt.learn(mixed.slice(0, 15));
    // What is asked in between is not remembered wrongly.
    known(learnt);
    learnt.learn(mixed);
    expect(known(learnt), `seed ${seed}`).toEqual(known(told));
    conflicts += known(told).conflicts.length;
    told.close();
    learnt.close();
  }
  expect(conflicts).toBeGreaterThan(10);
});

test("how files looked is remembered by drive and trip, and forgotten with a lost drive", () => {
  const ledger = new SqliteLedger(":memory:");
  const look = {
    path: paths[0] as RelativePath,
    size: bytes(3),
    modified: instant(5),
    hash: "0".repeat(16) as ContentHash,
  };
  const [blue, slate] = drives as [DriveId, DriveId];
  ledger.edits.setLooks(
    blue,
    trip,
    new Map([
      ["a", look],
      ["b", look],
    ]),
  );
  ledger.edits.setLooks(blue, trip, new Map([["b", undefined]]));
  expect([...ledger.edits.looks(blue, trip)]).toEqual([["a", look]]);
  expect(ledger.edits.looks(slate, trip).size).toBe(0);
  ledger.apply([encodeFact({ kind: "drive-lost", trip, at: instant(9), drive: blue }, hashing)]);
  expect(ledger.edits.looks(blue, trip).size).toBe(0);
});

test("what is being put in place is known until it is ended", () => {
  const ledger = new SqliteLedger(":memory:");
  const [drive] = drives as [DriveId];
  const swap = {
    drive,
    trip,
    path: "Kestrel Cliffs/a.xmp" as RelativePath,
    earlier: undefined,
    temp: ".scrubjay/incoming/1.part" as RelativePath,
    size: bytes(3),
    modified: instant(5),
    unit: "u",
  };
  const numbers = ledger.edits.intendSwaps([
    swap,
    { ...swap, earlier: "x" as RelativePath, temp: undefined },
  ]);
  expect(ledger.edits.swaps(drive).map(({ number }) => number)).toEqual(numbers);
  expect(ledger.edits.swaps(drive)[0]).toEqual({ ...swap, number: numbers[0] });
  ledger.edits.endSwaps(numbers);
  expect(ledger.edits.swaps(drive)).toEqual([]);
});
