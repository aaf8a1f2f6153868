/**
 * Real files with faults put in between: `before` is asked ahead of every operation and may throw in its place;
 * `spoil` may change what is written. Everything else is the real adapter.
 */

import type {
  Block,
  Entry,
  FileFacts,
  Files,
  FsTraits,
  ReadHandle,
  VolumeRoot,
  WriteHandle,
} from "../../daemon/ports/files.ts";
import type { ReadBack } from "../../shared/facts.ts";
import { type AbsolutePath, type RelativePath, under } from "../../shared/identity.ts";
import type { Bytes, Instant } from "../../shared/units.ts";

export type Operation =
  | Exclude<keyof Files, "blocks">
  | "read"
  | "verify"
  | "write"
  | "finish"
  | "handleFacts"
  | "close";

export interface Faults {
  /** Throws a FileFault to make the operation fail. */
  before?(operation: Operation, path: AbsolutePath): void | Promise<void>;
  /** What was read; may be altered in place. */
  seen?(path: AbsolutePath, part: Uint8Array, operation: "read" | "verify"): void;
  /** What is really written. */
  spoil?(path: AbsolutePath, part: Uint8Array, position: number): Uint8Array;
}

export class FaultyFiles implements Files {
  readonly #files: Files;
  readonly #faults: Faults;

  constructor(files: Files, faults: Faults) {
    this.#files = files;
    this.#faults = faults;
  }

  async list(folder: AbsolutePath): Promise<readonly Entry[]> {
    await this.#before("list", folder);
    return this.#files.list(folder);
  }
  async facts(path: AbsolutePath): Promise<FileFacts> {
    await this.#before("facts", path);
    return this.#files.facts(path);
  }
  async traits(root: AbsolutePath): Promise<FsTraits> {
    await this.#before("traits", root);
    return this.#files.traits(root);
  }
  async fileSystemId(folder: AbsolutePath): Promise<string> {
    await this.#before("fileSystemId", folder);
    return this.#files.fileSystemId(folder);
  }
  async readSmall(path: AbsolutePath, most: Bytes): Promise<Uint8Array> {
    await this.#before("readSmall", path);
    return this.#files.readSmall(path, most);
  }
  async openToRead(path: AbsolutePath): Promise<ReadHandle> {
    await this.#before("openToRead", path);
    return this.#reader(await this.#files.openToRead(path), path, "read");
  }
  async openToVerify(path: AbsolutePath): Promise<{ handle: ReadHandle; readBack: ReadBack }> {
    await this.#before("openToVerify", path);
    const { handle, readBack } = await this.#files.openToVerify(path);
    return { handle: this.#reader(handle, path, "verify"), readBack };
  }
  async createToWrite(path: AbsolutePath): Promise<WriteHandle> {
    await this.#before("createToWrite", path);
    const handle = await this.#files.createToWrite(path);
    return {
      write: async (from, position) => {
        await this.#before("write", path);
        await handle.write(this.#faults.spoil?.(path, from, position) ?? from, position);
      },
      finish: async (modified: Instant) => {
        await this.#before("finish", path);
        await handle.finish(modified);
      },
      facts: async () => {
        await this.#before("handleFacts", path);
        return handle.facts();
      },
      close: () => handle.close(),
    };
  }
  async makeFolder(volume: VolumeRoot, inside: RelativePath): Promise<void> {
    await this.#before("makeFolder", under(volume.root, inside));
    return this.#files.makeFolder(volume, inside);
  }
  async moveNoReplace(from: AbsolutePath, to: AbsolutePath): Promise<"moved" | "taken"> {
    await this.#before("moveNoReplace", to);
    return this.#files.moveNoReplace(from, to);
  }
  async flushFolder(folder: AbsolutePath): Promise<void> {
    await this.#before("flushFolder", folder);
    return this.#files.flushFolder(folder);
  }
  async appendOwn(path: AbsolutePath, addition: Uint8Array): Promise<void> {
    await this.#before("appendOwn", path);
    return this.#files.appendOwn(path, addition);
  }
  async replaceOwn(path: AbsolutePath, content: Uint8Array): Promise<void> {
    await this.#before("replaceOwn", path);
    return this.#files.replaceOwn(path, content);
  }
  async removeUnfinished(path: AbsolutePath): Promise<void> {
    await this.#before("removeUnfinished", path);
    return this.#files.removeUnfinished(path);
  }
  async removeEarlier(path: AbsolutePath): Promise<void> {
    await this.#before("removeUnfinished", path);
    return this.#files.removeEarlier(path);
  }
  blocks(amount: number, size: Bytes): Block[] {
    return this.#files.blocks(amount, size);
  }

  #reader(handle: ReadHandle, path: AbsolutePath, operation: "read" | "verify"): ReadHandle {
    return {
      read: async (into, position) => {
        await this.#before(operation, path);
        const filled = await handle.read(into, position);
        this.#faults.seen?.(path, into.subarray(0, filled), operation);
        return filled;
      },
      facts: () => handle.facts(),
      close: () => handle.close(),
    };
  }

  async #before(operation: Operation, path: AbsolutePath): Promise<void> {
    await this.#faults.before?.(operation, path);
  }
}
