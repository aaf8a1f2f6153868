/**
 * The card generator itself: what demo and tests stand on must be what it claims. Its files are judged by the formats'
 * own rules and by general tools, not by the daemon.
 */

import { spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { mkdtempSync, readFileSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { decode } from "jpeg-js";
import { afterAll, beforeAll, expect, test, vi } from "vitest";
import { groupFrames } from "../../daemon/core/cardLayout.ts";
import { leavingReason } from "../../daemon/core/leavings.ts";
import { readProfile } from "../../daemon/core/profile.ts";
import { relativePath } from "../../shared/identity.ts";
import { bytes } from "../../shared/units.ts";
import { type CardFile, generateCard, nextEvening, profileText, tinyCard } from "./generate/card.ts";

// Painting takes its time on a busy machine. ms
vi.setConfig({ testTimeout: 60_000, hookTimeout: 60_000 });

let place: string;
let card: string;
let files: readonly CardFile[];

beforeAll(() => {
  place = mkdtempSync(join(tmpdir(), "scrubjay-generator-"));
  card = join(place, "card");
  files = generateCard(card, tinyCard);
});
afterAll(() => rmSync(place, { recursive: true }));

const content = (path: string): Buffer => readFileSync(join(card, path));
const ending = (extension: string): string[] =>
  files.map((file) => file.path).filter((path) => path.endsWith(extension));
const digest = (path: string): string => createHash("sha256").update(readFileSync(path)).digest("hex");

test("the same options write the same bytes, and no two frames are alike", () => {
  const again = join(place, "again");
  expect(generateCard(again, tinyCard)).toEqual(files);
  for (const { path } of files) expect(digest(join(again, path)), path).toBe(digest(join(card, path)));
  expect(new Set(files.map((file) => digest(join(card, file.path)))).size).toBe(files.length);
});

test("both bodies write the same base names, as bodies that count alike do", () => {
  const names = (folder: string): string[] =>
    ending(".DNG")
      .filter((path) => path.includes(folder))
      .map((path) => path.slice(-12));
  expect(names("100ALDIN")).toEqual(names("101ALDIM"));
  expect(names("100ALDIN")).toHaveLength(tinyCard.pairsPerBody);
});

test("the card is grouped as it was meant", () => {
  const kept = files.filter((file) => leavingReason(relativePath(file.path), "file") === undefined);
  const of = (role: CardFile["role"]): string[] => files.filter((f) => f.role === role).map((f) => f.path);
  const grouped = groupFrames(
    kept.map((file) => ({ path: relativePath(file.path), size: bytes(file.bytes) })),
  );
  const inFrames = grouped.frames.flatMap((frame) => frame.files);
  expect(grouped.frames).toHaveLength(2 * tinyCard.pairsPerBody + 1);
  expect(inFrames.filter((f) => f.role === "frame").map((f) => f.path)).toEqual(of("frame").sort());
  expect(inFrames.filter((f) => f.role === "companion").map((f) => f.path)).toEqual(of("companion"));
  expect(grouped.extras).toEqual(of("extra").sort());
  expect(files.length - kept.length).toBe(of("leaving").length);
});

test("a body's counter and its moments go the same way, from the evening past midnight", () => {
  for (const folder of ["100ALDIN", "101ALDIM"]) {
    const moments = files.flatMap((f) => (f.path.includes(folder) && f.taken ? [f.taken.instant] : []));
    expect(moments).toEqual([...moments].sort((a, b) => a - b));
    expect(moments[0]).toBeGreaterThan(Date.parse("2027-06-03T18:00:00+01:00"));
    expect(moments.at(-1)).toBeGreaterThan(Date.parse("2027-06-04T00:00:00+01:00"));
    expect(moments.at(-1)).toBeLessThan(Date.parse("2027-06-04T02:30:00+01:00"));
  }
});

test("file times lie in whole steps of two seconds, as on FAT", () => {
  // File Times (Microsoft): FAT's write time has a resolution of 2 s.
  for (const { path } of files) expect(statSync(join(card, path)).mtimeMs % 2000, path).toBe(0);
});

test("the next evening is another card of the same world", () => {
  const second = generateCard(join(place, "second"), nextEvening(tinyCard));
  expect(second).toHaveLength(files.length);
  const first = new Set(ending(".DNG"));
  expect(second.filter((file) => first.has(file.path))).toEqual([]);
  for (const file of second) {
    if (file.taken) expect(file.taken.instant).toBeGreaterThan(Date.parse("2027-06-04T18:00:00+01:00"));
  }
});

test("pictures decode to the size they say", () => {
  for (const path of ending(".JPG")) {
    const picture = decode(content(path), { useTArray: true });
    expect([picture.width, picture.height]).toEqual([tinyCard.long, tinyCard.short]);
    // Sky above, sea below: not one grey field.
    const [top, bottom] = [picture.data.subarray(0, 3), picture.data.subarray(-4, -1)];
    expect([...top]).not.toEqual([...bottom]);
  }
});

test("every container's sizes add up", () => {
  for (const path of ending(".WAV")) {
    // RIFF: size = file size - 8, and a data chunk that ends with the file.
    const wav = content(path);
    expect(wav.readUInt32LE(4)).toBe(wav.length - 8);
    expect(wav.readUInt32LE(40)).toBe(wav.length - 44);
  }
  for (const path of ending(".MOV")) {
    // ISO/IEC 14496-12, 4.2: sizes of the outer boxes add up to the file's.
    const mov = content(path);
    const types: string[] = [];
    let at = 0;
    while (at < mov.length) {
      types.push(mov.toString("latin1", at + 4, at + 8));
      at += mov.readUInt32BE(at);
    }
    expect(at).toBe(mov.length);
    expect(types).toEqual(["ftyp", "mdat", "moov"]);
  }
  for (const path of ending(".DNG")) {
    // TIFF 6.0, section 2: sorted tags; every strip lies in the file.
    for (const [at, size] of stripsOf(content(path)))
      expect(at + size).toBeLessThanOrEqual(content(path).length);
    expect(stripsOf(content(path))).toHaveLength(2);
  }
});

const hasFfprobe = spawnSync("ffprobe", ["-version"]).status === 0;
test.skipIf(!hasFfprobe)("a general player opens films and memos (needs ffprobe)", () => {
  for (const path of [...ending(".MOV"), ...ending(".WAV")]) {
    const shown = spawnSync(
      "ffprobe",
      [
        "-v",
        "error",
        "-count_frames",
        "-show_entries",
        "stream=codec_name,nb_read_frames",
        "-of",
        "csv=p=0",
        join(card, path),
      ],
      { encoding: "utf8" },
    );
    expect(shown.stderr).toBe("");
    expect(shown.stdout.trim()).toMatch(
      path.endsWith(".MOV") ? `mjpeg,${tinyCard.filmPictures}` : /^pcm_s16le,/,
    );
  }
});

test("the profile for these drives has no faults", () => {
  const read = readProfile(
    profileText({ drives: ["Blue", "Slate", "Rust"], copies: 3, archive: "/archive" }),
  );
  expect(read.faults.filter((fault) => fault.severity === "error")).toEqual([]);
  expect(readProfile(profileText({ drives: ["Blue", "Slate"], copies: 2 })).profile?.goal.copies).toBe(2);
});

/** Offset and size of each strip of a little-endian TIFF, sub-IFDs included. */
function stripsOf(tiff: Buffer): [number, number][] {
  const strips: [number, number][] = [];
  const walk = (at: number): void => {
    const tags = new Map<number, number>();
    let before = 0;
    for (let n = 0; n < tiff.readUInt16LE(at); n += 1) {
      const entry = at + 2 + n * 12;
      const tag = tiff.readUInt16LE(entry);
      expect(tag).toBeGreaterThan(before);
      before = tag;
      tags.set(tag, tiff.readUInt32LE(entry + 8));
    }
    const [offset, size, sub] = [tags.get(273), tags.get(279), tags.get(330)];
    if (offset !== undefined && size !== undefined) strips.push([offset, size]);
    if (sub !== undefined) walk(sub);
  };
  expect(tiff.toString("latin1", 0, 2)).toBe("II");
  walk(tiff.readUInt32LE(4));
  return strips;
}
