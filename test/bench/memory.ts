/**
 * How much memory the daemon takes at most: idle, with few small files, with many, and with one file larger than 4 GiB.
 * Each on a computer of its own, since a peak can only grow.
 */

import { type CardSize, type CardWish, shootCard, sparseFilm } from "./shootCard.ts";
import { idle, insert, megabytes, memoryOf, type Say, workbench } from "./workbench.ts";

export interface MemoryWish {
  readonly fewFiles: number;
  readonly manyFiles: number;
  readonly smallBytes: number;
  readonly filmBytes: number;
  readonly driveBytes: number;
}

/** All in bytes of resident memory. */
export interface MemoryResult {
  readonly what: string;
  readonly idle: number;
  readonly peak: number;
  readonly clear: boolean;
}

export const fullMemory: MemoryWish = {
  fewFiles: 500,
  manyFiles: 5_000,
  smallBytes: 20_000,
  filmBytes: 4 * 1024 ** 3 + 1,
  driveBytes: 6e9,
};

export async function memory(cli: string, wish: MemoryWish, say: Say): Promise<readonly MemoryResult[]> {
  const small = (frames: number): CardWish => ({
    seed: 2,
    frames,
    jpegBytes: wish.smallBytes,
    raws: 0,
    rawBytes: 0,
  });
  const cards: readonly (readonly [string, (folder: string) => CardSize])[] = [
    [`${wish.fewFiles} small files`, (folder) => shootCard(folder, small(wish.fewFiles))],
    [`${wish.manyFiles} small files`, (folder) => shootCard(folder, small(wish.manyFiles))],
    [`one file of ${wish.filmBytes} bytes`, (folder) => sparseFilm(folder, wish.filmBytes)],
  ];
  const results: MemoryResult[] = [];
  for (const [what, fill] of cards) {
    const result = { what, ...(await measure(cli, wish.driveBytes, fill)) };
    say(`${what}: idle ${megabytes(result.idle)}, at most ${megabytes(result.peak)}`);
    results.push(result);
  }
  return results;
}

async function measure(cli: string, driveBytes: number, fill: (folder: string) => CardSize) {
  const bench = workbench(cli, driveBytes);
  const { computer } = bench;
  try {
    const { volume } = bench.card("CARD", fill);
    const pid = await bench.start();
    const before = memoryOf(pid).now;
    insert(computer, volume);
    await idle(computer);
    const { clear, verdict } = await computer.cardStatus();
    if (!clear) throw new Error(`the card isn't clear: ${verdict}`);
    return { idle: before, peak: memoryOf(pid).peak, clear };
  } finally {
    await computer.end();
  }
}
