/**
 * Files and folders through Node, for real media and practice folders alike. What a copy is worth rests on this file.
 *
 * Invariants: nothing of the user's is replaced, cut or removed (each method that could do so asserts that the path is
 * one of ours); a symbolic link in the last part of a path is never followed; opening never waits (a pipe on a
 * volume); every failure is a `FileFault`. What a file system can do is asked of the file system, never guessed from
 * the platform. Not its job: deciding what to write where, retrying, and which failure matters.
 */

import { constants } from "node:fs";
import * as fs from "node:fs/promises";
import { assert } from "../../../shared/brand.ts";
import type { ReadBack } from "../../../shared/facts.ts";
import {
  type AbsolutePath,
  absolutePath,
  baseName,
  type RelativePath,
  under,
} from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { type Bytes, bytes, type Instant, instant } from "../../../shared/units.ts";
import type {
  Block,
  Entry,
  EntryKind,
  FileFacts,
  Files,
  FsTraits,
  ReadHandle,
  VolumeRoot,
  WriteHandle,
} from "../../ports/files.ts";
import { fileFault, systemCode, systemNumber } from "./fileFault.ts";
import { fileSystemId } from "./fileSystemId.ts";
import { fileSystemName, readBackOf } from "./fileSystems.ts";
import { mountOf, readMountTable } from "./mountTable.ts";
import { pathFromBytes, pathToBytes } from "./pathBytes.ts";

// Node has it, the compiler's library without a browser leaves it out.
declare const WebAssembly: {
  Memory: new (pages: { initial: number; maximum: number }) => { readonly buffer: ArrayBuffer };
};

/** bytes. Reads past the cache begin and end on multiples of this: the largest logical block of today's media. */
const alignment = 4096;
/** bytes. A page of a WebAssembly.Memory (WebAssembly core specification, "Memory Instances"). */
const wasmPage = 65_536;

/** The only names of files that are ever changed after they were written. */
const ownNames: ReadonlySet<string> = new Set([
  "checksums.xxh64",
  "drive.json",
  "archive.json",
  "profile.yaml",
  "journal.jsonl",
]);
/** Begins the name of a replacement until it takes its place; one that is found was left by a power cut. */
const replacementPrefix = ".scrubjay-new-";

/** Linux, errno.h; Node has no word for it. */
const EBADMSG = -74;

// O_NONBLOCK: opening a pipe that somebody put on a card would wait for ever. Files don't know the flag.
const toRead = constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK;
const toCreate = constants.O_WRONLY | constants.O_CREAT | constants.O_EXCL | constants.O_NOFOLLOW;

/** The file system's files. Holds no state; one instance serves all volumes. */
export class NodeFiles implements Files {
  async list(folder: AbsolutePath): Promise<readonly Entry[]> {
    return faulty(folder, async () => {
      // readdir follows a link, so the folder is looked at first.
      if ((await this.facts(folder)).kind !== "folder") throw new FileFault("missing", folder);
      const found = await fs.readdir(pathToBytes(folder), { withFileTypes: true, encoding: "buffer" });
      return found.map((entry) => ({ name: pathFromBytes(entry.name), kind: kindOf(entry) }));
    });
  }

  async facts(path: AbsolutePath): Promise<FileFacts> {
    return faulty(path, async () => factsOf(await fs.lstat(pathToBytes(path), { bigint: true })));
  }

  async traits(root: AbsolutePath): Promise<FsTraits> {
    return faulty(root, async () => {
      const space = await fs.statfs(pathToBytes(root), { bigint: true });
      const fsType = fileSystemName(Number(space.type));
      return {
        fsType,
        device: (await this.facts(root)).device,
        totalBytes: bytes(Number(space.blocks * space.bsize)),
        freeBytes: bytes(Number(space.bavail * space.bsize)),
        blockBytes: bytes(Number(space.bsize)),
        readBack: await readBackAt(root),
        readOnly: await isReadOnly(root),
      };
    });
  }

  async fileSystemId(folder: AbsolutePath): Promise<string> {
    return fileSystemId(folder);
  }

  async readSmall(path: AbsolutePath, most: Bytes): Promise<Uint8Array> {
    return faulty(path, async () => {
      const handle = await openFile(path, toRead);
      try {
        // One byte more than allowed shows that the file is longer, whatever its size was said to be.
        const into = new Uint8Array(Math.min(most, (await handle.stat()).size) + 1);
        const length = await fill(handle, into, 0);
        if (length > most) throw new FileFault("too-large", path);
        if (length < into.length) return into.subarray(0, length);
      } finally {
        await handle.close();
      }
      throw new FileFault("io", path, new Error("the file grew while it was read"));
    });
  }

  async openToRead(path: AbsolutePath): Promise<ReadHandle> {
    return faulty(path, async () => new OpenToRead(await openUnnoticed(path), path, false));
  }

  async openToVerify(
    path: AbsolutePath,
  ): Promise<{ readonly handle: ReadHandle; readonly readBack: ReadBack }> {
    return faulty(path, async () => {
      // Asked anew for each file: device numbers are given out again after an unmount.
      if ((await readBackAt(path)) === "direct") {
        try {
          const handle = await openFile(path, toRead | constants.O_DIRECT);
          return { handle: new OpenToRead(handle, path, true), readBack: "direct" };
        } catch (error) {
          if (systemCode(error) !== "EINVAL") throw error; // EINVAL: this file system doesn't know the flag.
        }
      }
      return { handle: new OpenToRead(await openFile(path, toRead), path, false), readBack: "cache" };
    });
  }

  async createToWrite(path: AbsolutePath): Promise<WriteHandle> {
    try {
      return new OpenToWrite(await fs.open(pathToBytes(path), toCreate, 0o644), path);
    } catch (error) {
      throw await this.#namingFault(error, path);
    }
  }

  async makeFolder(volume: VolumeRoot, inside: RelativePath): Promise<void> {
    const { handle, held } = await openRoot(volume);
    try {
      let parent = "";
      for (const part of inside.split("/")) {
        const folder = parent === "" ? part : `${parent}/${part}`;
        const made = await this.#makeOne(volume, under(held, folder));
        if (made && parent === "") await faulty(volume.root, () => flush(handle));
        if (made && parent !== "") await this.flushFolder(under(held, parent));
        parent = folder;
      }
    } catch (fault) {
      throw fault instanceof FileFault ? new FileFault(fault.code, under(volume.root, inside), fault) : fault;
    } finally {
      await handle.close();
    }
  }

  /** @returns false where the folder stood there already. */
  async #makeOne(volume: VolumeRoot, folder: AbsolutePath): Promise<boolean> {
    let made = true;
    try {
      await fs.mkdir(pathToBytes(folder));
    } catch (error) {
      if (systemCode(error) !== "EEXIST") {
        // In a root that was removed every name is refused: that isn't about the name.
        await (await openRoot(volume)).handle.close();
        throw await this.#namingFault(error, folder);
      }
      made = false;
    }
    const found = await this.facts(folder);
    if (found.device === volume.device && found.kind === "folder") return made;
    // Where the root can't be held fast, the volume may have gone since, and this stands in its mount point.
    if (made) await fs.rmdir(pathToBytes(folder)).catch(() => undefined);
    throw new FileFault(found.device === volume.device ? "exists" : "gone", folder);
  }

  /**
   * By a hard link, which the kernel refuses to make over anything; then the old name goes. If power fails between the
   * two, both names stand for the same whole file, and the old one is unfinished work that may be removed.
   */
  async moveNoReplace(from: AbsolutePath, to: AbsolutePath): Promise<"moved" | "taken"> {
    try {
      await fs.link(pathToBytes(from), pathToBytes(to));
    } catch (error) {
      const code = systemCode(error);
      if (code === "EEXIST") return "taken";
      if (["EPERM", "ENOTSUP", "EOPNOTSUPP", "ENOSYS"].includes(code)) return this.#renameIfFree(from, to);
      throw await this.#namingFault(error, to, from);
    }
    await faulty(from, () => fs.unlink(pathToBytes(from)));
    return "moved";
  }

  async flushFolder(folder: AbsolutePath): Promise<void> {
    await faulty(folder, async () => {
      const flags = constants.O_RDONLY | constants.O_DIRECTORY | constants.O_NOFOLLOW;
      const handle = await fs.open(pathToBytes(folder), flags);
      try {
        await flush(handle);
      } finally {
        await handle.close();
      }
    });
  }

  async appendOwn(path: AbsolutePath, addition: Uint8Array): Promise<void> {
    assertOwn(path);
    await faulty(path, async () => {
      const toAppend = constants.O_WRONLY | constants.O_APPEND | constants.O_NOFOLLOW;
      let created = false;
      let handle: fs.FileHandle;
      try {
        handle = await fs.open(pathToBytes(path), toAppend);
      } catch (error) {
        if (systemCode(error) !== "ENOENT") throw error;
        handle = await fs.open(pathToBytes(path), toCreate | constants.O_APPEND, 0o644);
        created = true;
      }
      await writeAllAndFlush(handle, addition);
      if (created) await this.flushFolder(parentOf(path));
    });
  }

  async replaceOwn(path: AbsolutePath, content: Uint8Array): Promise<void> {
    assertOwn(path);
    await faulty(path, async () => {
      const folder = parentOf(path);
      const fresh = pathToBytes(under(folder, `${replacementPrefix}${baseName(path)}`));
      await unlinkIfThere(fresh); // Left by a power cut.
      await writeAllAndFlush(await fs.open(fresh, toCreate, 0o644), content);
      await fs.rename(fresh, pathToBytes(path)).catch(async (error: unknown) => {
        // SFTP 3 renames over nothing (draft-ietf-secsh-filexfer-02, section 6.5); sshfs then says EPERM.
        if (!["EPERM", "EEXIST"].includes(systemCode(error))) throw error;
        await renameOverInSteps(fresh, pathToBytes(path));
      });
      await this.flushFolder(folder);
    });
  }

  async removeUnfinished(path: AbsolutePath): Promise<void> {
    const inside = path.split("/.scrubjay/incoming/")[1] ?? "";
    assert(inside !== "" && !path.split("/").includes(".."), `'${path}' is unfinished work of ours`);
    await faulty(path, () => unlinkIfThere(pathToBytes(path)));
  }

  async removeEarlier(path: AbsolutePath): Promise<void> {
    const isOurs =
      /\/\.scrubjay\/trips\/[a-z0-9-]+\/earlier\/.+\/\d{8}T\d{6}(?:-\d+)?\.\d{3}Z(?:-\d+)?(?:\.[^/]*)?$/s;
    assert(isOurs.test(path) && !path.split("/").includes(".."), `'${path}' is an earlier version of ours`);
    await faulty(path, () => unlinkIfThere(pathToBytes(path)));
  }

  blocks(amount: number, size: Bytes): Block[] {
    // An ordinary buffer begins anywhere, and a read past the cache into it fails with EINVAL; this memory begins on
    // a page. It is given back when no block is held any more.
    const stride = Math.ceil(size / alignment) * alignment;
    const pages = Math.ceil((amount * stride) / wasmPage);
    const { buffer } = new WebAssembly.Memory({ initial: pages, maximum: pages });
    return Array.from({ length: amount }, (_, index) => new Uint8Array(buffer, index * stride, size));
  }

  /**
   * For file systems without hard links: FAT, exFAT and most FUSE helpers. Node has no rename that refuses to replace,
   * so the target is looked at first. Between look and rename another program could make that very name; the final
   * names are ours alone, so the window is left. Where names differ in case only, the look finds the one that stands
   * there, since the file system itself compares.
   */
  async #renameIfFree(from: AbsolutePath, to: AbsolutePath): Promise<"moved" | "taken"> {
    try {
      if (await this.#exists(to)) return "taken";
      await fs.rename(pathToBytes(from), pathToBytes(to));
      return "moved";
    } catch (error) {
      throw await this.#namingFault(error, to, from);
    }
  }

  /**
   * The fault of a call that would have made the name `path`. exfat-fuse answers ENOENT to a name that exFAT can't
   * hold, such as one with `:`; if the folder is there (and `from`, if something was to be moved), that is what it meant.
   * sshfs answers EBADMSG to it (SSH_FX_BAD_MESSAGE is OpenSSH's word for ENAMETOOLONG and EINVAL); where no FUSE helper
   * answers, EBADMSG is a spoilt file system.
   */
  async #namingFault(error: unknown, path: AbsolutePath, from?: AbsolutePath): Promise<FileFault> {
    const fault = fileFault(error, path, true);
    const badMessage = systemNumber(fault.cause) === EBADMSG;
    if (systemCode(fault.cause) !== "ENOENT" && !badMessage) return fault;
    try {
      if (badMessage) {
        const { type } = await fs.statfs(pathToBytes(parentOf(path)), { bigint: true });
        return fileSystemName(Number(type)) === "fuseblk" ? new FileFault("bad-name", path, error) : fault;
      }
      if (from !== undefined && !(await this.#exists(from))) return new FileFault("missing", from, error);
      return (await this.#exists(parentOf(path))) ? new FileFault("bad-name", path, error) : fault;
    } catch {
      return fault; // The first cause stands.
    }
  }

  async #exists(path: AbsolutePath): Promise<boolean> {
    try {
      await fs.lstat(pathToBytes(path));
      return true;
    } catch (error) {
      if (systemCode(error) === "ENOENT") return false;
      throw error;
    }
  }
}

class OpenToRead implements ReadHandle {
  readonly #handle: fs.FileHandle;
  readonly #path: AbsolutePath;
  readonly #direct: boolean;

  constructor(handle: fs.FileHandle, path: AbsolutePath, direct: boolean) {
    this.#handle = handle;
    this.#path = path;
    this.#direct = direct;
  }

  async read(into: Block, position: number): Promise<number> {
    if (this.#direct) {
      const aligned = [position, into.byteOffset, into.length].every((value) => value % alignment === 0);
      assert(aligned, "reads past the cache are aligned to blocks");
    }
    return faulty(this.#path, async () => {
      let length = 0;
      while (length < into.length) {
        const { bytesRead } = await this.#handle.read(into, length, into.length - length, position + length);
        length += bytesRead;
        if (bytesRead === 0) break;
        // A short read is continued where it stopped, which past the cache works from a block's edge only. Anywhere
        // else it must be the end of the file.
        if (!this.#direct || length % alignment === 0) continue;
        const { size } = await this.#handle.stat();
        if (position + length >= size) break;
        throw new FileFault(
          "io",
          this.#path,
          new Error(`the read stopped at ${position + length} of ${size}`),
        );
      }
      return length;
    });
  }

  async facts(): Promise<FileFacts> {
    return faulty(this.#path, async () => factsOf(await this.#handle.stat({ bigint: true })));
  }

  async close(): Promise<void> {
    await faulty(this.#path, () => this.#handle.close());
  }
}

class OpenToWrite implements WriteHandle {
  readonly #handle: fs.FileHandle;
  readonly #path: AbsolutePath;

  constructor(handle: fs.FileHandle, path: AbsolutePath) {
    this.#handle = handle;
    this.#path = path;
  }

  async write(from: Uint8Array, position: number): Promise<void> {
    await faulty(this.#path, () => writeAll(this.#handle, from, position));
  }

  async finish(modified: Instant): Promise<void> {
    await faulty(this.#path, async () => {
      // Seconds as a double fall up to 0.24 µs short of a whole millisecond and are then cut off, not rounded: half a
      // microsecond more lands in the right millisecond.
      const seconds = modified / 1000 + 0.000_000_5;
      await this.#handle.utimes(seconds, seconds);
      await this.#handle.sync();
    });
  }

  async facts(): Promise<FileFacts> {
    return faulty(this.#path, async () => factsOf(await this.#handle.stat({ bigint: true })));
  }

  async close(): Promise<void> {
    await faulty(this.#path, () => this.#handle.close());
  }
}

/** Runs `act`; whatever it fails with leaves as the fault at `path`. Bugs (failed assertions) pass as they are. */
async function faulty<T>(path: AbsolutePath, act: () => Promise<T>): Promise<T> {
  try {
    return await act();
  } catch (error) {
    if (error instanceof Error && error.message.startsWith("assertion failed")) throw error;
    throw fileFault(error, path);
  }
}

/**
 * Opens a file so that reading it doesn't write the time of reading to its medium: a card is only ever read. The flag
 * is the owner's (open(2), O_NOATIME: EPERM otherwise); without it the mount decides (`noatime`, `relatime`).
 */
async function openUnnoticed(path: AbsolutePath): Promise<fs.FileHandle> {
  if (constants.O_NOATIME === undefined) return openFile(path, toRead); // No such flag on this platform.
  try {
    return await openFile(path, toRead | constants.O_NOATIME);
  } catch (error) {
    if (systemCode(error) !== "EPERM" && systemCode(error) !== "EINVAL") throw error;
    return openFile(path, toRead);
  }
}

/** Flushes an open folder. */
async function flush(folder: fs.FileHandle): Promise<void> {
  try {
    await folder.sync();
  } catch (error) {
    // Some file systems have no flush for folders and say so (fsync(2): EINVAL); their entries are written by
    // the file's own flush or not at all before an unmount. There is nothing more that could be done.
    if (!["EINVAL", "ENOTSUP", "EOPNOTSUPP"].includes(systemCode(error))) throw error;
  }
}

/**
 * A volume's root, held fast: a path below `held` stays on that file system whatever becomes of the mount, so nothing
 * can land in the mount point of a drive that is pulled meanwhile. The kernel gives each open folder such a path
 * (proc(5), `/proc/pid/fd`); where it doesn't, `held` is the root's own path.
 * @throws FileFault `gone` where another file system stands there, or nothing
 */
async function openRoot(
  volume: VolumeRoot,
): Promise<{ readonly handle: fs.FileHandle; readonly held: AbsolutePath }> {
  const flags = constants.O_RDONLY | constants.O_DIRECTORY | constants.O_NOFOLLOW;
  const handle = await fs.open(pathToBytes(volume.root), flags).catch((error: unknown) => {
    const fault = fileFault(error, volume.root);
    throw fault.code === "missing" ? new FileFault("gone", volume.root, fault) : fault;
  });
  try {
    const { dev, ino } = await faulty(volume.root, () => handle.stat({ bigint: true }));
    if (String(dev) !== volume.device) throw new FileFault("gone", volume.root);
    const held = absolutePath(`/proc/self/fd/${handle.fd}`);
    const there = await fs.stat(held, { bigint: true }).catch(() => undefined);
    return { handle, held: there?.dev === dev && there.ino === ino ? held : volume.root };
  } catch (fault) {
    await handle.close();
    throw fault;
  }
}

/** Opens a regular file; for a folder, pipe or device the answer is that no file stands there. */
async function openFile(path: AbsolutePath, flags: number): Promise<fs.FileHandle> {
  const handle = await fs.open(pathToBytes(path), flags);
  if ((await handle.stat()).isFile()) return handle;
  await handle.close();
  throw new FileFault("missing", path, new Error("not a regular file"));
}

async function fill(handle: fs.FileHandle, into: Uint8Array, position: number): Promise<number> {
  let length = 0;
  while (length < into.length) {
    const { bytesRead } = await handle.read(into, length, into.length - length, position + length);
    if (bytesRead === 0) break;
    length += bytesRead;
  }
  return length;
}

/** `position` undefined: where the file's own position is. */
async function writeAll(handle: fs.FileHandle, from: Uint8Array, position?: number): Promise<void> {
  let done = 0;
  while (done < from.length) {
    const at = position === undefined ? null : position + done;
    const { bytesWritten } = await handle.write(from, done, from.length - done, at);
    if (bytesWritten === 0) throw new Error("nothing was written");
    done += bytesWritten;
  }
}

async function writeAllAndFlush(handle: fs.FileHandle, content: Uint8Array): Promise<void> {
  try {
    await writeAll(handle, content);
    await handle.sync();
  } finally {
    await handle.close();
  }
}

/** Where a server renames over nothing: what stands there makes way first, and comes back if that was in vain. */
async function renameOverInSteps(fresh: Buffer, path: Buffer): Promise<void> {
  const aside = Buffer.concat([fresh, Buffer.from("-before")]);
  await unlinkIfThere(aside); // Left by a connection that broke.
  await fs.rename(path, aside);
  try {
    await fs.rename(fresh, path);
  } catch (error) {
    await fs.rename(aside, path).catch(() => undefined);
    throw error;
  }
  await unlinkIfThere(aside);
}

async function unlinkIfThere(path: Buffer): Promise<void> {
  try {
    await fs.unlink(path);
  } catch (error) {
    if (systemCode(error) !== "ENOENT") throw error;
  }
}

function assertOwn(path: AbsolutePath): void {
  assert(ownNames.has(baseName(path)), `'${path}' is a file of ours`);
}

/** How a read for verification reaches the medium below `path`. */
async function readBackAt(path: AbsolutePath): Promise<ReadBack> {
  if (constants.O_DIRECT === undefined) return "cache"; // No such flag on this platform.
  const fsType = fileSystemName(Number((await fs.statfs(pathToBytes(path), { bigint: true })).type));
  return readBackOf(fsType, mountOf(await readMountTable(), path)?.options ?? []);
}

async function isReadOnly(root: AbsolutePath): Promise<boolean> {
  try {
    await fs.access(pathToBytes(root), constants.W_OK);
    return false;
  } catch (error) {
    return systemCode(error) === "EROFS"; // Not being allowed to write there is another matter.
  }
}

interface AnyKind {
  isFile(): boolean;
  isDirectory(): boolean;
  isSymbolicLink(): boolean;
}

function kindOf(entry: AnyKind): EntryKind {
  if (entry.isFile()) return "file";
  if (entry.isDirectory()) return "folder";
  return entry.isSymbolicLink() ? "link" : "other";
}

interface BigStats extends AnyKind {
  readonly size: bigint;
  readonly mtimeMs: bigint;
  readonly dev: bigint;
  readonly ino: bigint;
}

function factsOf(stats: BigStats): FileFacts {
  return {
    kind: kindOf(stats),
    size: bytes(Number(stats.size)),
    modified: instant(Number(stats.mtimeMs)),
    device: String(stats.dev),
    inode: String(stats.ino),
  };
}

/** The folder that `path` stands in; the root stands in itself. */
function parentOf(path: AbsolutePath): AbsolutePath {
  const cut = path.lastIndexOf("/");
  return absolutePath(cut <= 0 ? "/" : path.slice(0, cut));
}
