/**
 * Pictures that were made, kept in this user's own cache folder so that a restart needn't make them again. Bounded: what
 * was used longest ago goes first.
 *
 * Invariants: names are digests of frame and size, so nothing of a request becomes a path; a link, a foreign or a
 * damaged file there is no picture and costs at most itself; a folder that is a link is left alone, and nothing is kept
 * in it; nothing here is needed, so nothing here ever fails.
 */

import { createHash, randomBytes } from "node:crypto";
import { constants } from "node:fs";
import { lstat, mkdir, open, readdir, rename, rm, utimes } from "node:fs/promises";
import { join } from "node:path";
import type { AbsolutePath, FrameId } from "../../shared/identity.ts";
import type { Bytes } from "../../shared/units.ts";
import type { PictureCache, PictureSize } from "../ports/pictures.ts";

interface Kept {
  bytes: number;
  /** Grows with each use; of an earlier run by the file's time. */
  used: number;
}

const ownName = /^[0-9a-f]{40}\.jpg$/;
/** Once full, this share of the room is kept: making room is not to be done for every picture. */
const keptShare = 0.9;

export class FolderPictureCache implements PictureCache {
  readonly #folder: string;
  readonly #most: Bytes;
  readonly #kept = new Map<string, Kept>();
  #total = 0;
  #uses = 0;

  private constructor(folder: string, most: Bytes) {
    this.#folder = folder;
    this.#most = most;
  }

  /** Finds what an earlier run kept. @param cache made if missing, for this user only */
  static async open(cache: AbsolutePath, most: Bytes): Promise<FolderPictureCache> {
    const pictures = new FolderPictureCache(join(cache, "previews"), most);
    await pictures.#look().catch(() => undefined);
    return pictures;
  }

  has(frame: FrameId, size: PictureSize): boolean {
    return this.#kept.has(nameOf(frame, size));
  }

  async get(frame: FrameId, size: PictureSize): Promise<Uint8Array | undefined> {
    const name = nameOf(frame, size);
    const kept = this.#kept.get(name);
    if (kept === undefined) return undefined;
    const content = (await this.#isOwn(name))
      ? await readRegular(this.#pathOf(name), kept.bytes).catch(() => undefined)
      : undefined;
    if (content === undefined || !isWholeJpeg(content)) {
      await this.#remove(name);
      return undefined;
    }
    kept.used = this.#use();
    await this.#mark(name, kept.used);
    return content;
  }

  async put(frame: FrameId, size: PictureSize, jpeg: Uint8Array): Promise<void> {
    if (jpeg.length > this.#most || !isWholeJpeg(jpeg)) return;
    const name = nameOf(frame, size);
    const temporary = join(this.#folder, `.${name}.${randomBytes(6).toString("hex")}`);
    try {
      // Step by step: below a link nothing is made.
      for (const folder of [this.#folder, this.#folderOf(name)]) await makeOwnFolder(folder);
      const handle = await open(temporary, "wx", 0o600);
      try {
        await handle.writeFile(jpeg);
      } finally {
        await handle.close();
      }
      await rename(temporary, this.#pathOf(name));
    } catch {
      await rm(temporary, { force: true }).catch(() => undefined);
      return;
    }
    this.#total += jpeg.length - (this.#kept.get(name)?.bytes ?? 0);
    const used = this.#use();
    this.#kept.set(name, { bytes: jpeg.length, used });
    await this.#mark(name, used);
    if (this.#total > this.#most) await this.#makeRoom();
  }

  async #look(): Promise<void> {
    await makeOwnFolder(this.#folder);
    for (const entry of await readdir(this.#folder, { withFileTypes: true })) {
      // What an earlier run had no time to finish.
      if (entry.isFile() && /^\.[0-9a-f]{40}\.jpg\.[0-9a-f]{12}$/.test(entry.name))
        await rm(join(this.#folder, entry.name), { force: true });
      if (!entry.isDirectory() || !/^[0-9a-f]{2}$/.test(entry.name)) continue;
      for (const name of await readdir(join(this.#folder, entry.name))) {
        if (!ownName.test(name) || !name.startsWith(entry.name)) continue;
        const facts = await lstat(this.#pathOf(name)).catch(() => undefined);
        if (facts?.isFile() !== true) continue;
        this.#kept.set(name, { bytes: facts.size, used: facts.mtimeMs });
        this.#total += facts.size;
        this.#uses = Math.max(this.#uses, facts.mtimeMs);
      }
    }
    if (this.#total > this.#most) await this.#makeRoom();
  }

  async #makeRoom(): Promise<void> {
    const oldest = [...this.#kept].sort(([, a], [, b]) => a.used - b.used);
    for (const [name] of oldest) {
      if (this.#total <= this.#most * keptShare) return;
      await this.#remove(name);
    }
  }

  /** In the file's time, for the order after a restart. */
  async #mark(name: string, used: number): Promise<void> {
    await utimes(this.#pathOf(name), used / 1000, used / 1000).catch(() => undefined);
  }

  async #remove(name: string): Promise<void> {
    this.#total -= this.#kept.get(name)?.bytes ?? 0;
    this.#kept.delete(name);
    if (await this.#isOwn(name)) await rm(this.#pathOf(name), { force: true }).catch(() => undefined);
  }

  /** Not where a link took a folder's place since. */
  async #isOwn(name: string): Promise<boolean> {
    return (await isFolder(this.#folder)) && (await isFolder(this.#folderOf(name)));
  }

  /** Later than every earlier use, as milliseconds: it stands in the file's time. */
  #use(): number {
    this.#uses = Math.max(this.#uses + 1, Math.floor(performance.timeOrigin + performance.now()));
    return this.#uses;
  }

  #folderOf(name: string): string {
    return join(this.#folder, name.slice(0, 2));
  }

  #pathOf(name: string): string {
    return join(this.#folderOf(name), name);
  }
}

function nameOf(frame: FrameId, size: PictureSize): string {
  return `${createHash("sha256")
    .update(JSON.stringify([frame, size]))
    .digest("hex")
    .slice(0, 40)}.jpg`;
}

/** @throws where something else is there, such as a link to a folder */
async function makeOwnFolder(folder: string): Promise<void> {
  await mkdir(folder, { recursive: true, mode: 0o700 });
  if (!(await isFolder(folder))) throw new Error("a link is no folder of ours");
}

async function isFolder(path: string): Promise<boolean> {
  return (await lstat(path).catch(() => undefined))?.isDirectory() === true;
}

/** The file's bytes if it still is the regular file that was put there. */
async function readRegular(path: string, size: number): Promise<Uint8Array | undefined> {
  const handle = await open(path, constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK);
  try {
    const facts = await handle.stat();
    return facts.isFile() && facts.size === size ? await handle.readFile() : undefined;
  } finally {
    await handle.close();
  }
}

/** ITU-T T.81: from SOI to EOI. A file that a power cut left empty or half isn't one. */
function isWholeJpeg(content: Uint8Array): boolean {
  const [first, second] = content;
  return first === 0xff && second === 0xd8 && content.at(-2) === 0xff && content.at(-1) === 0xd9;
}
