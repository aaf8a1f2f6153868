/** What the tray needs of the daemon. `daemon/api/client.ts` gives it; tests give their own. */

import type { EjectedJson, StatusJson } from "../shared/api.ts";

/** Each call fails with `UserMistake`, ready to be shown. */
export interface TrayFace {
  /** The status now and at each change, until `stop` aborts or the daemon goes. */
  events(stop: AbortSignal): AsyncIterable<StatusJson>;
  pause(): Promise<void>;
  goOn(): Promise<void>;
  /** @param name a drive's name, or a card's id */
  eject(name: string): Promise<EjectedJson>;
  /** A link that opens the page once. */
  openLink(): Promise<{ readonly url: string }>;
}
