/**
 * Earlier versions of work files on a whole engine: thinned out as far as the rules go and no further; and what a new
 * computer learns of versions, holders and conflicts from one drive's record.
 */

import { readdirSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { versionName } from "../../daemon/engine/edits/swap.ts";
import { nameKey, type RelativePath } from "../../shared/identity.ts";
import { instant } from "../../shared/units.ts";
import type { Bench } from "./bench.ts";
import { away, back, filedAs, newComputer, rebuild, tripId } from "./pictures.ts";
import { contentOf, earlierOf, historyOf, onAway, onDrive, put, settled, threeDrives } from "./workFiles.ts";

const sidecar = filedAs(1).replace(".PNG", ".xmp");
const day = 86_400_000;

/** An earlier version as it was put there so long ago; at noon of its day in the trip's zone, and minutes later. */
function putEarlier(bench: Bench, drive: string, path: string, daysAgo: number, minutes: number): string {
  const noon = Math.floor((Date.now() - daysAgo * day) / day) * day + day / 2;
  const name = `${versionName(instant(noon + minutes * 60_000))}.xmp`;
  put(join(earlierOf(bench, drive, path), name), `${daysAgo} days ago, ${minutes}`);
  return name;
}

test("the history is thinned to the last of each day, and what isn't an earlier version of ours stays", async () => {
  const bench = await threeDrives();
  put(onDrive(bench, "Blue", sidecar), "rating 1");
  await settled(bench);
  for (const minutes of [0, 1, 2])
    for (const days of [3, 5]) putEarlier(bench, "Rust", sidecar, days, minutes);
  const foreign = ["notes.xmp", "20270605T2115.xmp"];
  for (const name of foreign) writeFileSync(join(earlierOf(bench, "Rust", sidecar), name), name);
  put(onDrive(bench, "Blue", sidecar), "rating 2");
  await settled(bench);
  expect([...historyOf(bench, "Rust", sidecar)].sort()).toEqual(
    ["3 days ago, 2", "5 days ago, 2", "rating 1", ...foreign].sort(),
  );
  expect(historyOf(bench, "Slate", sidecar)).toEqual(["rating 1"]);
});

test("the last version of what was deleted is never thinned away, nor anything while two are in conflict", async () => {
  const bench = await threeDrives();
  const [trip] = bench.trips();
  bench.trip(`${trip?.text ?? ""}edits: { history: 0 % }\n`);
  bench.engine.refresh();
  const deleted = "Notes/day 1.xmp";
  put(onDrive(bench, "Blue", deleted), "puffins");
  put(onDrive(bench, "Blue", "Notes/day 2.xmp"), "terns");
  put(onDrive(bench, "Blue", sidecar), "rating 1", new Date("2027-06-05T20:00:00Z"));
  await settled(bench);
  rmSync(onDrive(bench, "Blue", deleted));
  await settled(bench);
  await away(bench, "Rust");
  put(onAway(bench, "Rust", sidecar), "in the car", new Date("2027-06-06T22:00:00Z"));
  put(onDrive(bench, "Blue", sidecar), "by the window", new Date("2027-06-06T20:00:00Z"));
  await settled(bench);
  await back(bench, "Rust");
  await settled(bench);
  put(onDrive(bench, "Blue", "Notes/day 2.xmp"), "terns and skuas");
  await settled(bench);
  for (const drive of ["Slate", "Rust"]) {
    // Without any room for a history.
    expect(historyOf(bench, drive, "Notes/day 2.xmp"), drive).toEqual([]);
    expect(historyOf(bench, drive, deleted), drive).toEqual(["puffins"]);
    expect(historyOf(bench, drive, sidecar), drive).toContain("by the window");
  }
});

/** What is known of the trip's work files, in an order of its own. */
function known(bench: Bench, paths: readonly string[]) {
  const { edits } = bench.engine.ports.ledger;
  return {
    conflicts: edits.conflicts(tripId).map(({ id }) => id),
    heads: edits
      .heads(tripId)
      .map(({ id, path, hash, drives }) => ({ id, path, hash, drives: drives.toSorted() })),
    paths: paths.map((path) => {
      const { versions, copies } = edits.ofPath(tripId, nameKey(path as RelativePath));
      return {
        versions: versions.map(({ id, after }) => [id, after.toSorted()]),
        copies: [...copies].map(([drive, ids]) => [drive, [...ids].sort()]).sort(),
      };
    }),
  };
}

test("a new computer knows versions, holders and conflicts again from one drive, and does nothing over", async () => {
  const bench = await threeDrives();
  const paths = [sidecar, "Notes/day 1.txt", "Notes/day 2.txt"];
  put(onDrive(bench, "Blue", sidecar), "rating 1", new Date("2027-06-05T20:00:00Z"));
  for (const path of paths.slice(1)) put(onDrive(bench, "Blue", path), path);
  await settled(bench);
  rmSync(onDrive(bench, "Blue", paths[1] ?? ""));
  await settled(bench);
  await away(bench, "Rust");
  put(onAway(bench, "Rust", sidecar), "in the car", new Date("2027-06-06T22:00:00Z"));
  put(onDrive(bench, "Blue", sidecar), "by the window", new Date("2027-06-06T20:00:00Z"));
  await settled(bench);
  await back(bench, "Rust");
  await settled(bench);
  const before = known(bench, paths);
  const histories = () => ["Blue", "Slate", "Rust"].map((drive) => historyOf(bench, drive, sidecar));
  const kept = histories();
  expect(before.conflicts).toHaveLength(1);

  await newComputer(bench, "Slate");
  expect(bench.engine.ports.ledger.edits.heads(tripId)).toEqual([]);
  await rebuild(bench, ["Slate"]);
  await bench.idle();
  expect(known(bench, paths)).toEqual(before);
  expect(statusJson(bench.engine).alerts.map(({ code }) => code)).toContain("work-conflict");

  await back(bench, "Blue", "Rust");
  await rebuild(bench, ["Blue", "Rust"]);
  await settled(bench);
  expect(known(bench, paths)).toEqual(before);
  for (const drive of ["Blue", "Slate", "Rust"])
    expect(contentOf(onDrive(bench, drive, sidecar)), drive).toBe("in the car");
  expect(histories()).toEqual(kept);
  // What changes from now on follows what was learnt.
  put(onDrive(bench, "Blue", sidecar), "at home");
  await settled(bench);
  expect(contentOf(onDrive(bench, "Rust", sidecar))).toBe("at home");
  expect(known(bench, paths).conflicts).toEqual(before.conflicts);
  expect(readdirSync(earlierOf(bench, "Rust", sidecar)).length).toBeGreaterThan(0);
});
