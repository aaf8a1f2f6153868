/**
 * One read of a file, hashed as it streams, written to all its targets at once. A target that fails drops out and the
 * others go on; the slowest sets the pace, since memory is bounded.
 *
 * Not its job: flushing, verifying, naming. What it has written is not yet a copy.
 */

import type { ContentHash } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { type Bytes, bytes } from "../../shared/units.ts";
import type { Block, ReadHandle, WriteHandle } from "../ports/files.ts";
import type { Hashing } from "../ports/hashing.ts";
import type { BlockPool } from "./bounds.ts";

/** One file being written on one drive. */
export interface Sink {
  readonly handle: WriteHandle;
  /** Why this target dropped out; undefined while it holds. */
  fault: unknown;
}

export interface Streamed {
  readonly hash: ContentHash;
  readonly size: Bytes;
  /** XXH64 over the first and the last part, for the quick fingerprint. */
  readonly ends: ContentHash;
}

export interface StreamOptions {
  readonly pool: BlockPool;
  readonly hashing: Hashing;
  readonly readTries: number;
  readonly fingerprintEndBytes: number;
  readonly onBytes: (read: number) => void;
  readonly stop: AbortSignal;
}

/**
 * Reads `source` to its end.
 * @returns undefined when stopped or when no target is left.
 * @throws FileFault when the source can't be read.
 */
export async function stream(
  source: ReadHandle,
  sinks: readonly Sink[],
  options: StreamOptions,
): Promise<Streamed | undefined> {
  const { pool, hashing, onBytes, stop } = options;
  const whole = hashing.start();
  const ends = new FileEnds(options.fingerprintEndBytes);
  const tails = sinks.map(() => Promise.resolve());
  let position = 0;
  let ended = false;
  let sourceFault: unknown;
  try {
    while (!ended && !stop.aborted && sinks.some((sink) => sink.fault === undefined)) {
      const block = await pool.take();
      let filled = 0;
      try {
        filled = await readAgain(source, block, position, options.readTries);
      } catch (fault) {
        pool.giveBack(block);
        throw fault;
      }
      const part = block.subarray(0, filled);
      whole.update(part);
      ends.take(part);
      const at = position;
      const writes = sinks.map((sink, index) => {
        const before = tails[index] ?? Promise.resolve();
        const write = before.then(() => writePart(sink, part, at));
        tails[index] = write;
        return write;
      });
      // The block is free again when every target has it; reading goes on meanwhile while blocks last.
      void Promise.all(writes).then(() => pool.giveBack(block));
      position += filled;
      onBytes(filled);
      ended = filled < block.length;
    }
  } catch (fault) {
    sourceFault = fault;
  }
  // Whatever happened, nobody closes a file that is still being written.
  await Promise.all(tails);
  if (sourceFault !== undefined) throw sourceFault;
  if (!ended || sinks.every((sink) => sink.fault !== undefined)) return undefined;
  return { hash: whole.digest(), size: bytes(position), ends: ends.digest(hashing) };
}

/**
 * bytes. How much of each end of a file belongs to its quick fingerprint: all ends of a card together are half a percent
 * of it, in whole pages, since that is what a read past the cache fetches.
 */
export function fingerprintEnds(size: Bytes, most: number): number {
  return Math.min(most, Math.max(1, Math.ceil(size / 400 / page)) * page);
}

/** bytes */
const page = 4096;

/** The first and last bytes of what streams by. A file shorter than both together has its bytes counted twice. */
export class FileEnds {
  readonly #most: number;
  #first: Uint8Array = new Uint8Array();
  #last: Uint8Array = new Uint8Array();

  constructor(most: number) {
    this.#most = most;
  }

  take(part: Uint8Array): void {
    if (this.#first.length < this.#most)
      this.#first = joined(this.#first, part.subarray(0, this.#most - this.#first.length));
    this.#last =
      part.length >= this.#most
        ? part.slice(part.length - this.#most)
        : joined(this.#last, part).slice(-this.#most);
  }

  digest(hashing: Hashing): ContentHash {
    const running = hashing.start();
    running.update(this.#first);
    running.update(this.#last);
    return running.digest();
  }
}

async function writePart(sink: Sink, part: Uint8Array, position: number): Promise<void> {
  if (sink.fault !== undefined || part.length === 0) return;
  try {
    await sink.handle.write(part, position);
  } catch (fault) {
    sink.fault = fault;
  }
}

/** A worn card often reads at the second try. */
async function readAgain(source: ReadHandle, block: Block, position: number, tries: number): Promise<number> {
  for (let nth = 1; ; nth += 1) {
    try {
      return await source.read(block, position);
    } catch (fault) {
      const worthwhile = fault instanceof FileFault && fault.code === "io";
      if (!worthwhile || nth >= tries) throw fault;
    }
  }
}

function joined(a: Uint8Array, b: Uint8Array): Uint8Array {
  const both = new Uint8Array(a.length + b.length);
  both.set(a);
  both.set(b, a.length);
  return both;
}
