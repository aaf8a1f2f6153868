/** Time. Wall-clock moments are for people and records; spans are measured on a clock that never jumps. */

import type { Instant, Millis } from "../../shared/units.ts";

export interface Clock {
  /** Now, by the computer's clock, which may be wrong and may jump. */
  now(): Instant;
  /** Milliseconds since some fixed moment; only differences mean something. */
  steady(): Millis;
  /** Resolves after `span`, or at once when `stop` aborts. */
  sleep(span: Millis, stop?: AbortSignal): Promise<void>;
}
