/**
 * Quantities with their unit in the type. Sizes are bytes, spans are milliseconds, moments are milliseconds since
 * 1970-01-01T00:00:00Z. Formatting for people is in `format.ts`.
 */

import type { Branded } from "./brand.ts";

/** A size in bytes, a whole number of 0 or more, below 2^53. */
export type Bytes = Branded<number, "bytes">;
/** A span of time in milliseconds. */
export type Millis = Branded<number, "milliseconds">;
/** A moment: milliseconds since the Unix epoch, UTC. */
export type Instant = Branded<number, "instant, ms since epoch">;
/** How many of something. */
export type Count = Branded<number, "count">;

export const bytes = (value: number): Bytes => value as Bytes;
export const millis = (value: number): Millis => value as Millis;
export const instant = (value: number): Instant => value as Instant;
export const count = (value: number): Count => value as Count;

export const addBytes = (a: Bytes, b: Bytes): Bytes => bytes(a + b);
export const sumBytes = (sizes: Iterable<Bytes>): Bytes => {
  let total = 0;
  for (const size of sizes) total += size;
  return bytes(total);
};
