/** How far the work is, how fast it goes and how long it takes. Speed is that of the last seconds, on a steady clock. */

import type { VolumeId } from "../../shared/identity.ts";
import { type Bytes, bytes, type Millis } from "../../shared/units.ts";

/** What is being done right now. */
export interface CurrentWork {
  readonly kind: "survey" | "copy" | "scrub" | "edits" | "homecoming";
  /** The volume that is read, and what people call it. */
  readonly source: VolumeId;
  readonly from: string;
  /** The volumes that are written, and what people call them. */
  readonly drives: ReadonlySet<VolumeId>;
  readonly to: readonly string[];
  readonly progress: Progress;
  /** It gives way to whatever else is to be done. */
  readonly yields: boolean;
}

/** Long enough to level out single files, short enough to follow a change of drive. */
const windowMillis = 10_000;

export class Progress {
  readonly totalBytes: Bytes;
  #doneBytes = 0;
  readonly #marks: { readonly at: number; readonly done: number }[] = [];

  constructor(totalBytes: Bytes, now: Millis) {
    this.totalBytes = totalBytes;
    this.#marks.push({ at: now, done: 0 });
  }

  add(amount: number, now: Millis): void {
    this.#doneBytes += amount;
    this.#marks.push({ at: now, done: this.#doneBytes });
    while (this.#marks.length > 2 && now - (this.#marks[1]?.at ?? now) > windowMillis) this.#marks.shift();
  }

  get doneBytes(): Bytes {
    return bytes(Math.min(this.#doneBytes, this.totalBytes));
  }

  /** 0 while nothing can be said. */
  bytesPerSecond(now: Millis): number {
    const first = this.#marks[0];
    if (first === undefined || now - first.at < 200) return 0;
    return Math.round(((this.#doneBytes - first.done) * 1000) / (now - first.at));
  }

  /** undefined while nothing can be said. */
  secondsLeft(now: Millis): number | undefined {
    const speed = this.bytesPerSecond(now);
    if (speed <= 0) return undefined;
    return Math.ceil(Math.max(0, this.totalBytes - this.#doneBytes) / speed);
  }
}
