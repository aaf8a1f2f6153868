/** Where frames are filed: nothing of other content ever shares a path, and nothing known is filed twice. */

import { expect, test } from "vitest";
import {
  type FiledOriginal,
  type FilingView,
  fileExtra,
  fileFrame,
  type Placed,
  type ReadFile,
  type WantedFrame,
} from "../../daemon/core/filing.ts";
import type { FrameOfOriginal } from "../../shared/facts.ts";
import {
  type ContentHash,
  type FrameId,
  nameKey,
  type OriginalId,
  type RelativePath,
} from "../../shared/identity.ts";
import { bytes } from "../../shared/units.ts";

const taken = {
  instant: 0,
  local: "2027-06-03T18:10:00.000",
  day: "2027-06-03",
  basis: "trip-zone" as const,
  camera: "2027:06:03 18:06:40",
};

function read(content: string, extension: string, role: ReadFile["role"] = "frame"): ReadFile {
  return { hash: content as ContentHash, size: bytes(content.length), role, extension };
}

function wanted(stem: string, key = ""): WantedFrame {
  return {
    stem: stem as RelativePath,
    frame: { key, count: 1, taken, letter: "A", serial: "1", model: "Aldine R2" },
  };
}

/** What is filed so far, growing as a trip does. */
class Shelf implements FilingView {
  readonly #filed: FiledOriginal[] = [];

  file(files: readonly ReadFile[], want: WantedFrame, sibling?: FrameOfOriginal): readonly string[] {
    return this.#keep(files, fileFrame(files, want, sibling, this));
  }

  extra(content: string, path: string): string {
    const file = read(content, path, "extra");
    return this.#keep([file], [fileExtra(file, this)])[0] ?? "";
  }

  get paths(): readonly string[] {
    return this.#filed.map((each) => each.path);
  }

  frameOf(path: string): FrameOfOriginal | undefined {
    return this.#filed.find((each) => each.path === path)?.frame;
  }

  originalAt(key: string) {
    return this.#filed.find((each) => nameKey(each.path) === key);
  }
  frameFilesByContent(hash: ContentHash, size: number) {
    return this.#filed.filter((each) => each.role === "frame" && each.hash === hash && each.size === size);
  }
  frameFiles(frame: FrameId) {
    return this.#filed.filter((each) => each.frame?.id === frame);
  }
  framesByKey(key: string) {
    return this.#frames()
      .filter((frame) => frame.key === key)
      .map((frame) => frame.id);
  }
  frameByStem(stemKey: string) {
    return this.#frames().find((frame) => nameKey(frame.stem) === stemKey)?.id;
  }

  #frames(): FrameOfOriginal[] {
    return this.#filed.map((each) => each.frame).filter((frame) => frame !== undefined);
  }

  #keep(files: readonly ReadFile[], places: readonly Placed[]): readonly string[] {
    return places.map((place, index) => {
      if (place.kind === "existing") return `= ${place.original.path}`;
      const file = files[index];
      if (file === undefined) throw new Error("as many places as files");
      const { hash, size, role } = file;
      const { path, frame } = place;
      const id = path as string as OriginalId;
      const withId = frame === undefined ? undefined : { id: frame.stem as string as FrameId, ...frame };
      this.#filed.push({ id, hash, size, path, role, frame: withId });
      return path;
    });
  }
}

test("all files of a frame get one name", () => {
  const shelf = new Shelf();
  const files = [read("raw", ".NEF"), read("jpeg", ".JPG"), read("memo", ".WAV", "companion")];
  expect(shelf.file(files, wanted("d/KC-A0421"))).toEqual([
    "d/KC-A0421.NEF",
    "d/KC-A0421.JPG",
    "d/KC-A0421.WAV",
  ]);
});

test("another frame under the same name gets a number, the same in all its files, even where only one clashes", () => {
  const shelf = new Shelf();
  shelf.file([read("first", ".JPG")], wanted("d/KC-A0001"));
  const second = [read("second raw", ".NEF"), read("second", ".JPG")];
  expect(shelf.file(second, wanted("d/KC-A0001"))).toEqual(["d/KC-A0001-2.NEF", "d/KC-A0001-2.JPG"]);
  expect(shelf.file([read("third", ".MOV")], wanted("d/KC-A0001"))).toEqual(["d/KC-A0001-3.MOV"]);
});

test("the same frame again, from whatever card and under whatever name, is the one that is filed", () => {
  const shelf = new Shelf();
  shelf.file([read("raw", ".NEF"), read("jpeg", ".JPG")], wanted("d/KC-A0001"));
  expect(shelf.file([read("raw", ".NEF"), read("jpeg", ".JPG")], wanted("e/KC-B7777"))).toEqual([
    "= d/KC-A0001.NEF",
    "= d/KC-A0001.JPG",
  ]);
  expect(shelf.paths).toHaveLength(2);
});

test("raw on one card and JPEG of the same frame on another end under one name, by what the camera says", () => {
  const shelf = new Shelf();
  const key = "serial, number and moment";
  shelf.file([read("raw", ".NEF")], wanted("d/KC-A0421", key));
  expect(shelf.file([read("jpeg", ".JPG")], wanted("d/KC-A0421", key))).toEqual(["d/KC-A0421.JPG"]);
});

test("without the camera's word, a raw and a JPEG of one wanted name stay two frames", () => {
  const shelf = new Shelf();
  shelf.file([read("raw", ".NEF")], wanted("d/KC-A0421"));
  expect(shelf.file([read("jpeg", ".JPG")], wanted("d/KC-A0421"))).toEqual(["d/KC-A0421-2.JPG"]);
});

test("one number in two folders of one second is two frames, although the camera says the same of both", () => {
  const shelf = new Shelf();
  const key = "serial, number and moment";
  shelf.file([read("one", ".JPG")], wanted("d/KC-A0001", key));
  expect(shelf.file([read("two", ".JPG")], wanted("d/KC-A0001", key))).toEqual(["d/KC-A0001-2.JPG"]);
});

test("two frames with equal sidecars or empty files stay two frames", () => {
  const shelf = new Shelf();
  shelf.file([read("one", ".JPG"), read("same", ".xmp", "companion"), read("", ".NEF")], wanted("d/A"));
  expect(
    shelf.file([read("two", ".JPG"), read("same", ".xmp", "companion"), read("", ".NEF")], wanted("d/B")),
  ).toEqual(["d/B.JPG", "d/B.xmp", "d/B.NEF"]);
});

test("a file that joins a frame on the same card takes that frame's name, not the one it would get today", () => {
  const shelf = new Shelf();
  shelf.file([read("raw", ".NEF")], wanted("d/KC-A0421-2"));
  const sibling = shelf.frameOf("d/KC-A0421-2.NEF");
  expect(shelf.file([read("memo", ".WAV", "companion")], wanted("d/KC-A0421"), sibling)).toEqual([
    "d/KC-A0421-2.WAV",
  ]);
});

test("names that differ only in case or in normal form are one name on a drive, so the later one gets a number", () => {
  // RFC 8493 section 6.1 and UAX #15; exFAT compares without case (exFAT specification 7.2.5).
  const shelf = new Shelf();
  shelf.file([read("one", ".JPG")], wanted("d/Zu\u0308rich"));
  expect(shelf.file([read("two", ".jpg")], wanted("d/Z\u00fcRICH"))).toEqual(["d/Z\u00fcRICH-2.jpg"]);
});

test("extensions of one frame that differ only in case don't share a name", () => {
  const shelf = new Shelf();
  expect(shelf.file([read("one", ".JPG"), read("two", ".jpg")], wanted("d/A"))).toEqual([
    "d/A.JPG",
    "d/A-2.jpg",
  ]);
});

test("an extra keeps its path; the same bytes there are it, other bytes get a number", () => {
  const shelf = new Shelf();
  expect(shelf.extra("index", "extras/DCIM/X.IDX")).toBe("extras/DCIM/X.IDX");
  expect(shelf.extra("index", "extras/DCIM/X.IDX")).toBe("= extras/DCIM/X.IDX");
  expect(shelf.extra("other", "extras/DCIM/X.IDX")).toBe("extras/DCIM/X-2.IDX");
  expect(shelf.extra("index", "extras/MISC/X.IDX")).toBe("extras/MISC/X.IDX");
});

test("whatever comes in whatever order, no two contents ever share a path and no file is lost", () => {
  let state = 7;
  const random = (below: number): number => {
    state = (state * 1_103_515_245 + 12_345) % 2_147_483_648;
    return state % below;
  };
  for (let round = 0; round < 50; round += 1) {
    const shelf = new Shelf();
    const contents = new Set<string>();
    for (let nth = 0; nth < 40; nth += 1) {
      const extensions = [".NEF", ".JPG", ".jpg", ".WAV"].filter(() => random(2) === 0);
      const files = extensions.map((each) => {
        const content = `bytes ${random(30)}`;
        contents.add(content);
        return read(content, each, each === ".WAV" ? "companion" : "frame");
      });
      const want = wanted(
        `d/${["A", "a", "B"][random(3)]}${random(3)}`,
        random(2) === 0 ? "" : `key ${random(4)}`,
      );
      const places = shelf.file(files, want);
      expect(places).toHaveLength(files.length);
    }
    const keys = shelf.paths.map(nameKey);
    expect(new Set(keys).size).toBe(keys.length);
    for (const content of contents)
      expect(shelf.paths.some((path) => shelf.originalAt(nameKey(path))?.hash === content)).toBe(true);
  }
});
