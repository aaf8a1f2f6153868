/**
 * The drives whose work files are looked at: who comes and goes, hints that something changed there, and listing them
 * again when it is time. What follows from a listing is the round's business (`edits.ts`).
 */

import { type DriveId, nameKey, type RelativePath } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { leftOut } from "../../core/leaveOut.ts";
import type { Target } from "../copyPass.ts";
import type { KnownTrip } from "../dating.ts";
import type { DriveBay } from "../driveBay.ts";
import type { EnginePorts } from "../ports.ts";
import type { TripBook } from "../tripBook.ts";
import type { VolumeUse } from "../volumeUse.ts";
import { listWork } from "./listing.ts";
import { Watched } from "./watching.ts";

export interface LookingSurroundings {
  readonly ports: EnginePorts;
  readonly tripBook: TripBook;
  readonly bay: DriveBay;
  readonly use: VolumeUse;
  readonly stop: AbortSignal;
  /** Something is to be looked at; what is under way isn't broken off for it. */
  readonly nudge: () => void;
}

/** paths. More hints at once are left to the comparison that comes by itself. */
const hintedMost = 10_000;

export class Looking {
  readonly #around: LookingSurroundings;
  readonly #ports: EnginePorts;
  readonly #watched = new Map<string, Watched>();
  /** Watches on folders, by volume and trip; each ends the watch. */
  readonly #watches = new Map<string, AbortController>();

  constructor(around: LookingSurroundings) {
    this.#around = around;
    this.#ports = around.ports;
  }

  get all(): readonly Watched[] {
    return [...this.#watched.values()];
  }

  /** The drive's files are compared anew, originals by their sizes too. */
  again(drive: DriveId): void {
    for (const watched of this.#watched.values()) {
      if (watched.drive.id !== drive) continue;
      watched.stale = true;
      watched.sizes = true;
    }
    this.#around.nudge();
  }

  /** ms until one is to be listed; undefined while none is. */
  dueIn(): number | undefined {
    const { clock, limits } = this.#ports;
    const now = clock.steady();
    const listings = this.all
      .filter((each) => !each.awaitsCopies)
      .flatMap((each) => each.listIn(now, limits.editsListEvery) ?? []);
    return listings.length === 0 ? undefined : Math.min(...listings);
  }

  /** Whether it is long since some drive was compared; then it is to be, all of it. */
  isDue(): boolean {
    const { clock, limits } = this.#ports;
    const now = clock.steady();
    const old = this.all.filter((each) => (each.age(now) ?? 0) > limits.editsCompareEvery);
    for (const each of old) {
      each.stale = true;
      each.sizes = true;
      each.refused.clear();
    }
    return old.length > 0;
  }

  /** Drives that came are watched, and those that went aren't any more. */
  attend(): void {
    const { bay, tripBook } = this.#around;
    const present = new Map<string, { target: Target; trip: KnownTrip }>();
    for (const target of bay.targets.values()) {
      const { publisher } = target;
      if (!bay.isUsable(publisher.drive.id) || publisher.drive.traits.readOnly) continue;
      for (const trip of tripBook.tripsOf(publisher.drive.name))
        if (publisher.hasRecord(trip.id))
          present.set(`${publisher.drive.volume.id} ${trip.id}`, { target, trip });
    }
    for (const [key, watched] of this.#watched) {
      if (present.get(key)?.target.publisher === watched.publisher) continue;
      this.#watched.delete(key);
      this.#watches.get(key)?.abort();
      this.#watches.delete(key);
    }
    for (const [key, { target, trip }] of present)
      if (!this.#watched.has(key))
        this.#watched.set(key, new Watched(target.publisher.drive, target.publisher, trip.id));
  }

  /**
   * Lists those of which something may have changed.
   * @returns false when it isn't time yet for one of them: what was listed before counts no more
   */
  async list(trip: KnownTrip, here: readonly Watched[]): Promise<boolean> {
    const { clock, limits } = this.#ports;
    const tooEarly = here.some((each) => (each.listIn(clock.steady(), limits.editsListEvery) ?? 0) > 0);
    if (tooEarly) return false;
    await this.#listNow(trip, here);
    return true;
  }

  async #listNow(trip: KnownTrip, here: readonly Watched[]): Promise<void> {
    const { clock, ledger } = this.#ports;
    const passOver = leftOut(trip.profile.edits.leaveOut);
    let known: ReadonlySet<string> | undefined;
    for (const watched of here) {
      const began = clock.steady();
      if (!watched.stale) continue;
      known ??= new Set(ledger.edits.heads(trip.id).map(({ path }) => nameKey(path)));
      watched.stale = false;
      try {
        const listing = await listWork(this.#ports, watched.publisher, trip.id, passOver, watched.sizes);
        watched.sizes = false;
        watched.listed(listing, known, began, clock.steady());
        this.#watch(`${watched.drive.volume.id} ${trip.id}`, watched);
      } catch (fault) {
        if (!(fault instanceof FileFault)) throw fault;
        watched.failedToList(began, clock.steady());
      }
    }
  }

  /** Hints come as soon as the trip has a folder there. */
  #watch(key: string, watched: Watched): void {
    if (this.#watches.has(key) || watched.listing === undefined) return;
    const { use, nudge } = this.#around;
    const { drive, publisher, trip } = watched;
    const ended = new AbortController();
    this.#watches.set(key, ended);
    const folder = publisher.pathOf(trip, "" as RelativePath);
    const hint = (path: RelativePath | undefined): void => {
      if (path !== undefined && /(?:^|\/)(?:\.scrubjay-new-[^/]*|checksums\.xxh64)$/.test(path)) return;
      if (path !== undefined && watched.hinted.size < hintedMost) watched.hinted.add(path);
      if (watched.stale) return;
      watched.stale = true;
      nudge();
    };
    void use.during(drive.volume.id, (leaving) =>
      this.#ports.folderWatch.watch(
        folder,
        hint,
        AbortSignal.any([ended.signal, leaving, drive.gone, this.#around.stop]),
      ),
    );
  }
}
