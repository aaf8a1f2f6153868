/**
 * Where the icon stands: a tray host as the system has it. Hosts come and go with panels and sessions; what was shown
 * last is shown to the next one.
 */

import type { Choice, TrayView } from "./menuModel.ts";

export interface TrayHost {
  /** Shows this from now on, in place of what was shown. Never fails: without a host it is kept for the next one. */
  show(view: TrayView): void;
  /** Called with each choice made from the menu; one that isn't offered any more is dropped. */
  onChoose(listener: (choice: Choice) => void): void;
  /** Called when there is nothing to show the icon in, now or later on, each time it turns out. */
  onAbsent(listener: () => void): void;
  /** Takes the icon away and lets go of everything. */
  end(): Promise<void>;
}
