/**
 * What the API asks of the daemon: the only way page, tray and command line reach engine and ledger. Failures that
 * are the caller's are `UserMistake`.
 */

import type {
  CardStatusJson,
  DismissedJson,
  DriveAddedJson,
  DriveStatusJson,
  EjectedJson,
  StatusJson,
  WaitJson,
} from "../../shared/api.ts";
import type { Millis } from "../../shared/units.ts";

export interface DaemonFace {
  status(): StatusJson;
  cards(): readonly CardStatusJson[];
  drives(): readonly DriveStatusJson[];
  /** Makes the volume mounted at `mount` a known drive. Refuses cards, known drives, and names in use. */
  addDrive(mount: string, name: string): Promise<DriveAddedJson>;
  /** Answers which trip a card belongs to, when dates and bodies couldn't. */
  assignCard(card: string, trip: string): Promise<void>;
  /** Flushes and unmounts a drive or card. Refuses while it is being written or read. */
  eject(name: string): Promise<EjectedJson>;
  /** A card that is out is of no concern any more, until it is put in again. */
  dismissCard(card: string): Promise<DismissedJson>;
  /** Reads the trip files again and looks at the volumes. */
  refresh(): Promise<void>;
  /** Resolves when nothing is left to do with what is plugged in, or after `timeout`. */
  wait(timeout: Millis, stop: AbortSignal): Promise<WaitJson>;
}
