/**
 * How the tests run: every `*.test.ts` below `test/`, on three workers: the smallest computer meant has two cores, and
 * many tests wait for media, for quiet or for a browser. Limits of time only end a test that hangs; they are no claim about
 * speed.
 */

import { fileURLToPath } from "node:url";
import { defineConfig } from "vitest/config";
import { BaseSequencer } from "vitest/node";

/** Those that take minutes begin first, so that nobody waits for one of them in the end. */
const long = [
  "/test/week/",
  "/test/media/networkShare",
  "/test/media/everyOperation",
  "/test/ledger/counters",
  "/test/crash/",
];

class LongFirst extends BaseSequencer {
  async sort(files) {
    const isLong = ({ moduleId }) => long.some((part) => moduleId.includes(part));
    const sorted = await super.sort(files);
    return [...sorted.filter(isLong), ...sorted.filter((file) => !isLong(file))];
  }
}

export default defineConfig({
  root: fileURLToPath(new URL("../..", import.meta.url)),
  test: {
    include: ["test/**/*.test.ts"],
    pool: "forks",
    maxWorkers: 3,
    sequence: { sequencer: LongFirst },
    testTimeout: 120_000,
    hookTimeout: 120_000,
    // A test marked `.only` would keep all others from running without a word.
    allowOnly: false,
  },
});
