/**
 * What the API asks of the daemon: the only way page, tray and command line reach engine and ledger. Failures that
 * are the caller's are `UserMistake`.
 */

import type {
  AcceptedJson,
  CardStatusJson,
  DismissedJson,
  DriveAddedJson,
  DriveLostJson,
  DriveStatusJson,
  EjectedJson,
  HappenedJson,
  HoldingsJson,
  RebuildJson,
  ScrubJson,
  StatusJson,
  WaitJson,
} from "../../shared/api.ts";
import type { Millis } from "../../shared/units.ts";
import type { EditsFace } from "./editsFace.ts";
import type { FramesFace } from "./framesFace.ts";
import type { HomeFace } from "./homeFace.ts";
import type { TripsFace } from "./tripsFace.ts";

/** The board, cards and drives. */
export interface BoardFace {
  status(): StatusJson;
  cards(): readonly CardStatusJson[];
  drives(): readonly DriveStatusJson[];
  /** The board's trip by shooting day, and what each drive holds of it. */
  holdings(): HoldingsJson;
  /** Makes the volume mounted at `mount` a known drive. Refuses cards, known drives, and names in use. */
  addDrive(mount: string, name: string): Promise<DriveAddedJson>;
  /** What happened before the event of this number (undefined: until now), latest first. */
  happened(before: number | undefined): readonly HappenedJson[];
  /** Answers which trip a card belongs to, when dates and bodies couldn't. */
  assignCard(card: string, trip: string): Promise<void>;
  /** Flushes and unmounts a drive or card. Refuses while it is being written or read. */
  eject(name: string): Promise<EjectedJson>;
  /** A card that is out is of no concern any more, until it is put in again. */
  dismissCard(card: string): Promise<DismissedJson>;
  /** Someone knows that a file of a card is damaged; it doesn't keep the card from being clear any more. */
  acceptDamage(card: string, path: string): Promise<AcceptedJson>;
  /** A drive is lost for good: its copies count no more. Refuses one that is plugged in. */
  loseDrive(name: string): Promise<DriveLostJson>;
  /**
   * Reads every verified copy on a drive, or on all that are in, from the medium again. Resolves when that is done and
   * what could be made good is; when `stop` aborts nobody waits any longer and the scrub goes on.
   */
  scrub(drive: string | undefined, stop: AbortSignal): Promise<ScrubJson>;
  /**
   * Learns from the records of the drives mounted there all that they know, their trips' profiles too.
   * @param owner the drives of this owner are this photographer's as well
   */
  rebuild(mounts: readonly string[], owner: string | undefined): Promise<RebuildJson>;
  /** Nothing is read or written from now on until `goOn`; what is under way ends with its file. */
  pause(): Promise<void>;
  goOn(): Promise<void>;
  /** Reads the trip files again and looks at the volumes. */
  refresh(): Promise<void>;
  /** Resolves when nothing is left to do with what is plugged in, or after `timeout`. */
  wait(timeout: Millis, stop: AbortSignal): Promise<WaitJson>;
}

/** All that the API asks of. */
export interface DaemonFace extends BoardFace {
  readonly trips: TripsFace;
  readonly frames: FramesFace;
  readonly edits: EditsFace;
  readonly home: HomeFace;
}
