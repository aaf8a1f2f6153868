/**
 * What is on a card. The story: two bodies, a phone and a video camera each name their files in their own way; every
 * file must end in one place and no two files may be taken for one.
 */

import { expect, test } from "vitest";
import {
  cameraTrees,
  type GroupedCard,
  groupFrames,
  looksLikeCard,
  mainFile,
  mustLookInside,
} from "../../daemon/core/cardLayout.ts";
import { kindOfFile } from "../../daemon/core/fileKinds.ts";
import { type CardEntryKind, leavingReason } from "../../daemon/core/leavings.ts";
import { nameKey, relativePath } from "../../shared/identity.ts";
import { bytes } from "../../shared/units.ts";
import { seeded } from "../cards/generate/random.ts";

const group = (...paths: string[]): GroupedCard =>
  groupFrames(paths.map((path) => ({ path: relativePath(path), size: bytes(1) })));

/** `number: file extensions with the main one first`, one line a frame. */
const lines = (card: GroupedCard): string[] =>
  card.frames.map(
    (frame) => `${frame.stem} ${frame.number}: ${frame.files.map((f) => f.extension).join(" ")}`,
  );

test("files of one DCF directory with one file number are one frame", () => {
  // DCF (CIPA DC-009), DCF object: image, sound, thumbnail with the same number in the same directory.
  const d = "DCIM/100ALDIN/ALD_0421";
  const card = group(`${d}.JPG`, `${d}.DNG`, `${d}.WAV`, `${d}.THM`, `${d}.xmp`, `${d}.DNG.xmp`, `${d}.CTG`);
  expect(lines(card)).toEqual(["ALD_0421 0421: .DNG .JPG .WAV .DNG.xmp .xmp .THM .CTG"]);
  expect(card.extras).toEqual([]);
  expect(card.frames[0]?.files.map((file) => file.role)).toEqual([
    "frame",
    "frame",
    ...Array.from({ length: 5 }, () => "companion"),
  ]);
});

test("one number in two directories is two frames", () => {
  // DCF: an object lies within one directory. The name alone is never a key: counters wrap after 9999.
  const card = group("DCIM/100ABCDE/AAAA0001.JPG", "DCIM/101ABCDE/AAAA0001.JPG");
  expect(lines(card)).toEqual(["AAAA0001 0001: .JPG", "AAAA0001 0001: .JPG"]);
  expect(new Set(card.frames.map((frame) => frame.key)).size).toBe(2);
});

test("a raw and its picture with another first four characters are one object by number", () => {
  // DCF: the number ties, not the free characters; a leading `_` marks the optional colour space (DCF 2.0).
  expect(lines(group("DCIM/100ALDIN/_ALD0007.JPG", "DCIM/100ALDIN/ALDI0007.DNG"))).toEqual([
    "ALDI0007 0007: .DNG .JPG",
  ]);
});

test("two pictures of one number and one extension are two frames, each with its own files", () => {
  const d = "DCIM/100ALDIN";
  const card = group(`${d}/_ALD0007.JPG`, `${d}/ALDI0007.jpg`, `${d}/ALDI0007.DNG`, `${d}/ALDI0007.WAV`);
  expect(lines(card)).toEqual(["ALDI0007 0007: .DNG .jpg .WAV", "_ALD0007 0007: .JPG"]);
});

test("names that differ only in case stay apart, for a drive may take them for one", () => {
  // exFAT specification 7.7.3: names are compared without case.
  const card = group(
    "DCIM/100ALDIN/aldi0007.JPG",
    "DCIM/100ALDIN/ALDI0007.JPG",
    "DCIM/100ALDIN/ALDI0007.jpg",
  );
  expect(card.frames.map((frame) => frame.files.length)).toEqual([1, 1, 1]);
  expect(new Set(card.frames.map((frame) => frame.key)).size).toBe(3);
});

test("DCF is matched in any case and its limits are kept", () => {
  // DCF: directories 100 to 999 and five free characters; numbers 0001 to 9999.
  expect(lines(group("dcim/100aldin/ald_0421.dng", "dcim/100aldin/ALD_0421.JPG"))).toEqual([
    "ald_0421 0421: .dng .JPG",
  ]);
  // Number 0000 and directory 099 are invalid: then the stem ties.
  for (const folder of ["DCIM/100ALDIN", "DCIM/099ALDIN"]) {
    const card = group(`${folder}/_ALD0000.JPG`, `${folder}/ALDI0000.DNG`);
    expect(card.frames).toHaveLength(2);
  }
  expect(group("DCIM/099ALDIN/_ALD0001.JPG", "DCIM/099ALDIN/ALDI0001.DNG").frames).toHaveLength(2);
  expect(group("DCIM/100ALDIN/_ALD0001.JPG", "DCIM/100ALDIN/ALDI0001.DNG").frames).toHaveLength(1);
});

test("a sound alone is a frame, a sidecar or thumbnail alone is kept as an extra", () => {
  // DCF: an object need not hold an image.
  const card = group(
    "DCIM/100ALDIN/ALD_0001.WAV",
    "DCIM/100ALDIN/ALD_0002.XMP",
    "DCIM/100ALDIN/ALD_0003.THM",
  );
  expect(lines(card)).toEqual(["ALD_0001 0001: .WAV"]);
  expect(card.frames[0]?.files[0]?.role).toBe("frame");
  expect(card.extras).toEqual(["DCIM/100ALDIN/ALD_0002.XMP", "DCIM/100ALDIN/ALD_0003.THM"]);
});

test("both forms of sidecar go with their raw, in any case", () => {
  // XMP Specification part 3: `.xmp` in place of the extension; the appended form: from memory.
  const d = "DCIM/100ALDIN/AAAA0001";
  expect(lines(group(`${d}.RAW`, `${d}.JPG`, `${d}.XMP`, `${d}.raw.Xmp`, `${d}.JPG.xmp`))).toEqual([
    "AAAA0001 0001: .RAW .JPG .JPG.xmp .XMP .raw.Xmp",
  ]);
  expect(lines(group("DCIM/Tour/coast.view.jpg", "DCIM/Tour/coast.view.jpg.xmp"))).toEqual([
    "coast.view : .jpg .jpg.xmp",
  ]);
});

test("names outside DCF are frames by their stem, numbered by their last digits", () => {
  // Common practice of phones, drones and action cameras, no source.
  const card = group(
    "DCIM/Camera/IMG_20270603_101112.jpg",
    "DCIM/Camera/IMG_20270603_101112.dng",
    "DCIM/100ALDIN/photo.jpg",
    "DCIM/100MEDIA/clip7.MP4",
    "DCIM/100MEDIA/clip7.SRT",
    "DCIM/DJI_001/DJI_20270603101112_0021_D.JPG",
  );
  expect(lines(card)).toEqual([
    "photo : .jpg",
    "clip7 7: .MP4 .SRT",
    "IMG_20270603_101112 1112: .dng .jpg",
    "DJI_20270603101112_0021_D 0021: .JPG",
  ]);
});

test("chapters of one film are frames of their own", () => {
  // Common practice, no source: the chapter is in the free characters, the number is the film's.
  expect(lines(group("DCIM/100ALDIN/GX010421.MP4", "DCIM/100ALDIN/GX020421.MP4"))).toEqual([
    "GX010421 0421: .MP4",
    "GX020421 0421: .MP4",
  ]);
});

test("films of an M4ROOT tree are frames with their description, the rest of the tree is kept as it is", () => {
  // Common practice, no source.
  const m4 = "PRIVATE/M4ROOT";
  const card = group(
    `${m4}/CLIP/C0001.MP4`,
    `${m4}/CLIP/C0001M01.XML`,
    `${m4}/CLIP/C0009M01.XML`,
    `${m4}/SUB/C0001S03.MP4`,
    `${m4}/THMBNL/C0001T01.JPG`,
    `${m4}/MEDIAPRO.XML`,
  );
  expect(lines(card)).toEqual(["C0001 0001: .MP4 M01.XML"]);
  expect(card.extras).toHaveLength(4);
});

test("structures that only make sense whole, and pictures outside the camera's trees, are extras", () => {
  const paths = [
    "AVCHD/BDMV/STREAM/00001.MTS",
    "BPAV/CLPR/A/A.MP4",
    "CONTENTS/VIDEO/0001AB.MXF",
    "DCIM/.thumbnails/1.jpg",
    "DCIM/100ALDIN/._ALD_0001.JPG",
    "DCIM/ALDINE.IDX",
    "MISC/AUTPRINT.MRK",
    "PRIVATE/AVCHD/BDMV/STREAM/00000.MTS",
    "XDROOT/Clip/X.MXF",
    "logo.JPG",
  ];
  expect(group(...paths)).toEqual({ frames: [], extras: paths });
});

test("any set of files: each ends in one place, no extension twice in a frame, no key twice, order is nothing", () => {
  const random = seeded(20270603);
  const pick = <T>(from: readonly T[]): T => from[Math.floor(random() * from.length)] as T;
  const folders = [
    ...["DCIM/100ALDIN", "DCIM/101ALDIN", "dcim/100aldin", "DCIM/099ALDIN", "DCIM", "DCIM/a/b", "", "MISC"],
    ...["PRIVATE/M4ROOT/CLIP", "PRIVATE/M4ROOT/SUB", "MP_ROOT/100ANV01", "AVCHD/BDMV/STREAM", "DCIM/.x"],
  ];
  const stems = "ALD_0001 _ALD0001 ald_0001 ALDI0001 0001 C0001 C0001M01 x x.jpg ß SS é é ALD_0000 -rf".split(
    " ",
  );
  const ends = ".JPG .jpg .DNG .WAV .xmp .XMP .DNG.xmp .jpg.XMP .MP4 .XML .xml .THM .IDX  . .jpg.jpg".split(
    " ",
  );
  for (let round = 0; round < 300; round += 1) {
    const paths = new Set<string>();
    for (let n = Math.floor(random() * 40); n > 0; n -= 1) {
      const folder = pick(folders);
      paths.add(`${folder}${folder === "" ? "" : "/"}${pick(stems)}${pick(ends)}`);
    }
    const card = group(...paths);
    const placed = [...card.extras, ...card.frames.flatMap((frame) => frame.files.map((file) => file.path))];
    expect(placed.sort(), `round ${round}`).toEqual([...paths].sort());
    expect(new Set(card.frames.map((frame) => frame.key)).size).toBe(card.frames.length);
    for (const frame of card.frames) {
      const endings = frame.files.map((file) => nameKey(file.extension));
      expect(new Set(endings).size, `round ${round}: ${frame.key}`).toBe(endings.length);
      expect(mainFile(frame).role).toBe("frame");
      for (const file of frame.files) expect(file.path.endsWith(file.extension)).toBe(true);
    }
    expect(group(...[...paths].reverse())).toEqual(card);
  }
});

test("a volume is a card by its camera folders alone", () => {
  expect(looksLikeCard(["dcim"])).toBe(true);
  expect(looksLikeCard(["PRIVATE", "Private/m4root"])).toBe(true);
  expect(looksLikeCard(["CONTENTS", "CONTENTS/Video"])).toBe(true);
  expect(looksLikeCard(["CONTENTS", "PRIVATE", "Photos", "Photos/DCIM", ".scrubjay"])).toBe(false);
  expect(looksLikeCard([])).toBe(false);
  expect(["contents", "Private", "DCIM", "Photos"].filter(mustLookInside)).toEqual(["contents", "Private"]);
  for (const tree of cameraTrees) expect(looksLikeCard([tree.toLowerCase()])).toBe(true);
});

test("what systems leave behind is named, everything else is kept", () => {
  // Common practice, no single source; `.Trash-UID`: Trash specification 1.0 of freedesktop.org.
  const reason = (path: string, kind: CardEntryKind = "file", size?: number): string | undefined =>
    leavingReason(relativePath(path), kind, size === undefined ? undefined : bytes(size));
  const left = [
    reason(".Trashes", "folder"),
    reason(".Trashes/501/ALD_0001.JPG"),
    reason(".Trash-1000", "folder"),
    reason("System Volume Information/WPSettings.dat"),
    reason("$RECYCLE.BIN", "folder"),
    reason("DCIM/.DS_Store"),
    reason("DCIM/100ALDIN/._ALD_0001.JPG", "file", 4096),
    reason("DCIM/100ALDIN/Thumbs.db"),
    reason("DCIM/ALD_0001.JPG", "link"),
    reason("DCIM/pipe", "other"),
  ];
  expect(left.filter((each) => each === undefined)).toEqual([]);
  const kept = [
    reason("DCIM", "folder"),
    reason("DCIM/100ALDIN/ALD_0001.JPG"),
    reason("DCIM/100ALDIN/._ALD_0001.JPG", "file", 20_000_000),
    reason("FOUND.000", "folder"),
    reason("FOUND.000/FILE0000.CHK"),
    reason("lost+found", "folder"),
    reason(".hidden/ALD_0001.JPG"),
    reason(".Trashes"),
    reason("DCIM/.Trashes/ALD_0001.JPG"),
    reason("DCIM/.DS_Store", "folder"),
    reason(".Trash-holiday/ALD_0001.JPG"),
  ];
  expect(kept.filter((each) => each !== undefined)).toEqual([]);
});

test("kinds are found with or without a dot, in any case", () => {
  expect([".NEF", "jpg", ".Mp4", "WAV", ".XMP", ".thm", ".IDX", ""].map(kindOfFile)).toEqual([
    ...["raw", "picture", "video", "memo", "sidecar", "thumbnail", "other", "other"],
  ]);
});
