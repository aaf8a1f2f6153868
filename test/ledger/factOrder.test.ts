/** Whatever the order in which facts are learnt, a ledger knows the same: copies made, lost, checked and made again. */

import { expect, test } from "vitest";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";
import type { EncodedFact } from "../../daemon/ports/ledger.ts";
import { encodeFact } from "../../daemon/record/journal.ts";
import type { Fact } from "../../shared/facts.ts";
import type { ContentHash, DriveId, OriginalId, RelativePath, TripId } from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { seeded } from "../core/seeded.ts";

const hashing = await createHashing();
const trip = "kc-test" as TripId;
const drives = ["blue", "slate", "rust"] as DriveId[];
const originals = [1, 2, 3, 4].map((nth) => `original ${nth}` as OriginalId);
const pathOf = (original: OriginalId) => `2027-06-05/${original}.CRW` as RelativePath;

/** A life of copies as it might have been, told to a ledger as it happens. */
function history(random: () => number, told: SqliteLedger): readonly EncodedFact[] {
  const facts: EncodedFact[] = [];
  let now = 1_000;
  const tell = (fact: Fact) => {
    const encoded = encodeFact(fact, hashing);
    told.apply([encoded]);
    facts.push(encoded);
  };
  const pick = <T>(list: readonly T[]): T => list[Math.floor(random() * list.length)] as T;
  for (const original of originals)
    tell({
      kind: "original",
      trip,
      at: instant(now),
      original,
      hash: "0123456789abcdef" as ContentHash,
      size: bytes(9),
      path: pathOf(original),
      role: "extra",
    });
  for (let step = 0; step < 60; step += 1) {
    now += 1 + Math.floor(random() * 50);
    const base = { trip, at: instant(now), drive: pick(drives) };
    const original = pick(originals);
    const what = random();
    if (what < 0.55) {
      const path = (random() < 0.8 ? pathOf(original) : `moved/${step}.CRW`) as RelativePath;
      tell({ kind: "copy", ...base, original, path, readBack: "direct" });
    } else if (what < 0.8) {
      const copies = told.copyFacts(original, base.drive);
      if (copies.length > 0)
        tell({ kind: "loss", ...base, original, path: pathOf(original), why: "damaged", copies });
    } else if (what < 0.98) {
      tell({ kind: "checked", ...base, readBack: "cache", originals: [original, pick(originals)] });
    } else {
      tell({ kind: what < 0.99 ? "drive-lost" : "drive-retired", ...base });
    }
  }
  return facts;
}

function known(ledger: SqliteLedger) {
  return drives.map((drive) => ({
    copies: ledger.copiesOn(drive, trip),
    losses: ledger.losses(drive, trip),
  }));
}

function shuffled<T>(list: readonly T[], random: () => number): readonly T[] {
  return list
    .map((each) => ({ each, at: random() }))
    .sort((a, b) => a.at - b.at)
    .map(({ each }) => each);
}

test("facts in any order, in any parts and more than once make the same copies", () => {
  for (let seed = 1; seed <= 40; seed += 1) {
    const roll = seeded(seed);
    const random = () => roll.below(1_000_000) / 1_000_000;
    const told = new SqliteLedger(":memory:");
    const facts = history(random, told);
    const learnt = new SqliteLedger(":memory:");
    expect(learnt.learn(shuffled([...facts, ...facts.slice(0, 20)], random))).toBe(0);
    expect(known(learnt), `seed ${seed}`).toEqual(known(told));
    // As two drives' journals that each hold a part: originals stand in both.
    const halves = new SqliteLedger(":memory:");
    const isOriginal = ({ fact }: EncodedFact) => fact.kind === "original";
    const first = facts.filter((each, index) => isOriginal(each) || index % 2 === 0);
    halves.learn(shuffled(first, random));
    halves.learn(shuffled(facts, random));
    const where = (ledger: SqliteLedger) =>
      known(ledger).map(({ copies }) => copies.map(({ original, path }) => `${original} ${path}`));
    expect(where(halves), `seed ${seed}`).toEqual(where(told));
  }
});
