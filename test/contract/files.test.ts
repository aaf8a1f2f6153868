/**
 * The real file adapter over a folder and over real file systems, and what only a real medium can show: that reading
 * for verification sees a bit that turned on the medium, that a full medium says so, that links lead nowhere.
 */

import { execFile, spawnSync } from "node:child_process";
import {
  closeSync,
  mkdirSync,
  mkdtempSync,
  openSync,
  readdirSync,
  readFileSync,
  readSync,
  rmSync,
  symlinkSync,
  truncateSync,
  writeFileSync,
  writeSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { promisify } from "node:util";
import { afterAll, describe, expect, test } from "vitest";
import { NodeFiles } from "../../daemon/platform/common/nodeFiles.ts";
import { relativePath } from "../../shared/identity.ts";
import { bytes } from "../../shared/units.ts";
import { canUseLoopVolumes, type LoopVolume, makeVolume, whyNoLoopVolumes } from "../support/loopVolume.ts";
import { canUseNetworkShare, makeShare, whyNoNetworkShare } from "../support/networkShare.ts";
import { at, faultOf, filesContract, pattern, put, readBack } from "./files.contract.ts";

const files = new NodeFiles();
const scratch = mkdtempSync(join(tmpdir(), "scrubjay-files-"));
afterAll(() => rmSync(scratch, { recursive: true, force: true }));
const loops = canUseLoopVolumes();

let made = 0;
function volume(fs: "ext4" | "exfat", sizeBytes: number): LoopVolume {
  made += 1;
  return makeVolume({ fs, sizeBytes, label: "TEST", at: join(scratch, `volume ${made}`) });
}

filesContract({
  name: "a folder of this computer",
  open: () => {
    mkdirSync(join(scratch, "plain"));
    return { files, root: at(join(scratch, "plain")), close: () => {} };
  },
  timeStep: 1,
  holdsRawNames: true,
  refusedNames: [],
});

if (loops) {
  filesContract({
    name: "ext4",
    open: () => {
      const ext4 = volume("ext4", 16_000_000);
      return { files, root: at(ext4.at), close: () => ext4.remove() };
    },
    timeStep: 1,
    holdsRawNames: true,
    refusedNames: [],
  });
  filesContract({
    name: "exFAT through FUSE",
    open: () => {
      const exfat = volume("exfat", 16_000_000);
      return { files, root: at(exfat.at), close: () => exfat.remove() };
    },
    // The standard has 10 ms increments (exFAT specification 1.00, section 7.4.9); exfat-fuse 1.3 keeps whole
    // seconds (seen, no source).
    timeStep: 1000,
    holdsRawNames: false,
    refusedNames: ["a:b", "what?", "a*b", "line\nend"], // The same, section 7.7.3: invalid FileName characters.
  });
} else {
  test.skip(`files on ext4 and exFAT (${whyNoLoopVolumes})`, () => {});
}

if (canUseNetworkShare()) {
  const early = ["hardlink", "posix-rename", "fsync", "statvfs"]; // OpenSSH's own additions to SFTP 3.
  for (const { name, ...wish } of [
    { name: "as Debian's server is" },
    { name: "without hard links", options: ["disable_hardlink"] },
    { name: "of a server that knows SFTP 3 alone, no rename over anything", lacks: early },
    { name: "of such a server, replacing made up by sshfs", lacks: early, options: ["workaround=rename"] },
  ]) {
    made += 1;
    const mountPoint = join(scratch, `share ${made}`);
    filesContract({
      name: `a network share ${name}`,
      open: () => {
        const share = makeShare({ at: mountPoint, ...wish });
        return { files, root: at(share.at), close: () => share.remove() };
      },
      // SFTP 3 has whole seconds (draft-ietf-secsh-filexfer-02, section 5).
      timeStep: 1000,
      holdsRawNames: true,
      refusedNames: [],
    });
  }
} else {
  test.skip(`files on a network share (${whyNoNetworkShare})`, () => {});
}

describe.skipIf(!loops)(`on real media (${whyNoLoopVolumes})`, () => {
  test("ext4: a bit that turns on the medium stays hidden from a normal read and is seen when reading back", async () => {
    const medium = volume("ext4", 16_000_000);
    try {
      const path = at(join(medium.at, "frame"));
      const content = pattern(300_000);
      await put(files, path, content);
      expect((await files.traits(at(medium.at))).readBack).toBe("direct");
      expect(readFileSync(path).equals(content)).toBe(true); // Now it is in the cache for certain.
      flipBitOfImage(medium.image, content.subarray(100_000, 104_096));

      expect(readFileSync(path).equals(content)).toBe(true);
      const seen = Buffer.from(await readBack(files, path));
      expect(seen.length).toBe(content.length);
      expect(seen.equals(content)).toBe(false);
      expect(Array.from(seen).filter((value, index) => value !== content[index])).toHaveLength(1);
      const { handle, readBack: how } = await files.openToVerify(path);
      await handle.close();
      expect(how).toBe("direct");
    } finally {
      medium.remove();
    }
  });

  test("ext4: a part of the medium that can't be read is a fault of reading back, the rest still reads", async () => {
    const medium = volume("ext4", 16_000_000);
    try {
      const path = at(join(medium.at, "frame"));
      const content = pattern(6_000_000).fill(0x5a, 0, 8192).fill(0xa5, 4_096_000, 4_100_096);
      await put(files, path, content);
      // The kernel answers EIO beyond the end of the backing file. It ends where a later part of the file begins.
      const image = readFileSync(medium.image);
      const cut = image.indexOf(content.subarray(4_096_000, 4_100_096));
      expect(cut).toBeGreaterThan(image.indexOf(content.subarray(0, 8192)) + 8192);
      truncateSync(medium.image, cut - (cut % 4096));
      expect(await faultOf(readBack(files, path))).toBe("io");
      const { handle } = await files.openToVerify(path);
      const [block = new Uint8Array(0)] = files.blocks(1, bytes(8192));
      expect(await handle.read(block, 0)).toBe(8192);
      expect(Buffer.from(block).equals(content.subarray(0, 8192))).toBe(true);
      await handle.close();
    } finally {
      truncateSync(medium.image, 16_000_000);
      medium.remove();
    }
  });

  test("ext4: a read past the cache that isn't aligned is a bug, said at once", async () => {
    const medium = volume("ext4", 8_000_000);
    try {
      const path = at(join(medium.at, "frame"));
      await put(files, path, pattern(10_000));
      const { handle } = await files.openToVerify(path);
      const [block = new Uint8Array(0)] = files.blocks(1, bytes(8192));
      await expect(handle.read(block, 100)).rejects.toThrow("assertion failed");
      await expect(handle.read(block.subarray(1, 4097), 0)).rejects.toThrow("assertion failed");
      await handle.close();
    } finally {
      medium.remove();
    }
  });

  test("exFAT through FUSE: reading back says that it may have come from the cache", async () => {
    const medium = volume("exfat", 8_000_000);
    try {
      await put(files, at(join(medium.at, "frame")), pattern(10));
      const traits = await files.traits(at(medium.at));
      expect(traits).toMatchObject({ fsType: "fuseblk", readBack: "cache" });
      const { handle, readBack: how } = await files.openToVerify(at(join(medium.at, "frame")));
      await handle.close();
      expect(how).toBe("cache");
    } finally {
      medium.remove();
    }
  });

  for (const fs of ["ext4", "exfat"] as const) {
    test(`${fs}: a full medium says so and keeps what was whole`, async () => {
      const medium = volume(fs, 4_000_000);
      try {
        await put(files, at(join(medium.at, "whole")), pattern(100_000));
        const handle = await files.createToWrite(at(join(medium.at, "too much")));
        const fault = await faultOf(handle.write(pattern(6_000_000), 0));
        await handle.close();
        expect(fault).toBe("no-space");
        expect(
          Buffer.from(await readBack(files, at(join(medium.at, "whole")))).equals(pattern(100_000)),
        ).toBe(true);
      } finally {
        medium.remove();
      }
    });

    test(`${fs}: free space is what can really be written`, async () => {
      const medium = volume(fs, 8_000_000);
      try {
        const { freeBytes, blockBytes } = await files.traits(at(medium.at));
        // ext4 needs some blocks for the map of a large file; a hundredth is room enough.
        const fits = Math.floor((freeBytes * 0.99) / blockBytes) * blockBytes;
        await put(files, at(join(medium.at, "large")), new Uint8Array(fits));
        const left = (await files.traits(at(medium.at))).freeBytes;
        expect(left).toBeLessThan(freeBytes * 0.02);
      } finally {
        medium.remove();
      }
    });
  }

  test("exFAT: a name that differs in case only is taken", async () => {
    const medium = volume("exfat", 8_000_000);
    try {
      await put(files, at(join(medium.at, "Frame.NEF")), Buffer.from("first"));
      await put(files, at(join(medium.at, "part")), Buffer.from("second"));
      expect(await files.moveNoReplace(at(join(medium.at, "part")), at(join(medium.at, "FRAME.nef")))).toBe(
        "taken",
      );
      expect(readFileSync(join(medium.at, "Frame.NEF"), "utf8")).toBe("first");
    } finally {
      medium.remove();
    }
  });

  test("a medium mounted read-only is told and can't be written", async () => {
    const medium = volume("ext4", 8_000_000);
    try {
      spawnSync("mount", ["-o", "remount,ro", medium.at]);
      expect((await files.traits(at(medium.at))).readOnly).toBe(true);
      expect(await faultOf(files.createToWrite(at(join(medium.at, "new"))))).toBe("read-only");
    } finally {
      medium.remove();
    }
  });

  test("ext4: a volume that is pulled while folders are made on it leaves nothing in its mount point", async () => {
    for (let round = 0; round < 8; round += 1) {
      const medium = volume("ext4", 16_000_000);
      try {
        const root = at(medium.at);
        const { device } = await files.traits(root);
        // Nothing of ours stands on it yet, so that each first call makes the outermost folder.
        const making = Array.from({ length: 400 }, (_, nth) =>
          files.makeFolder({ root, device }, relativePath(`${nth}/inner`)).catch(() => undefined),
        );
        const pulled = promisify(execFile)("umount", ["--lazy", medium.at]);
        const seen = new Set<string>();
        let over = false;
        const watching = (async () => {
          await pulled;
          while (!over) {
            for (const name of readdirSync(medium.at)) seen.add(name);
            await new Promise((resolve) => setImmediate(resolve));
          }
        })();
        await Promise.all(making);
        over = true;
        await watching;
        expect([...seen, ...readdirSync(medium.at)]).toEqual([]);
      } finally {
        medium.remove();
      }
    }
  });
});

test("links are listed as links and never followed", async () => {
  const folder = join(scratch, "links");
  mkdirSync(join(folder, "real"), { recursive: true });
  writeFileSync(join(folder, "real/secret"), "secret");
  symlinkSync(join(folder, "real/secret"), join(folder, "file"));
  symlinkSync(join(folder, "real"), join(folder, "folder"));
  symlinkSync(join(folder, "real/secret"), join(folder, "journal.jsonl"));
  symlinkSync(join(folder, "nowhere"), join(folder, "dangling"));
  expect((await files.list(at(folder))).filter((entry) => entry.kind === "link")).toHaveLength(4);
  expect((await files.facts(at(join(folder, "file")))).kind).toBe("link");
  expect(await faultOf(files.openToRead(at(join(folder, "file"))))).toBe("denied");
  expect(await faultOf(files.openToVerify(at(join(folder, "file"))))).toBe("denied");
  expect(await faultOf(files.readSmall(at(join(folder, "file")), bytes(100)))).toBe("denied");
  expect(await faultOf(files.list(at(join(folder, "folder"))))).toBe("missing");
  expect(await faultOf(files.createToWrite(at(join(folder, "dangling"))))).toBe("exists");
  expect(await faultOf(files.appendOwn(at(join(folder, "journal.jsonl")), pattern(1)))).toBe("denied");
  await put(files, at(join(folder, "new")), pattern(1));
  expect(await files.moveNoReplace(at(join(folder, "new")), at(join(folder, "dangling")))).toBe("taken");
  expect(readFileSync(join(folder, "real/secret"), "utf8")).toBe("secret");
});

test("a pipe on a volume is no file, and opening it doesn't wait for a writer", async () => {
  const pipe = join(scratch, "pipe");
  expect(spawnSync("mkfifo", [pipe]).status).toBe(0);
  expect((await files.facts(at(pipe))).kind).toBe("other");
  expect(await faultOf(files.openToRead(at(pipe)))).toBe("missing");
  expect(await faultOf(files.readSmall(at(pipe), bytes(10)))).toBe("missing");
});

/** Flips the lowest bit of the first byte of `needle` wherever the image holds it. */
function flipBitOfImage(image: string, needle: Uint8Array): void {
  const found = readFileSync(image).indexOf(needle);
  expect(found, "the written bytes reached the medium").toBeGreaterThanOrEqual(0);
  const descriptor = openSync(image, "r+");
  const one = Buffer.alloc(1);
  readSync(descriptor, one, 0, 1, found);
  writeSync(descriptor, Buffer.of((one[0] ?? 0) ^ 1), 0, 1, found);
  closeSync(descriptor);
}
