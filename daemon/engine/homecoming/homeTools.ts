/** What the steps of a homecoming share: the drives that can be read, and how far it is. */

import type { AbsolutePath, CardId, DriveId, TripId, VolumeId } from "../../../shared/identity.ts";
import { bytes } from "../../../shared/units.ts";
import type { BlockPool } from "../bounds.ts";
import type { CatchUpSurroundings } from "../catchUp.ts";
import { type CurrentWork, Progress } from "../progress.ts";
import type { Publisher } from "../publisher.ts";
import type { CarryContext, Source } from "./carry.ts";
import type { Place, Run } from "./run.ts";

export interface HomeSurroundings extends CatchUpSurroundings {
  readonly streamPool: BlockPool;
  readonly stop: AbortSignal;
  readonly nameOfCard: (card: CardId) => string;
}

export class HomeTools {
  readonly around: HomeSurroundings;
  work: CurrentWork | undefined;
  #progress: Progress;
  readonly #stops = new WeakMap<AbortSignal, AbortSignal>();

  constructor(around: HomeSurroundings) {
    this.around = around;
    this.#progress = new Progress(bytes(0), around.ports.clock.steady());
  }

  /** A step begins, with so many bytes before it. */
  begins(total: number): void {
    this.#progress = new Progress(bytes(total), this.around.ports.clock.steady());
  }

  advance(read: number): void {
    this.#progress.add(read, this.around.ports.clock.steady());
  }

  /** What is being read now, for whoever asks. */
  show(run: Run, volume: VolumeId, from: string): void {
    this.work = {
      kind: "homecoming",
      source: volume,
      from,
      drives: new Set(),
      to: run.targets.filter(({ takesPart }) => takesPart).map(({ folder }) => folder),
      progress: this.#progress,
      yields: true,
    };
  }

  /** A drive that can be read now and has the trip's record. */
  publisherOf(drive: DriveId, trip: TripId): Publisher | undefined {
    const { bay } = this.around;
    const publisher = bay.targets.get(drive)?.publisher;
    const usable = publisher !== undefined && bay.isUsable(drive) && publisher.hasRecord(trip);
    return usable ? publisher : undefined;
  }

  sourceAt({ trip }: Run, { drive, path }: Place): Source | undefined {
    const publisher = this.publisherOf(drive, trip.id);
    if (publisher === undefined) return undefined;
    const at: AbsolutePath = publisher.pathOf(trip.id, path);
    const { gone } = publisher.drive;
    return { path: at, gone, stop: this.stopOf(gone) };
  }

  /** One signal for each drive: many files are read from it. */
  stopOf(gone: AbortSignal): AbortSignal {
    const before = this.#stops.get(gone);
    if (before !== undefined) return before;
    const stop = AbortSignal.any([gone, this.around.stop]);
    this.#stops.set(gone, stop);
    return stop;
  }

  context(run: Run): CarryContext {
    const { ports, streamPool, verifyPool, bay } = this.around;
    return {
      ports,
      run,
      streamPool,
      verifyPool,
      onBytes: (read) => this.advance(read),
      tell: (facts) => bay.tell(facts),
    };
  }
}
