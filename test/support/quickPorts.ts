/**
 * Ports for runs in one process by the hundred: waiting until a drive is tried again takes no time, hints settle at
 * once, and no program is started to read metadata (pictures without Exif are dated by their file).
 */

import type { EnginePorts } from "../../daemon/engine/ports.ts";
import { type Millis, millis } from "../../shared/units.ts";

export interface QuickPorts {
  readonly wrap: (ports: EnginePorts) => EnginePorts;
  /** Lets the time pass after which a drive that failed is tried again. */
  passRetryTime(): void;
}

export function quickPorts(): QuickPorts {
  let ahead = 0;
  let retryAfter = millis(0);
  return {
    wrap: (ports) => {
      retryAfter = millis(ports.limits.driveRetryAfter);
      return {
        ...ports,
        limits: { ...ports.limits, hintSettle: 5, pulledSettle: 5, pollEvery: 100_000 },
        metadata: { read: async (paths) => paths.map(() => undefined), close: async () => undefined },
        clock: {
          now: () => ports.clock.now(),
          steady: () => (ports.clock.steady() + ahead) as Millis,
          sleep: (span, stop) => ports.clock.sleep(span, stop),
        },
      };
    },
    passRetryTime: () => {
      ahead += retryAfter;
    },
  };
}
