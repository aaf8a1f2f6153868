/**
 * Scrubbing: copies that were verified once are read from the medium again. When a drive is in and nothing else is to
 * do, those that were last read longest ago, gently; when someone asks, all of a drive, at full speed. Work that makes
 * copies always comes first: the scrub is broken off for it, even inside a file, and goes on after it.
 *
 * What isn't good any more is concluded in `losses.ts` and made good by the next round like anything that is owed.
 */

import type { ReadBack } from "../../shared/facts.ts";
import type { DriveId, OriginalId, TripId } from "../../shared/identity.ts";
import { type Bytes, bytes, type Count, count, type Instant, instant, millis } from "../../shared/units.ts";
import type { CopyRow } from "../ports/ledger.ts";
import { encodeFact } from "../record/journal.ts";
import type { BlockPool } from "./bounds.ts";
import type { DriveBay } from "./driveBay.ts";
import { type Examined, examine } from "./examine.ts";
import type { Concluded } from "./losses.ts";
import type { EnginePorts } from "./ports.ts";
import type { Presence, PresentDrive } from "./presence.ts";
import { type CurrentWork, Progress } from "./progress.ts";
import type { Publisher } from "./publisher.ts";
import type { Pace } from "./readBack.ts";
import type { WrittenCopy } from "./standing.ts";
import type { TripBook } from "./tripBook.ts";

export interface ScrubSurroundings {
  readonly ports: EnginePorts;
  readonly presence: Presence;
  readonly tripBook: TripBook;
  readonly bay: DriveBay;
  readonly verifyPool: BlockPool;
  readonly stop: AbortSignal;
  /** Something else is to be done. */
  readonly interrupted: () => boolean;
  readonly refresh: () => void;
  /** What is the matter may have changed. */
  readonly settle: () => void;
}

/** What was read of one drive for someone who asked. */
export interface DriveScrubbed {
  readonly drive: DriveId;
  readonly name: string;
  files: Count;
  bytes: Bytes;
  /** How many of the files were read perhaps from a cache. */
  unsure: Count;
}

/** A copy that wasn't good. */
export interface ScrubFinding extends Concluded {
  readonly drive: DriveId;
  readonly name: string;
}

export interface ScrubOutcome {
  readonly drives: readonly DriveScrubbed[];
  readonly findings: readonly ScrubFinding[];
  /** Whether every drive stayed until all of it was read. */
  readonly complete: boolean;
}

/** One drive that someone wants read. */
interface Asked {
  readonly told: DriveScrubbed;
  readonly findings: ScrubFinding[];
  readonly remaining: WrittenCopy[];
  readonly progress: Progress;
  readonly done: (complete: boolean) => void;
}

export class Scrub {
  readonly #around: ScrubSurroundings;
  readonly #ports: EnginePorts;
  readonly #asked: Asked[] = [];
  #work: CurrentWork | undefined;

  constructor(around: ScrubSurroundings) {
    this.#around = around;
    this.#ports = around.ports;
  }

  get work(): CurrentWork | undefined {
    return this.#work;
  }

  /** Reads everything on these drives again; resolves when that is done or a drive went. */
  async ask(drives: readonly PresentDrive[]): Promise<ScrubOutcome> {
    const each = drives.map((drive) => this.#askOne(drive));
    this.#around.refresh();
    const complete = await Promise.all(each.map(({ done }) => done));
    return {
      drives: each.map(({ told }) => told),
      findings: each.flatMap(({ findings }) => findings),
      complete: !complete.includes(false),
    };
  }

  #askOne(drive: PresentDrive) {
    const remaining = this.#around.tripBook
      .tripsOf(drive.name)
      .flatMap((trip) => [...this.#ports.ledger.copiesOn(drive.id, trip.id)])
      .sort((a, b) => a.checked - b.checked)
      .flatMap((copy) => this.#written(copy));
    const total = remaining.reduce((sum, { original }) => sum + original.size, 0);
    const told: DriveScrubbed = {
      drive: drive.id,
      name: drive.name,
      files: count(0),
      bytes: bytes(0),
      unsure: count(0),
    };
    const findings: ScrubFinding[] = [];
    const progress = new Progress(bytes(total), this.#ports.clock.steady());
    const done = new Promise<boolean>((resolve) => {
      this.#asked.push({ told, findings, remaining, progress, done: resolve });
    });
    return { told, findings, done };
  }

  #written(copy: CopyRow): WrittenCopy[] {
    const original = this.#ports.ledger.original(copy.original);
    return original === undefined ? [] : [{ copy, original }];
  }

  /** Everyone who waits is told that it won't be finished. */
  giveUp(): void {
    for (const asked of this.#asked.splice(0)) asked.done(false);
  }

  // --- asked for -------------------------------------------------------------------------------------------------

  /** @returns whether anything was read, so that another round is due. */
  async workOnAsked(): Promise<boolean> {
    let worked = false;
    while (this.#asked.length > 0 && !this.#around.interrupted()) {
      const [asked] = this.#asked;
      if (asked === undefined) break;
      const publisher = this.#publisherOf(asked.told.drive);
      if (publisher === undefined || asked.remaining.length === 0) {
        this.#asked.shift();
        asked.done(asked.remaining.length === 0);
        continue;
      }
      await this.#readAll(asked, publisher);
      worked = true;
    }
    return worked;
  }

  async #readAll(asked: Asked, publisher: Publisher): Promise<void> {
    const { clock } = this.#ports;
    this.#begin(publisher.drive, asked.progress, false);
    const batch = new Batch(this.#ports, this.#around.bay, publisher);
    const pace: Pace = async (read) => {
      asked.progress.add(read, clock.steady());
      return !this.#around.interrupted();
    };
    try {
      for (;;) {
        const [listed] = asked.remaining;
        if (listed === undefined || this.#around.interrupted()) break;
        const next = this.#asItStands(listed);
        if (next === undefined) {
          asked.remaining.shift();
          continue;
        }
        const examined = await this.#examine(publisher, next, pace);
        if (examined === undefined) break;
        const concluded = examined.what === "good" ? [] : await this.#conclude(publisher, next, examined);
        // What was found on a drive that goes or fails meanwhile says nothing.
        if (this.#publisherOf(asked.told.drive) === undefined) break;
        asked.remaining.shift();
        asked.told.files = count(asked.told.files + 1);
        const { id: drive, name } = publisher.drive;
        asked.findings.push(...concluded.map((each) => ({ ...each, drive, name })));
        asked.told.bytes = bytes(asked.told.bytes + next.original.size);
        if (examined.what !== "good") continue;
        if (examined.readBack === "cache") asked.told.unsure = count(asked.told.unsure + 1);
        await batch.good(next, examined.readBack);
      }
    } finally {
      await batch.write();
      this.#work = undefined;
    }
  }

  // --- when nothing else is to do --------------------------------------------------------------------------------

  /** Whether a drive that is in holds copies that were last read too long ago. */
  isDue(): boolean {
    return this.#around.presence.drives.some((drive) => this.#due(drive, 1).length > 0);
  }

  /** Reads what is due, gently, until something else is to do or nothing is due. */
  async workWhenIdle(): Promise<void> {
    for (const drive of this.#around.presence.drives) {
      const publisher = this.#publisherOf(drive.id);
      if (publisher === undefined) continue;
      while (!this.#around.interrupted()) {
        const due = this.#due(drive, this.#ports.limits.scrubBatch);
        if (due.length === 0 || !(await this.#readGently(publisher, due))) break;
      }
    }
  }

  #due(drive: PresentDrive, most: number): readonly WrittenCopy[] {
    if (!this.#around.bay.isUsable(drive.id)) return [];
    const { ledger, clock, limits } = this.#ports;
    const publisher = this.#publisherOf(drive.id);
    const now = clock.now();
    const before: Instant = instant(now - limits.scrubAfter);
    return this.#around.tripBook
      .tripsOf(drive.name)
      .filter((trip) => publisher?.hasRecord(trip.id) === true)
      .flatMap((trip) => [...ledger.copiesDue(drive.id, trip.id, before, now, count(most))])
      .sort((a, b) => a.checked - b.checked)
      .slice(0, most)
      .flatMap((copy) => this.#written(copy));
  }

  /** @returns whether all of it was read. */
  async #readGently(publisher: Publisher, due: readonly WrittenCopy[]): Promise<boolean> {
    const total = due.reduce((sum, { original }) => sum + original.size, 0);
    const progress = new Progress(bytes(total), this.#ports.clock.steady());
    this.#begin(publisher.drive, progress, true);
    const batch = new Batch(this.#ports, this.#around.bay, publisher);
    const pace = this.#gently(progress);
    try {
      for (const listed of due) {
        if (this.#around.interrupted()) return false;
        const each = this.#asItStands(listed);
        if (each === undefined) continue;
        const examined = await this.#examine(publisher, each, pace);
        if (examined === undefined) return false;
        if (examined.what === "good") await batch.good(each, examined.readBack);
        else {
          await this.#conclude(publisher, each, examined);
          // It is to be made good at once, if that can be.
          this.#around.refresh();
          return false;
        }
      }
      return true;
    } finally {
      await batch.write();
      await this.#around.bay.flushRecords();
      this.#work = undefined;
    }
  }

  /** No faster than a bound, so that an editor doesn't notice. */
  #gently(progress: Progress): Pace {
    const { clock, limits } = this.#ports;
    const began = clock.steady();
    let read = 0;
    return async (more) => {
      read += more;
      progress.add(more, clock.steady());
      const ahead = (read * 1000) / limits.scrubBytesPerSecond - (clock.steady() - began);
      if (ahead > 0 && !this.#around.interrupted())
        await clock.sleep(millis(Math.ceil(ahead)), this.#around.stop);
      return !this.#around.interrupted();
    };
  }

  // --- both ------------------------------------------------------------------------------------------------------

  /** What was concluded of one copy may have told of another: that it moved, or counts no more (undefined). */
  #asItStands({ copy, original }: WrittenCopy): WrittenCopy | undefined {
    const now = this.#ports.ledger.copyOf(original.id, copy.drive);
    return now === undefined ? undefined : { copy: now, original };
  }

  /** @returns undefined when it was broken off, or the drive fails or went. */
  async #examine(publisher: Publisher, copy: WrittenCopy, pace: Pace): Promise<Examined | undefined> {
    let examined: Examined | undefined;
    await this.#around.bay.guarded(publisher, async () => {
      examined = await examine(this.#ports, publisher, copy, this.#around.verifyPool, pace);
    });
    return examined;
  }

  async #conclude(
    publisher: Publisher,
    copy: WrittenCopy,
    examined: Exclude<Examined, { what: "good" }>,
  ): Promise<readonly Concluded[]> {
    let concluded: readonly Concluded[] = [];
    await this.#around.bay.guarded(publisher, async () => {
      concluded = await this.#around.bay.conclude(publisher, [{ ...copy, examined }]);
    });
    this.#around.settle();
    return concluded;
  }

  #publisherOf(drive: DriveId): Publisher | undefined {
    const { bay } = this.#around;
    const publisher = bay.targets.get(drive)?.publisher;
    return publisher !== undefined && bay.isUsable(drive) ? publisher : undefined;
  }

  #begin({ volume, name }: PresentDrive, progress: Progress, yields: boolean): void {
    this.#work = {
      kind: "scrub",
      source: volume.id,
      from: name,
      drives: new Set(),
      to: [],
      progress,
      yields,
    };
  }
}

/** Copies that were found good, written down many at a time: one line of a journal for each batch. */
class Batch {
  readonly #ports: EnginePorts;
  readonly #bay: DriveBay;
  readonly #publisher: Publisher;
  readonly #good = new Map<string, { trip: TripId; readBack: ReadBack; originals: OriginalId[] }>();
  #waiting = 0;

  constructor(ports: EnginePorts, bay: DriveBay, publisher: Publisher) {
    this.#ports = ports;
    this.#bay = bay;
    this.#publisher = publisher;
  }

  async good({ original }: WrittenCopy, readBack: ReadBack): Promise<void> {
    const key = `${original.trip} ${readBack}`;
    const group = this.#good.get(key) ?? { trip: original.trip, readBack, originals: [] };
    this.#good.set(key, group);
    group.originals.push(original.id);
    this.#waiting += 1;
    if (this.#waiting >= this.#ports.limits.scrubBatch) await this.write();
  }

  async write(): Promise<void> {
    if (this.#waiting === 0) return;
    const { ledger, clock, hashing } = this.#ports;
    const at = clock.now();
    const drive = this.#publisher.drive.id;
    const facts = [...this.#good.values()].map(({ trip, readBack, originals }) =>
      encodeFact({ kind: "checked", trip, at, drive, readBack, originals }, hashing),
    );
    this.#good.clear();
    this.#waiting = 0;
    ledger.apply(facts);
    this.#bay.tell(facts);
  }
}
