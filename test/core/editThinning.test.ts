/** Which earlier versions of work files are let go: never one that is kept for a reason, and no more than must. */

import { expect, test } from "vitest";
import { type KeptVersion, thinOut } from "../../daemon/core/edits/thinning.ts";
import type { RelativePath } from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { seeded } from "./seeded.ts";

const day = 86_400_000;
const now = 1_812_000_000_000;
const dayOf = (at: number) => new Date(at).toISOString().slice(0, 10);
const kept = (ago: number, size = 10, keep = false, work = "a.xmp"): KeptVersion => ({
  path: `earlier/${work}/${now - ago} ${size}` as RelativePath,
  work: work as RelativePath,
  at: instant(now - ago),
  day: dayOf(now - ago),
  size: bytes(size),
  keep,
});
const thin = (versions: readonly KeptVersion[], room: number) => thinOut(versions, instant(now), bytes(room));

test("all of the last day stays; before that the last of each day, file by file", () => {
  // Within the day that begins at midnight UTC: now is 05:20.
  const hour = 3_600_000;
  const last = [kept(4 * day), kept(3 * day, 10, false, "b.xmp"), kept(hour), kept(2 * hour), kept(0)];
  const before = [kept(4 * day + hour), kept(4 * day + 2 * hour)];
  expect(new Set(thin([...last, ...before], 1_000))).toEqual(new Set(before));
  // Of one day with the one that stays, and less than a day old.
  expect(thin([kept(day - 1), kept(day - 2)], 1_000)).toEqual([]);
});

test("over its share the oldest go, and never what is kept for a reason", () => {
  const versions = [kept(9 * day, 10, true), kept(8 * day), kept(7 * day), kept(10)];
  expect(thin(versions, 25).map(({ at }) => (now - at) / day)).toEqual([8, 7]);
  expect(thin(versions, 40)).toEqual([]);
  expect(thin(versions, 0)).not.toContain(versions[0]);
});

test("whatever is there: reasons hold, each goes once, and no more goes than must", () => {
  for (let seed = 1; seed <= 300; seed += 1) {
    const random = seeded(seed);
    const versions = Array.from({ length: random.below(25) }, (_, nth) =>
      kept(
        random.below(5 * day) - (random.below(9) === 0 ? 2 * day : 0),
        1 + random.below(20) + nth / 1_000,
        random.below(6) === 0,
        random.pick(["a.xmp", "b.xmp"]),
      ),
    );
    const room = random.below(300);
    const gone = thin(versions, room);
    const stays = versions.filter((each) => !gone.includes(each));
    const sum = (of: readonly KeptVersion[]) => of.reduce((all, { size }) => all + size, 0);
    const label = `seed ${seed}`;
    expect(
      gone.some(({ keep }) => keep),
      label,
    ).toBe(false);
    expect(new Set(gone).size, label).toBe(gone.length);
    expect(sum(stays) <= room || stays.every(({ keep }) => keep), label).toBe(true);
    // With room for all, every day and file that had a version has one.
    const days = (of: readonly KeptVersion[]) => new Set(of.map((each) => `${each.work} ${each.day}`));
    expect(days(versions.filter((each) => !thin(versions, 1e9).includes(each))), label).toEqual(
      days(versions),
    );
    for (const each of thin(versions, 1e9)) expect(now - each.at, label).toBeGreaterThan(day);
  }
});
