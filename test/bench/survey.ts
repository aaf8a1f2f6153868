/**
 * What a full card costs besides copying: how soon the first byte flows, how soon a known card is judged again and how
 * much of it is read for that, and how long `status` takes meanwhile.
 */

import { setTimeout as sleep } from "node:timers/promises";
import { until } from "../support/computer.ts";
import { ReadLimit } from "./readLimit.ts";
import { type CardWish, shootCard } from "./shootCard.ts";
import {
  bytesReadOf,
  hasBegun,
  idle,
  insert,
  median,
  megabytes,
  type Say,
  seconds,
  timed,
  workbench,
} from "./workbench.ts";

export interface SurveyWish {
  readonly card: CardWish;
  readonly cardBytesPerSecond: number;
  readonly driveBytes: number;
  /** Bytes of the card that this one stands for: as many files, each as large as cameras write them. */
  readonly realCardBytes: number;
  readonly statusCalls: number;
}

/** Times in ms. */
export interface SurveyResult {
  readonly files: number;
  readonly firstByte: number;
  readonly copied: number;
  readonly again: number;
  readonly againBytes: number;
  /** `scrubjay status --json` as a person calls it, and the daemon's share of it. */
  readonly statusCommand: number;
  readonly statusRequest: number;
  /** The slowest answer to a request while the card was being copied. */
  readonly statusWorst: number;
}

/** 2,000 frames, raw and JPEG: 4,000 files. Small ones, but a card of 25 MB raws and 8 MB JPEGs has as many. */
export const fullSurvey: SurveyWish = {
  card: { seed: 3, frames: 2_000, jpegBytes: 300_000, raws: 2_000, rawBytes: 1_000_000 },
  cardBytesPerSecond: 100e6,
  driveBytes: 6e9,
  realCardBytes: 2_000 * 33e6,
  statusCalls: 9,
};

export async function survey(cli: string, wish: SurveyWish, say: Say): Promise<SurveyResult> {
  const bench = workbench(cli, wish.driveBytes);
  const { computer, drives, client } = bench;
  const limit = new ReadLimit(wish.cardBytesPerSecond);
  try {
    const { volume: card, size } = bench.card("CARD", (folder) => shootCard(folder, wish.card));
    say(`card: ${size.files} files, ${megabytes(size.bytes)}; ${limit.words}`);
    await bench.start();

    let firstByte = 0;
    let statusWorst = 0;
    const copied = await timed(async () => {
      firstByte = await timed(async () => {
        insert(computer, card, limit);
        await until("a file is on its way", () => drives.some(hasBegun));
      });
      let done = false;
      const waiting = idle(computer).finally(() => {
        done = true;
      });
      while (!done) {
        statusWorst = Math.max(statusWorst, await timed(async () => void (await client.status())));
        await Promise.race([waiting, sleep(1_000)]);
      }
      await waiting;
    });
    say(`first byte on a drive ${seconds(firstByte)} after insertion; all copied after ${seconds(copied)}`);

    card.unmount();
    await until("the card is gone", async () => (await computer.cardStatus()).present === false);
    let before = 0;
    const again = await timed(async () => {
      insert(computer, card, limit);
      before = bytesReadOf(card.device);
      await idle(computer);
    });
    const againBytes = bytesReadOf(card.device) - before;
    const { clear, present, verdict } = await computer.cardStatus();
    if (!clear || !present) throw new Error(`the card isn't clear: ${verdict}`);
    const share = (of: number): string => `${((againBytes / of) * 100).toFixed(2)} %`;
    say(
      `put in again: verdict after ${seconds(again)}, ${megabytes(againBytes)} read: ${share(size.bytes)} of this card, ` +
        `${share(wish.realCardBytes)} of ${megabytes(wish.realCardBytes)} in as many files`,
    );

    const commands: number[] = [];
    const requests: number[] = [];
    for (let call = 0; call < wish.statusCalls; call += 1) {
      commands.push(await timed(async () => void (await computer.must("status", "--json"))));
      requests.push(await timed(async () => void (await client.status())));
    }
    const statusCommand = median(commands);
    const statusRequest = median(requests);
    say(
      `status --json: ${seconds(statusCommand)}, of which the daemon ${seconds(statusRequest)}; ` +
        `at worst while copying ${seconds(statusWorst)}`,
    );
    return {
      files: size.files,
      firstByte,
      copied,
      again,
      againBytes,
      statusCommand,
      statusRequest,
      statusWorst,
    };
  } finally {
    await computer.end();
    await limit.end();
  }
}
