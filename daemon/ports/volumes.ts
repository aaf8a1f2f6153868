/**
 * Drives and cards as the operating system reports them. Events are hints to look; `look` is the truth. What a volume
 * is (card, drive, neither) is not decided here.
 */

import type { AbsolutePath, VolumeId } from "../../shared/identity.ts";
import type { Bytes } from "../../shared/units.ts";

export interface Volume {
  /** Another each time it is mounted. */
  readonly id: VolumeId;
  readonly root: AbsolutePath;
  /** The label as the file system has it; "" without one. */
  readonly label: string;
  /** What tells this file system from others: its UUID or serial; "" where the system knows none. */
  readonly fsId: string;
  readonly totalBytes: Bytes;
}

/** `why` is a part of a sentence. */
export type Ejection = { readonly ejected: true } | { readonly ejected: false; readonly why: string };

export interface Volumes {
  /** Every volume now mounted that may be a card or a drive; system volumes are left out. Mounts what the desktop didn't. */
  look(): Promise<readonly Volume[]>;
  /** Flushes and unmounts a volume, so that it may be unplugged. Never rejects. */
  eject(volume: VolumeId): Promise<Ejection>;
  /** Calls `hint` when something may have changed, until `stop` aborts. Hints may be lost, doubled or late. */
  watch(hint: () => void, stop: AbortSignal): Promise<void>;
}
