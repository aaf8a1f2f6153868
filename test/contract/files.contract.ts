/**
 * What every implementation of the file port promises, on whatever it stands: one suite, run over each place. What
 * differs between file systems is data (`Place`), never a branch on a name.
 */

import { afterAll, beforeAll, describe, expect, test } from "vitest";
import type { Files } from "../../daemon/ports/files.ts";
import { type AbsolutePath, absolutePath, relativePath, under } from "../../shared/identity.ts";
import { FileFault, type FileFaultCode } from "../../shared/problems.ts";
import { bytes, instant } from "../../shared/units.ts";

export interface Place {
  readonly name: string;
  /** Makes it, and answers its files and a folder for them. */
  readonly open: () => { readonly files: Files; readonly root: AbsolutePath; readonly close: () => void };
  /** ms. Modification times are kept to a multiple of this. */
  readonly timeStep: number;
  /** Any bytes make a name, not only text. */
  readonly holdsRawNames: boolean;
  /** Names that it can't hold. */
  readonly refusedNames: readonly string[];
}

/** The fault code that `act` fails with. */
export async function faultOf(act: Promise<unknown>): Promise<FileFaultCode | "no fault"> {
  try {
    await act;
    return "no fault";
  } catch (error) {
    if (error instanceof FileFault) return error.code;
    throw error;
  }
}

/** `length` bytes that repeat at no block's length. */
export function pattern(length: number, seed = 1): Uint8Array {
  return Uint8Array.from({ length }, (_, index) => (index * 31 + (index >> 8) * 7 + seed) & 0xff);
}

/** Writes a file through the port as the engine does. */
export async function put(
  files: Files,
  path: AbsolutePath,
  content: Uint8Array,
  modified = 1_812_000_000_000,
): Promise<void> {
  const handle = await files.createToWrite(path);
  await handle.write(content, 0);
  await handle.finish(instant(modified));
  await handle.close();
}

/** Reads a file for verification, block by block. */
export async function readBack(files: Files, path: AbsolutePath, blockBytes = 8192): Promise<Uint8Array> {
  const [block] = files.blocks(1, bytes(blockBytes));
  if (block === undefined) throw new Error("no block");
  const { handle } = await files.openToVerify(path);
  const parts: Uint8Array[] = [];
  try {
    for (let position = 0; ; position += blockBytes) {
      const length = await handle.read(block, position);
      parts.push(block.slice(0, length));
      if (length < blockBytes) return Buffer.concat(parts);
    }
  } finally {
    await handle.close();
  }
}

/** Registers the whole suite for one place. */
export function filesContract(place: Place): void {
  describe(`files on ${place.name}`, () => {
    let opened: ReturnType<Place["open"]>;
    let files: Files;
    let made = 0;
    const makeFolder = async (folder: AbsolutePath): Promise<void> => {
      const { device } = await files.facts(opened.root);
      await files.makeFolder(
        { root: opened.root, device },
        relativePath(folder.slice(opened.root.length + 1)),
      );
    };
    /** A fresh folder for each test. */
    const fresh = async (): Promise<AbsolutePath> => {
      made += 1;
      const folder = under(opened.root, `case ${made}`);
      await makeFolder(folder);
      return folder;
    };
    const text = async (path: AbsolutePath): Promise<string> =>
      Buffer.from(await files.readSmall(path, bytes(1000))).toString();

    beforeAll(() => {
      opened = place.open();
      files = opened.files;
    });
    afterAll(() => opened.close());

    test("an empty file and files around a block's edge read back as written", async () => {
      const folder = await fresh();
      for (const length of [0, 1, 511, 4095, 4096, 4097, 8191, 8192, 8193, 100_000]) {
        const path = under(folder, `${length}`);
        await put(files, path, pattern(length));
        expect(Buffer.from(await readBack(files, path)).equals(pattern(length)), `${length} bytes`).toBe(
          true,
        );
        expect((await files.facts(path)).size).toBe(length);
      }
    });

    test("a read fills its part of a block, also from the middle of the file", async () => {
      const path = under(await fresh(), "middle");
      await put(files, path, pattern(20_000));
      const [block] = files.blocks(1, bytes(8192));
      if (block === undefined) throw new Error("no block");
      const { handle } = await files.openToVerify(path);
      expect(await handle.read(block, 8192)).toBe(8192);
      expect(Buffer.from(block).equals(pattern(20_000).slice(8192, 16_384))).toBe(true);
      expect(await handle.read(block, 16_384)).toBe(20_000 - 16_384);
      expect(await handle.read(block, 24_576)).toBe(0);
      await handle.close();
    });

    test("blocks are as many and as large as asked, and don't overlap", () => {
      const blocks = files.blocks(3, bytes(5000));
      expect(blocks.map((block) => block.length)).toEqual([5000, 5000, 5000]);
      blocks.forEach((block, index) => {
        block.fill(index + 1);
      });
      expect(blocks.map((block) => block.every((value, _, all) => value === all[0]))).toEqual([
        true,
        true,
        true,
      ]);
      expect(blocks.map((block) => block[0])).toEqual([1, 2, 3]);
    });

    test("a file is created only where nothing stands", async () => {
      const path = under(await fresh(), "one");
      await put(files, path, pattern(10));
      expect(await faultOf(files.createToWrite(path))).toBe("exists");
      expect((await files.facts(path)).size).toBe(10);
    });

    test("a file in a folder that isn't there can't be created", async () => {
      expect(await faultOf(files.createToWrite(under(await fresh(), "no folder/one")))).toBe("missing");
    });

    test("a move never replaces: taken, and both files stay as they are", async () => {
      const folder = await fresh();
      await put(files, under(folder, "new"), Buffer.from("new"));
      await put(files, under(folder, "old"), Buffer.from("old"));
      expect(await files.moveNoReplace(under(folder, "new"), under(folder, "old"))).toBe("taken");
      expect(await text(under(folder, "old"))).toBe("old");
      expect(await text(under(folder, "new"))).toBe("new");
    });

    test("a move never replaces an empty folder either", async () => {
      const folder = await fresh();
      await put(files, under(folder, "new"), Buffer.from("new"));
      await makeFolder(under(folder, "taken"));
      expect(await files.moveNoReplace(under(folder, "new"), under(folder, "taken"))).toBe("taken");
      expect((await files.facts(under(folder, "taken"))).kind).toBe("folder");
    });

    test("a moved file stands under its new name only", async () => {
      const folder = await fresh();
      await makeFolder(under(folder, "a/b/c"));
      await put(files, under(folder, "new"), Buffer.from("new"));
      expect(await files.moveNoReplace(under(folder, "new"), under(folder, "a/b/c/final"))).toBe("moved");
      await files.flushFolder(under(folder, "a/b/c"));
      expect(await text(under(folder, "a/b/c/final"))).toBe("new");
      expect((await files.list(folder)).map((entry) => entry.name)).toEqual(["a"]);
    });

    test("moving what isn't there, or into a folder that isn't there, is missing", async () => {
      const folder = await fresh();
      expect(await faultOf(files.moveNoReplace(under(folder, "none"), under(folder, "to")))).toBe("missing");
      await put(files, under(folder, "one"), pattern(1));
      expect(await faultOf(files.moveNoReplace(under(folder, "one"), under(folder, "no/to")))).toBe(
        "missing",
      );
      expect((await files.facts(under(folder, "one"))).size).toBe(1);
    });

    test("folders are made with those above them, and one that exists is fine", async () => {
      const folder = await fresh();
      await makeFolder(under(folder, "x/y/z"));
      await makeFolder(under(folder, "x/y/z"));
      expect((await files.facts(under(folder, "x/y/z"))).kind).toBe("folder");
      await put(files, under(folder, "file"), pattern(1));
      expect(await faultOf(makeFolder(under(folder, "file")))).toBe("exists");
      expect(await faultOf(makeFolder(under(folder, "file/inner")))).not.toBe("no fault");
    });

    test("nothing is made where another file system stands, nor a root that has gone", async () => {
      const folder = await fresh();
      const inside = relativePath("a/b");
      expect(await faultOf(files.makeFolder({ root: folder, device: "another" }, inside))).toBe("gone");
      const { device } = await files.facts(folder);
      const gone = under(folder, "unplugged");
      expect(await faultOf(files.makeFolder({ root: gone, device }, inside))).toBe("gone");
      expect(await files.list(folder)).toEqual([]);
    });

    test("the longest names and odd ones are listed as they were made", async () => {
      const folder = await fresh();
      // 255 is NAME_MAX on Linux, and exFAT's limit in UTF-16 units (exFAT specification 1.00, section 7.7).
      const names = ["n".repeat(255), " lead", "-rf", "ß.JPG", "🐦.NEF", "%s'$`;&", ".hidden", "a.b.c"];
      for (const name of names) await put(files, under(folder, name), pattern(3));
      const listed = await files.list(folder);
      expect(listed.map((entry) => entry.name).sort()).toEqual([...names].sort());
      expect(new Set(listed.map((entry) => entry.kind))).toEqual(new Set(["file"]));
    });

    if (place.holdsRawNames) {
      test("names that are no text, or hold a line end, keep their bytes", async () => {
        const folder = await fresh();
        const names = ["caf\udce9.JPG", "line\nend", "esc\u001b[2J", "back\\slash", "\udcff".repeat(255)];
        for (const name of names) await put(files, under(folder, name), pattern(3));
        expect((await files.list(folder)).map((entry) => entry.name).sort()).toEqual([...names].sort());
        for (const name of names) expect((await files.facts(under(folder, name))).size).toBe(3);
        const [first = ""] = names;
        expect(await files.moveNoReplace(under(folder, first), under(folder, `${first}2`))).toBe("moved");
      });
    }

    test("a name that it can't hold is a bad name, for files, folders and moves", async () => {
      const folder = await fresh();
      await put(files, under(folder, "good"), pattern(1));
      for (const name of ["n".repeat(256), "nul\0", "\ud800", ...place.refusedNames]) {
        expect(await faultOf(files.createToWrite(under(folder, name))), name).toBe("bad-name");
        expect(await faultOf(makeFolder(under(folder, name))), name).toBe("bad-name");
        expect(await faultOf(files.moveNoReplace(under(folder, "good"), under(folder, name))), name).toBe(
          "bad-name",
        );
      }
      expect((await files.list(folder)).map((entry) => entry.name)).toEqual(["good"]);
    });

    test("the modification time is kept as far as the file system can", async () => {
      const folder = await fresh();
      for (const moment of [1_812_000_000_000, 1_812_312_345_671, 1_812_312_345_999, 1_000_000_000_010]) {
        const path = under(folder, `${moment}`);
        await put(files, path, pattern(5), moment);
        expect((await files.facts(path)).modified).toBe(moment - (moment % place.timeStep));
      }
    });

    test("a small file is refused when it is longer than allowed, and read when it just fits", async () => {
      const path = under(await fresh(), "small");
      await put(files, path, pattern(100));
      expect((await files.readSmall(path, bytes(100))).length).toBe(100);
      expect(await faultOf(files.readSmall(path, bytes(99)))).toBe("too-large");
      expect(await faultOf(files.readSmall(under(path, "no"), bytes(9)))).toBe("missing");
    });

    test("what isn't a file is never opened as one", async () => {
      const folder = await fresh();
      expect(await faultOf(files.openToRead(folder))).toBe("missing");
      expect(await faultOf(files.list(under(folder, "none")))).toBe("missing");
      await put(files, under(folder, "file"), pattern(1));
      expect(await faultOf(files.list(under(folder, "file")))).toBe("missing");
    });

    test("our own files are appended to and replaced", async () => {
      const folder = await fresh();
      const journal = under(folder, "journal.jsonl");
      await files.appendOwn(journal, Buffer.from("one\n"));
      await files.appendOwn(journal, Buffer.from("two\nto"));
      expect(await text(journal)).toBe("one\ntwo\nto");
      const drive = under(folder, "drive.json");
      await files.replaceOwn(drive, Buffer.from("a longer first content"));
      await files.replaceOwn(drive, Buffer.from("second"));
      expect(await text(drive)).toBe("second");
      expect((await files.list(folder)).map((entry) => entry.name).sort()).toEqual([
        "drive.json",
        "journal.jsonl",
      ]);
    });

    test("an archive's identity is a file of ours too, and asking for the file system's id never fails", async () => {
      const folder = await fresh();
      await files.replaceOwn(under(folder, "archive.json"), Buffer.from("first"));
      await files.replaceOwn(under(folder, "archive.json"), Buffer.from("second"));
      expect(await text(under(folder, "archive.json"))).toBe("second");
      const id = await files.fileSystemId(folder);
      expect(await files.fileSystemId(folder)).toBe(id);
      expect(await files.fileSystemId(under(folder, "nowhere"))).toBe(id);
    });

    test("a replacement that a power cut left half done doesn't stand in the way of the next", async () => {
      const folder = await fresh();
      await put(files, under(folder, ".scrubjay-new-profile.yaml"), Buffer.from("tor"));
      await files.replaceOwn(under(folder, "profile.yaml"), Buffer.from("whole"));
      expect(await text(under(folder, "profile.yaml"))).toBe("whole");
      expect((await files.list(folder)).map((entry) => entry.name)).toEqual(["profile.yaml"]);
    });

    test("a file of any other name is never changed", async () => {
      const folder = await fresh();
      const path = under(folder, "KC-20270603-A0421.NEF");
      await put(files, path, Buffer.from("picture"));
      await expect(files.replaceOwn(path, pattern(1))).rejects.toThrow("assertion failed");
      await expect(files.appendOwn(path, pattern(1))).rejects.toThrow("assertion failed");
      expect(await text(path)).toBe("picture");
    });

    test("only unfinished work is removed, and removing what is gone is fine", async () => {
      const folder = await fresh();
      const incoming = under(folder, ".scrubjay/incoming");
      await makeFolder(incoming);
      await put(files, under(incoming, "part"), pattern(5));
      await files.removeUnfinished(under(incoming, "part"));
      await files.removeUnfinished(under(incoming, "part"));
      expect(await files.list(incoming)).toEqual([]);
      await put(files, under(folder, "picture"), pattern(5));
      for (const path of [
        "picture",
        ".scrubjay/incoming/../../picture",
        ".scrubjay/incoming/",
        ".scrubjay",
      ]) {
        await expect(files.removeUnfinished(under(folder, path)), path).rejects.toThrow("assertion failed");
      }
      await makeFolder(under(incoming, "folder"));
      expect(await faultOf(files.removeUnfinished(under(incoming, "folder")))).not.toBe("no fault");
      expect((await files.facts(under(folder, "picture"))).size).toBe(5);
    });

    test("of what is named an earlier version of ours one file goes, and what is gone is fine", async () => {
      const folder = await fresh();
      const kept = under(folder, ".scrubjay/trips/kc-2027/earlier/Notes/day 1.xmp");
      await makeFolder(kept);
      // Two within a thousandth of a second, one without an extension, one that a program wrote beside them.
      const names = [
        "20270605T211500.123Z.xmp",
        "20270605T211500-2.123Z.xmp",
        "20270605T211500.123Z",
        "20270605T211500.123Z-2",
      ];
      for (const name of [...names, "notes.xmp"]) await put(files, under(kept, name), pattern(5));
      for (const name of names) {
        await files.removeEarlier(under(kept, name));
        await files.removeEarlier(under(kept, name));
      }
      expect((await files.list(kept)).map(({ name }) => name)).toEqual(["notes.xmp"]);
    });

    test("nothing but an earlier version of ours goes that way, whatever its path looks like", async () => {
      const folder = await fresh();
      const version = "20270605T211500.123Z.xmp";
      const refused = [
        `Kestrel Cliffs/${version}`,
        `earlier/a.xmp/${version}`,
        `.scrubjay/trips/kc-2027/earlier/${version}`,
        `.scrubjay/trips/kc-2027/earlier/a.xmp/../${version}`,
        `.scrubjay/trips/kc-2027/earlier/a.xmp/../../../../../Kestrel Cliffs/${version}`,
        `.scrubjay/trips/kc-2027/earlier/a.xmp/${version}/inside.xmp`,
        ".scrubjay/trips/kc-2027/earlier/a.xmp/undone.xmp",
        ".scrubjay/trips/kc-2027/earlier/a.xmp/20270605T2115.xmp",
        `.scrubjay/trips/kc-2027/earlier/a.xmp/x${version}`,
        ".scrubjay/trips/kc-2027/earlier/a.xmp",
        ".scrubjay/trips/kc-2027/earlier",
        `.scrubjay/trips/kc-2027/aside/a.xmp/${version}`,
        `.scrubjay/trips/../earlier/a.xmp/${version}`,
        `scrubjay/trips/kc-2027/earlier/a.xmp/${version}`,
        ".scrubjay/trips/kc-2027/journal.jsonl",
        ".scrubjay/incoming/0123456789ab.part",
      ];
      for (const path of refused)
        await expect(files.removeEarlier(under(folder, path)), path).rejects.toThrow("assertion failed");
      // A folder of that name stays, and so does what is in it.
      const named = under(folder, `.scrubjay/trips/kc-2027/earlier/a.xmp/${version}`);
      await makeFolder(named);
      await put(files, under(named, "inside.xmp"), pattern(5));
      expect(await faultOf(files.removeEarlier(named))).not.toBe("no fault");
      expect((await files.facts(under(named, "inside.xmp"))).size).toBe(5);
    });

    test("what the file system is and has left is told", async () => {
      const traits = await files.traits(opened.root);
      expect(traits.totalBytes).toBeGreaterThan(0);
      expect(traits.freeBytes).toBeLessThanOrEqual(traits.totalBytes);
      expect(traits.blockBytes % 512).toBe(0);
      expect(traits.readOnly).toBe(false);
      expect(traits.device).toBe((await files.facts(opened.root)).device);
      expect(await faultOf(files.traits(absolutePath("/no such folder")))).toBe("missing");
    });
  });
}

/** For tests of single places: the folder's absolute path as the port wants it. */
export const at = (path: string): AbsolutePath => absolutePath(path);
