/** Where files go in an archive: what is there is recognised, numbers go to whole frames, nothing is ever given twice. */

import { expect, test } from "vitest";
import {
  type HomeItem,
  numbered,
  type Placement,
  placeAll,
  type Standing,
} from "../../daemon/core/homePlacing.ts";
import { type ContentHash, nameKey, type RelativePath } from "../../shared/identity.ts";
import { bytes } from "../../shared/units.ts";
import { seeded } from "./seeded.ts";

const hashOf = (content: string) => content.padStart(16, "0") as ContentHash;

function item(
  path: string,
  content: string,
  stem = path.replace(/\.[^/]*$/, ""),
  more: Partial<HomeItem> = {},
): HomeItem {
  const group = { stem: stem as RelativePath, together: false };
  return { path: path as RelativePath, hash: hashOf(content), size: bytes(9), group, work: false, ...more };
}

const stands = (path: string, content: string, ours?: Standing["ours"]): Standing => ({
  path: path as RelativePath,
  hash: hashOf(content),
  size: bytes(9),
  ours,
});

const put = (path: string, instead?: "earlier" | "damaged"): Placement => ({
  what: "put",
  path: path as RelativePath,
  instead,
});
const there = (path: string): Placement => ({ what: "there", path: path as RelativePath });

test("a free name is taken, the same content is there already, also under another name", () => {
  const items = [item("d/a.NEF", "1"), item("d/b.NEF", "2"), item("d/c.NEF", "3")];
  expect(placeAll(items, [stands("d/b.NEF", "2"), stands("best.NEF", "3")])).toEqual([
    put("d/a.NEF"),
    there("d/b.NEF"),
    there("best.NEF"),
  ]);
});

test("one taken name numbers the whole frame, its sidecars too, and the next homecoming finds them there", () => {
  const items = [
    item("d/a.NEF", "1"),
    item("d/a.JPG", "2"),
    item("d/a.xmp", "3", "d/a", { work: true }),
    item("d/a.NEF.xmp", "4", "d/a", { work: true }),
  ];
  const taken = stands("d/A.jpg", "other");
  const placed = placeAll(items, [taken]);
  expect(placed).toEqual([put("d/a-2.NEF"), put("d/a-2.JPG"), put("d/a-2.xmp"), put("d/a-2.NEF.xmp")]);
  const after = placed.map(({ path }, nth) => stands(path, String(nth + 1)));
  expect(placeAll(items, [taken, ...after])).toEqual(placed.map(({ path }) => there(path)));
});

test("a number that another file of the trip wants by itself isn't given", () => {
  const items = [item("d/a.NEF", "1"), item("d/a-2.NEF", "2")];
  expect(placeAll(items, [stands("d/a.NEF", "other")])).toEqual([put("d/a-3.NEF"), put("d/a-2.NEF")]);
});

test("an earlier version gives way to a work file, to an original it doesn't; what is damaged gives way to both", () => {
  const work = item("d/a.xmp", "5", "d/a", { work: true });
  expect(placeAll([work], [stands("d/a.xmp", "4", "earlier")])).toEqual([put("d/a.xmp", "earlier")]);
  expect(placeAll([work], [stands("d/a.xmp", "4")])).toEqual([put("d/a-2.xmp")]);
  expect(placeAll([item("d/a.NEF", "1")], [stands("d/a.NEF", "0", "earlier")])).toEqual([put("d/a-2.NEF")]);
  expect(placeAll([item("d/a.NEF", "1")], [stands("d/a.NEF", "0", "damaged")])).toEqual([
    put("d/a.NEF", "damaged"),
  ]);
});

test("a catalogue stands under one number or none: where one of its files can't, all go beside", () => {
  const group = { stem: "Catalogue" as RelativePath, together: true };
  const items = [
    item("Catalogue/a.db", "1", "", { work: true, group }),
    item("Catalogue/sub/b.bin", "2", "", { work: true, group }),
  ];
  const standing = [stands("Catalogue/a.db", "edited at home"), stands("Catalogue/sub/b.bin", "2")];
  expect(placeAll(items, standing)).toEqual([put("Catalogue-2/a.db"), put("Catalogue-2/sub/b.bin")]);
  expect(placeAll(items, [stands("Catalogue/a.db", "0", "earlier"), standing[1] as Standing])).toEqual([
    put("Catalogue/a.db", "earlier"),
    there("Catalogue/sub/b.bin"),
  ]);
});

test("a sidecar that stands elsewhere is of no use there: it is put beside its frame", () => {
  const work = item("d/a.xmp", "5", "d/a", { work: true });
  expect(placeAll([work], [stands("old/a.xmp", "5")])).toEqual([put("d/a.xmp")]);
});

test("empty files are never taken for one another", () => {
  const empty = { size: bytes(0) };
  const items = [item("d/a.TXT", "e", "d/a", empty)];
  expect(placeAll(items, [{ ...stands("x.TXT", "e"), ...empty }])).toEqual([put("d/a.TXT")]);
});

test("two memos of the same bytes are two files; one that stands elsewhere serves one of them", () => {
  const items = [item("d/a.WAV", "1"), item("d/b.WAV", "1")];
  expect(placeAll(items, [stands("memo.WAV", "1")])).toEqual([there("memo.WAV"), put("d/b.WAV")]);
});

test("a number goes behind the stem, and a long name gives way in its middle", () => {
  expect(numbered("d/a.NEF.xmp" as RelativePath, "d/a" as RelativePath, 3)).toBe("d/a-3.NEF.xmp");
  const long = `d/${"x".repeat(251)}.NEF` as RelativePath;
  const name = numbered(long, long.slice(0, -4) as RelativePath, 12).slice(2);
  expect(name.length).toBeLessThanOrEqual(255);
  expect(name.endsWith("-12.NEF")).toBe(true);
});

test("whatever stands there, no two files get one place, and nothing is put over anything but what may give way", () => {
  const random = seeded(20270620);
  const { pick, below } = random;
  const names = ["a", "A", "b", "a-2", "c"];
  const ends = [".NEF", ".JPG", ".xmp", ".NEF.xmp"];
  for (let nth = 0; nth < 3_000; nth += 1) {
    const items = Array.from({ length: 1 + below(6) }, () => {
      const name = pick(names);
      return item(`d/${name}${pick(ends)}`, pick(["1", "2", "3"]), `d/${name}`, { work: below(3) === 0 });
    });
    const paths = new Map<string, Standing>();
    for (let count = below(6); count > 0; count -= 1) {
      const each = stands(
        `d/${pick(names)}${pick(ends)}`,
        pick(["1", "2", "3", "4"]),
        pick([[undefined], [undefined], ["earlier"], ["damaged"]] as const)[0],
      );
      paths.set(nameKey(each.path), each);
    }
    const placed = placeAll(items, [...paths.values()]);
    const keys = placed.map(({ path }) => nameKey(path));
    expect(new Set(keys).size).toBe(items.length);
    for (const [index, placement] of placed.entries()) {
      const standing = paths.get(nameKey(placement.path));
      if (placement.what === "there") expect(standing?.hash).toBe(items[index]?.hash);
      else expect([placement.instead, standing?.ours]).toEqual([standing?.ours, placement.instead]);
    }
  }
});
