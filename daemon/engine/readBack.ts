/** Reading a file from the medium to its end and hashing it: the proof behind "verified". */

import type { ReadBack } from "../../shared/facts.ts";
import type { AbsolutePath, ContentHash } from "../../shared/identity.ts";
import { type Bytes, bytes } from "../../shared/units.ts";
import type { Files } from "../ports/files.ts";
import type { Hashing } from "../ports/hashing.ts";
import type { BlockPool } from "./bounds.ts";

export interface Reading {
  readonly hash: ContentHash;
  readonly size: Bytes;
  readonly readBack: ReadBack;
}

/** Told how many bytes were read; answers whether to go on. */
export type Pace = (read: number) => Promise<boolean>;

/** @throws FileFault */
export async function readBack(
  files: Files,
  path: AbsolutePath,
  pool: BlockPool,
  hashing: Hashing,
): Promise<Reading>;
/** @returns undefined when `pace` broke it off. @throws FileFault */
export async function readBack(
  files: Files,
  path: AbsolutePath,
  pool: BlockPool,
  hashing: Hashing,
  pace: Pace | undefined,
): Promise<Reading | undefined>;
export async function readBack(
  files: Files,
  path: AbsolutePath,
  pool: BlockPool,
  hashing: Hashing,
  pace?: Pace,
): Promise<Reading | undefined> {
  const { handle, readBack: how } = await files.openToVerify(path);
  try {
    const running = hashing.start();
    let position = 0;
    const block = await pool.take();
    try {
      for (;;) {
        const filled = await handle.read(block, position);
        running.update(block.subarray(0, filled));
        position += filled;
        if (pace !== undefined && !(await pace(filled))) return undefined;
        if (filled < block.length) break;
      }
    } finally {
      pool.giveBack(block);
    }
    return { hash: running.digest(), size: bytes(position), readBack: how };
  } finally {
    await handle.close();
  }
}
