/** The computer's clock. The only place that asks for the time. */

import { performance } from "node:perf_hooks";
import { type Instant, instant, type Millis, millis } from "../../../shared/units.ts";
import type { Clock } from "../../ports/clock.ts";

/** ms. Node fires a longer timer at once (Node documentation, "setTimeout": TIMEOUT_MAX is 2^31 - 1). */
const longestTimer = 2 ** 31 - 1;

export class SystemClock implements Clock {
  now(): Instant {
    return instant(Date.now());
  }

  steady(): Millis {
    return millis(performance.now());
  }

  sleep(span: Millis, stop?: AbortSignal): Promise<void> {
    return new Promise((resolve) => {
      if (stop?.aborted === true) {
        resolve();
        return;
      }
      const done = (): void => {
        clearTimeout(timer);
        stop?.removeEventListener("abort", done);
        resolve();
      };
      const timer = setTimeout(done, Math.min(Math.max(span, 0), longestTimer));
      stop?.addEventListener("abort", done);
    });
  }
}
