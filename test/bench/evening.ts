/**
 * How long after an evening's shooting until the card may be formatted: two verified copies by the daemon, held against
 * reading the card once (nothing can be faster) and against the same work by hand with general tools.
 */

import { spawnSync } from "node:child_process";
import { join } from "node:path";
import type { LoopVolume } from "../support/loopVolume.ts";
import { ReadLimit } from "./readLimit.ts";
import { type CardWish, shootCard } from "./shootCard.ts";
import {
  bytesReadOf,
  idle,
  insert,
  megabytes,
  type Say,
  seconds,
  speed,
  timed,
  tool,
  workbench,
} from "./workbench.ts";

export interface EveningWish {
  readonly card: CardWish;
  readonly cardBytesPerSecond: number;
  readonly driveBytes: number;
}

export interface EveningResult {
  readonly cardBytes: number;
  readonly limited: boolean;
  /** ms */
  readonly readOnce: number;
  readonly scrubjay: number;
  /** undefined: no xxhsum here. */
  readonly byHand: number | undefined;
  /** How often the daemon read the card's bytes. */
  readonly timesRead: number;
  readonly clear: boolean;
}

/** 1.15 GB: 30 raws of 25 MB, 200 JPEGs of 2 MB. */
export const fullEvening: EveningWish = {
  card: { seed: 1, frames: 200, jpegBytes: 2_000_000, raws: 30, rawBytes: 25_000_000 },
  cardBytesPerSecond: 100e6,
  driveBytes: 4e9,
};

export async function evening(cli: string, wish: EveningWish, say: Say): Promise<EveningResult> {
  const bench = workbench(cli, wish.driveBytes);
  const { computer, drives } = bench;
  const limit = new ReadLimit(wish.cardBytesPerSecond);
  try {
    const { volume: card, size } = bench.card("CARD", (folder) => shootCard(folder, wish.card));
    say(`card: ${size.files} files, ${megabytes(size.bytes)}; ${limit.words}`);

    card.mount(join(computer.aside, "CARD"));
    limit.put(card.device);
    const readOnce = await timed(() => readEveryFile(card.at));
    card.unmount();
    say(`reading it once:     ${seconds(readOnce)}, ${speed(size.bytes, readOnce)}`);

    await bench.start();
    tool("sync", []);
    let before = 0;
    const scrubjay = await timed(async () => {
      insert(computer, card, limit);
      before = bytesReadOf(card.device);
      await idle(computer);
    });
    const timesRead = (bytesReadOf(card.device) - before) / size.bytes;
    const { clear, verdict } = await computer.cardStatus();
    if (!clear) throw new Error(`the card isn't clear: ${verdict}`);
    await computer.stop();
    card.unmount();
    say(
      `Scrubjay, two copies: ${seconds(scrubjay)}, ${speed(size.bytes, scrubjay)}; ` +
        `${ratio(scrubjay, readOnce)} times the reading; card read ${timesRead.toFixed(3)} times`,
    );

    const byHand = hasXxhsum()
      ? await copyByHand(card, drives, join(computer.aside, "CARD"), limit)
      : undefined;
    if (byHand === undefined) say("by hand: not measured, xxhsum isn't installed");
    else
      say(
        `by hand, two copies:  ${seconds(byHand)}, ${speed(size.bytes, byHand)}; ` +
          `${ratio(byHand, readOnce)} times the reading (cp, cp, sync, three xxhsum)`,
      );
    const limited = limit.bytesPerSecond !== undefined;
    return { cardBytes: size.bytes, limited, readOnce, scrubjay, byHand, timesRead, clear };
  } finally {
    await computer.end();
    await limit.end();
  }
}

/** What a careful person does. The second `cp` may find the card in memory, which large cards are too large for. */
async function copyByHand(
  card: LoopVolume,
  drives: readonly LoopVolume[],
  at: string,
  limit: ReadLimit,
): Promise<number> {
  tool("sync", []);
  card.mount(at);
  limit.put(card.device);
  let spent = await timed(() => {
    for (const drive of drives) tool("cp", ["-r", "--preserve=timestamps", at, join(drive.at, "by-hand")]);
    tool("sync", []);
  });
  // Reading back is worth something only past the caches.
  for (const volume of [card, ...drives]) {
    volume.unmount();
    volume.mount();
  }
  limit.put(card.device);
  spent += await timed(() => {
    for (const folder of [at, ...drives.map((drive) => join(drive.at, "by-hand"))])
      tool("find", [".", "-type", "f", "-exec", "xxhsum", "{}", "+"], folder);
  });
  card.unmount();
  return spent;
}

function readEveryFile(folder: string): void {
  tool("find", [".", "-type", "f", "-exec", "cat", "{}", "+"], folder);
}

const hasXxhsum = (): boolean => spawnSync("xxhsum", ["--version"], { stdio: "ignore" }).status === 0;

const ratio = (a: number, b: number): string => (a / b).toFixed(2);
