/**
 * Whether archives hold what they must, and whether the receipt says so, found out by general tools alone: sha256sum,
 * xxhsum, exiftool, sqlite3 and find. None of the project's code.
 */

import { strict as assert } from "node:assert";
import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import type { ReceiptJson } from "../../shared/homeApi.ts";
import { sha256Below, xxhsumAgrees } from "../support/generalTools.ts";
import { readSidecar, rowsOf, type SidecarValues } from "./editor.ts";

export interface Expected {
  /** Each value is the SHA-256 of an original that must stand once; keys tell equal ones apart. */
  readonly originals: ReadonlyMap<string, string>;
  /** What sidecars say, by path below the trip's folder. */
  readonly sidecars: ReadonlyMap<string, SidecarValues>;
  /** SHA-256 of other work files, by path. */
  readonly others: ReadonlyMap<string, string>;
  readonly catalogue: { readonly path: string; readonly rows: number };
  readonly conflicts: number;
  /** Drives that may be reused, and no others. */
  readonly reusable: readonly string[];
}

/** @throws where an archive or the receipt isn't as expected */
export function checkHome(archives: readonly string[], receipt: ReceiptJson, expected: Expected): void {
  assert.equal(receipt.complete, true, receipt.headline);
  assert.deepEqual(receipt.missing, []);
  assert.deepEqual(receipt.damage, []);
  assert.equal(receipt.expected.files, expected.originals.size, "files expected");
  assert.equal(receipt.found.files, expected.originals.size, "files found");
  assert.equal(receipt.targets.length, archives.length);
  assert.equal(receipt.conflicts.length, expected.conflicts);
  const reusable = receipt.drives.filter(({ mayBeReused }) => mayBeReused).map(({ drive }) => drive);
  assert.deepEqual([...reusable].sort(), [...expected.reusable].sort(), "drives that may be reused");
  assert.match(receipt.cautions, /drives fail/i);
  for (const [nth, archive] of archives.entries()) checkArchive(archive, receipt, nth, expected);
}

function checkArchive(archive: string, receipt: ReceiptJson, nth: number, expected: Expected): void {
  const target = receipt.targets[nth];
  const tripFolder = join(archive, "2027/Kestrel Cliffs");
  assert.equal(target?.tripFolder, tripFolder);
  assert.equal(target?.done, true, target?.why);
  const sums = new Map(sha256Below(tripFolder));
  assert.ok(sums.delete("checksums.xxh64"), "the archive has its list");
  assert.equal(
    xxhsumAgrees(tripFolder),
    sums.size,
    "xxhsum agrees about every file, and none is missing in the list",
  );

  const works = new Set([...expected.sidecars.keys(), ...expected.others.keys(), expected.catalogue.path]);
  for (const [path, sum] of expected.others) assert.equal(sums.get(path), sum, path);
  for (const [path, values] of expected.sidecars)
    assert.deepEqual(readSidecar(join(tripFolder, path)), values, path);
  assert.equal(rowsOf(join(tripFolder, expected.catalogue.path)), expected.catalogue.rows);

  const wanted = [...expected.originals.values()];
  const strangers = [...sums].filter(([path, sum]) => {
    const at = works.has(path) ? 0 : wanted.indexOf(sum);
    if (at >= 0 && !works.has(path)) wanted.splice(at, 1);
    return at < 0;
  });
  assert.deepEqual(strangers, [], "nothing else stands there");
  assert.deepEqual(wanted, [], "every original stands there once");
  assert.equal(target?.edits, works.size, "work files");
  assert.equal(
    target.copied.files + target.there.files,
    expected.originals.size,
    "originals copied and there",
  );
  assert.ok(target.receipt !== null && existsSync(target.receipt), "the receipt stands beside the folder");
  assert.match(readFileSync(target.receipt, "utf8"), /Kestrel Cliffs/);
}
