/**
 * Folders as volumes: every folder directly in the practice folder is one, inserted when it appears and gone when it
 * is moved away. A file system mounted on such a folder is another volume than the folder was. Hidden folders and
 * links are none. Not its job: telling cards from drives.
 */

import { lstat } from "node:fs/promises";
import { watch } from "chokidar";
import { type AbsolutePath, baseName, under, type VolumeId } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import type { Files } from "../../ports/files.ts";
import type { Ejection, Volume, Volumes } from "../../ports/volumes.ts";
import { probeFileSystem } from "../common/blkid.ts";
import { mountOf, readMountTable } from "../common/mountTable.ts";
import { pathToBytes } from "../common/pathBytes.ts";
import { unmount } from "../common/unmount.ts";

interface Known {
  /** Tells this folder, or what is mounted on it, from another by the same name. */
  readonly identity: string;
  readonly volume: Volume;
}

export class PracticeVolumes implements Volumes {
  readonly #folder: AbsolutePath;
  readonly #files: Files;
  #known = new Map<string, Known>();
  /** Names that were seen going away since they were last looked at. */
  readonly #went = new Set<string>();
  /** Ejected folders that weren't moved away yet, by name. */
  readonly #ejected = new Map<string, string>();
  #appearances = 0;
  #lastLook: Promise<unknown> = Promise.resolve();

  /** `folder`: absolute, without links in it. */
  constructor(folder: AbsolutePath, files: Files) {
    this.#folder = folder;
    this.#files = files;
  }

  /** One look at a time, so that a folder that just appeared isn't counted twice. */
  look(): Promise<readonly Volume[]> {
    const next = this.#lastLook.then(() => this.#look());
    this.#lastLook = next.catch(() => undefined);
    return next;
  }

  /**
   * A file system that is mounted on its folder is unmounted. A mere folder can't be: it is left out until it has been
   * moved away, as a medium stays in its socket until someone pulls it.
   */
  async eject(id: VolumeId): Promise<Ejection> {
    const found = [...this.#known].find(([, known]) => known.volume.id === id);
    if (found === undefined) return { ejected: true };
    const [name, { identity, volume }] = found;
    const mount = mountOf(await readMountTable(), volume.root);
    if (mount?.at === volume.root) return unmount(volume.root);
    this.#ejected.set(name, identity);
    return { ejected: true };
  }

  /** Resolves once watching has begun, and watches until `stop` aborts. */
  async watch(hint: () => void, stop: AbortSignal): Promise<void> {
    if (stop.aborted) return;
    const watcher = watch(this.#folder, { depth: 0, ignoreInitial: true, followSymlinks: false });
    watcher.on("all", (event, path) => {
      // Moved away and back between two looks, it is another volume all the same.
      if (event === "unlinkDir") this.#went.add(baseName(path));
      hint();
    });
    // A watcher that fails (too many watches) costs hints only: the engine looks from time to time anyway.
    watcher.on("error", () => {});
    stop.addEventListener("abort", () => void watcher.close(), { once: true });
    await new Promise<void>((resolve) => {
      watcher.once("ready", resolve);
      stop.addEventListener("abort", () => resolve(), { once: true });
    });
  }

  async #look(): Promise<readonly Volume[]> {
    const names = await this.#names();
    for (const name of this.#ejected.keys()) if (!names.includes(name)) this.#ejected.delete(name);
    const known = new Map<string, Known>();
    for (const name of names) {
      const seen = await this.#see(name);
      if (seen !== undefined) known.set(name, seen);
    }
    this.#known = known;
    return [...known.values()].map(({ volume }) => volume);
  }

  async #names(): Promise<readonly string[]> {
    try {
      const entries = await this.#files.list(this.#folder);
      return entries
        .filter((entry) => entry.kind === "folder" && !entry.name.startsWith("."))
        .map((entry) => entry.name)
        .sort();
    } catch (error) {
      if (error instanceof FileFault) return []; // The practice folder itself is gone, and every volume with it.
      throw error;
    }
  }

  /** The volume by that name, the same one as before if nothing speaks against it; undefined if it just went. */
  async #see(name: string): Promise<Known | undefined> {
    const root = under(this.#folder, name);
    try {
      for (let attempt = 0; attempt < 3; attempt += 1) {
        const identity = await identityOf(root);
        if (this.#went.has(name) || this.#ejected.get(name) !== identity) this.#ejected.delete(name);
        if (this.#ejected.has(name)) return undefined;
        const before = this.#went.delete(name) ? undefined : this.#known.get(name);
        if (before?.identity === identity) return before;
        const fsId = await fileSystemId(root, `practice-${identity}`);
        const { totalBytes } = await this.#files.traits(root);
        // Had something been mounted on it or unmounted meanwhile, these might be of the one or the other.
        if ((await identityOf(root)) !== identity) continue;
        this.#appearances += 1;
        const id = `practice-${this.#appearances}-${identity}` as VolumeId;
        return { identity, volume: { id, root, label: name, fsId, totalBytes } };
      }
    } catch {
      // It went while it was looked at.
    }
    return undefined; // The next look tells.
  }
}

/** Number and birth of a folder: numbers alone are given out again as soon as a folder is removed. */
async function identityOf(root: AbsolutePath): Promise<string> {
  const { dev, ino, birthtimeNs } = await lstat(pathToBytes(root), { bigint: true });
  return `${dev}-${ino}-${birthtimeNs}`;
}

/** The UUID of the file system mounted at `root`, "" where it has none that can be read; `plain` for a mere folder. */
async function fileSystemId(root: AbsolutePath, plain: string): Promise<string> {
  const mount = mountOf(await readMountTable(), root);
  if (mount === undefined || mount.at !== root || mount.root !== "/") return plain;
  return (await probeFileSystem(mount.source)).uuid;
}
