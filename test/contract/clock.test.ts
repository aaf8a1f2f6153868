/** Sleeping that can be ended, and spans that never jump. */

import { expect, test } from "vitest";
import { SystemClock } from "../../daemon/platform/common/systemClock.ts";
import { SystemRandomness } from "../../daemon/platform/common/systemRandomness.ts";
import { millis } from "../../shared/units.ts";

const clock = new SystemClock();

test("a sleep ends by itself, at once when stopped, and at once when it was stopped before", async () => {
  const before = clock.steady();
  await clock.sleep(millis(5));
  expect(clock.steady()).toBeGreaterThan(before);
  const stop = new AbortController();
  const day = clock.sleep(millis(86_400_000), stop.signal);
  stop.abort();
  await day;
  await clock.sleep(millis(86_400_000), stop.signal);
});

test("a sleep longer than a timer can be doesn't end at once", async () => {
  const stop = new AbortController();
  let ended = false;
  const sleep = clock.sleep(millis(2 ** 31 + 5), stop.signal).then(() => {
    ended = true;
  });
  await clock.sleep(millis(50));
  expect(ended).toBe(false);
  stop.abort();
  await sleep;
});

test("random names have the length asked for and differ", () => {
  const randomness = new SystemRandomness();
  expect(randomness.hex(16)).toMatch(/^[0-9a-f]{32}$/);
  expect(randomness.hex(16)).not.toBe(randomness.hex(16));
});
