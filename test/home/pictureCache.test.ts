/** Pictures kept on this computer: bounded, found again after a restart, and harmless whatever stands in their folder. */

import { mkdirSync, readdirSync, statSync, symlinkSync, writeFileSync } from "node:fs";
import { mkdtemp, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { FolderPictureCache } from "../../daemon/home/pictureCache.ts";
import { absolutePath, type FrameId } from "../../shared/identity.ts";
import { bytes } from "../../shared/units.ts";

let root = absolutePath("");
beforeEach(async () => {
  root = absolutePath(await mkdtemp(join(tmpdir(), "scrubjay-previews-")));
});
afterEach(() => rm(root, { recursive: true, force: true }));

const id = (nth: number): FrameId => `frame ${nth}` as FrameId;

/** SOI and EOI (ITU-T T.81) around `size` bytes in all. */
function picture(size: number, fill = 7): Uint8Array {
  const jpeg = new Uint8Array(size).fill(fill);
  jpeg.set([0xff, 0xd8], 0);
  jpeg.set([0xff, 0xd9], size - 2);
  return jpeg;
}

const open = (most = 1_000_000) => FolderPictureCache.open(root, bytes(most));
const files = (): string[] =>
  readdirSync(join(root, "previews"), { recursive: true, encoding: "utf8" }).filter((name) =>
    name.endsWith(".jpg"),
  );

test("what was kept is found, by frame and size, also after a restart, and is this user's alone", async () => {
  const cache = await open();
  await cache.put(id(1), "sheet", picture(100));
  await cache.put(id(1), "large", picture(200));
  for (const each of [cache, await open()]) {
    expect([each.has(id(1), "sheet"), each.has(id(2), "sheet")]).toEqual([true, false]);
    expect((await each.get(id(1), "sheet"))?.length).toBe(100);
    expect((await each.get(id(1), "large"))?.length).toBe(200);
    expect(await each.get(id(2), "sheet")).toBeUndefined();
  }
  // POSIX mode bits: nobody else lists or reads.
  expect(statSync(join(root, "previews")).mode & 0o077).toBe(0);
  for (const name of files()) expect(statSync(join(root, "previews", name)).mode & 0o077).toBe(0);
});

test("it stays within its bound, and what was used longest ago goes first", async () => {
  const cache = await open(1_000);
  for (let nth = 1; nth <= 9; nth += 1) await cache.put(id(nth), "sheet", picture(100));
  await cache.get(id(1), "sheet");
  await cache.put(id(10), "sheet", picture(100));
  await cache.put(id(11), "sheet", picture(100));
  expect(cache.has(id(1), "sheet")).toBe(true);
  expect(cache.has(id(2), "sheet")).toBe(false);
  const total = files().reduce((sum, name) => sum + statSync(join(root, "previews", name)).size, 0);
  expect(total).toBeLessThanOrEqual(1_000);
  await cache.put(id(12), "sheet", picture(5_000));
  expect(cache.has(id(12), "sheet")).toBe(false);
  // A restart with less room makes room, in the same order.
  const smaller = await open(300);
  expect(smaller.has(id(11), "sheet")).toBe(true);
  expect(files().length).toBeLessThanOrEqual(3);
});

test("damaged, foreign and linked files are no pictures and cost nothing else", async () => {
  const cache = await open();
  for (const nth of [1, 2, 3, 4]) await cache.put(id(nth), "sheet", picture(100));
  const [first = "", second = "", third = ""] = files();
  writeFileSync(join(root, "previews", first), new Uint8Array(100));
  writeFileSync(join(root, "previews", second), picture(60));
  await rm(join(root, "previews", third));
  writeFileSync(join(root, "secret"), picture(100));
  symlinkSync(join(root, "secret"), join(root, "previews", third));
  mkdirSync(join(root, "previews/ff/folder.jpg"), { recursive: true });
  writeFileSync(join(root, "previews/stranger"), "not ours");
  for (const each of [cache, await open()]) {
    const found = await Promise.all([1, 2, 3, 4].map((nth) => each.get(id(nth), "sheet")));
    const good = found.filter((jpeg) => jpeg !== undefined);
    expect(good.length).toBeLessThanOrEqual(2);
    for (const jpeg of good) expect([jpeg[0], jpeg.at(-1)]).toEqual([0xff, 0xd9]);
  }
  await cache.put(id(1), "sheet", picture(100));
  expect((await cache.get(id(1), "sheet"))?.length).toBe(100);
  expect(readdirSync(join(root, "previews"))).toContain("stranger");
});

test("what is no whole JPEG isn't kept, and a folder that can't be made costs nothing but the keeping", async () => {
  const cache = await open();
  await cache.put(id(1), "sheet", new Uint8Array(50));
  expect(cache.has(id(1), "sheet")).toBe(false);
  writeFileSync(join(root, "file"), "");
  const none = await FolderPictureCache.open(absolutePath(join(root, "file")), bytes(1_000));
  await none.put(id(1), "sheet", picture(100));
  expect([none.has(id(1), "sheet"), await none.get(id(1), "sheet")]).toEqual([false, undefined]);
});

test("a folder that is a link is left alone: nothing is read, written or removed where it leads", async () => {
  const elsewhere = join(root, "elsewhere");
  mkdirSync(elsewhere);
  symlinkSync(elsewhere, join(root, "previews"));
  const linked = await open();
  await linked.put(id(1), "sheet", picture(100));
  expect([linked.has(id(1), "sheet"), readdirSync(elsewhere)]).toEqual([false, []]);
  await rm(join(root, "previews"));

  const cache = await open();
  await cache.put(id(1), "sheet", picture(100));
  const [kept = ""] = files();
  const below = join(root, "previews", kept.slice(0, 2));
  await rm(below, { recursive: true });
  symlinkSync(elsewhere, below);
  const foreign = join(elsewhere, kept.slice(3));
  writeFileSync(foreign, picture(100));
  // One that was linked while it ran, one that finds the link, one after the other.
  for (const each of [cache, await open()]) {
    expect(await each.get(id(1), "sheet")).toBeUndefined();
    await each.put(id(1), "sheet", picture(60));
    expect(each.has(id(1), "sheet")).toBe(false);
  }
  expect(readdirSync(elsewhere)).toEqual([kept.slice(3)]);
  expect(statSync(foreign).size).toBe(100);
});
