/**
 * What is known of a drive's work files from looking at them again and again: since when each looks as it does, and when
 * they are to be listed next. All of it is this computer's and this moment's; a restart begins anew.
 */

import { nameKey, type RelativePath, type TripId } from "../../../shared/identity.ts";
import { type Millis, millis } from "../../../shared/units.ts";
import type { PresentDrive } from "../presence.ts";
import type { Publisher } from "../publisher.ts";
import type { Listing } from "./listing.ts";
import { type Look, sameLook } from "./swap.ts";

/** Since when something looks as it does, on the steady clock. */
interface Seen {
  readonly look: Look | undefined;
  readonly since: Millis;
  /** Since when it isn't left alone. */
  readonly busySince: Millis;
}

/** One trip on one drive that is in. */
export class Watched {
  readonly drive: PresentDrive;
  readonly publisher: Publisher;
  readonly trip: TripId;
  listing: Listing | undefined;
  /** Something may have changed since it was listed. */
  stale = true;
  /** Something on it may be taken by time alone. */
  waits = false;
  /** Something on it is written without a pause for so long that nobody waits for it; it is taken when it pauses. */
  busy = false;
  /** An original isn't where it was, or is being written: it is looked at once more. */
  originalsWait = false;
  /** The next listing compares the sizes of originals too. */
  sizes = false;
  /** When it was listed last, and how long that took. */
  #listedAt: Millis | undefined;
  #took = 0;
  #seen = new Map<string, Seen>();
  /** Paths that something was told of, below the trip's folder. */
  readonly hinted = new Set<RelativePath>();
  /** Why it couldn't be listed, until it can. */
  failed = false;

  /** Units that can't be read or put in place there, by name, with what is said of them; tried again when all is compared. */
  readonly refused = new Map<RelativePath, string>();

  /** Other sides of conflicts that are in its history for certain, by the names of their versions. */
  readonly keeps = new Set<string>();

  constructor(drive: PresentDrive, publisher: Publisher, trip: TripId) {
    this.drive = drive;
    this.publisher = publisher;
    this.trip = trip;
  }

  /** ms until it is to be listed; undefined while nothing asks for it. A listing takes a tenth of the time at most. */
  listIn(now: Millis, every: number): number | undefined {
    if (!this.stale) return undefined;
    if (this.#listedAt === undefined) return 0;
    return Math.max(0, this.#listedAt + Math.max(every, 10 * this.#took) - now);
  }

  /** Without a folder of the trip there is nothing to look at before something is copied there. */
  get awaitsCopies(): boolean {
    return this.listing === undefined && this.#listedAt !== undefined && !this.failed;
  }

  /** ms since it was listed; undefined before. */
  age(now: Millis): number | undefined {
    return this.#listedAt === undefined ? undefined : now - this.#listedAt;
  }

  /** @param known keys of what should stand there, so that its absence is seen too */
  listed(listing: Listing | undefined, known: Iterable<string>, began: Millis, now: Millis): void {
    this.listing = listing;
    this.failed = false;
    this.#listedAt = now;
    this.#took = now - began;
    const seen = new Map<string, Seen>();
    const see = (key: string, look: Look | undefined): void => {
      const before = this.#seen.get(key);
      const same = before !== undefined && sameLook(before.look, look);
      seen.set(key, same ? before : { look, since: now, busySince: before?.busySince ?? now });
    };
    for (const [key, file] of listing?.files ?? []) see(key, file);
    for (const key of known) if (!seen.has(key)) see(key, undefined);
    for (const { path } of listing?.missing ?? []) see(missingKey(path), undefined);
    this.#seen = seen;
  }

  failedToList(began: Millis, now: Millis): void {
    this.listing = undefined;
    this.failed = true;
    this.#listedAt = now;
    this.#took = now - began;
  }

  /** ms for which it has looked as it does. */
  quietFor(key: string, now: Millis): number {
    const seen = this.#seen.get(key);
    return seen === undefined ? 0 : now - seen.since;
  }

  /** ms for which it hasn't been left alone. */
  busyFor(key: string, now: Millis): number {
    return now - (this.#seen.get(key)?.busySince ?? now);
  }

  /** It was taken as it looks: what comes now is another change. */
  taken(key: string): void {
    const seen = this.#seen.get(key);
    if (seen !== undefined) this.#seen.set(key, { ...seen, busySince: millis(seen.since) });
  }
}

/** What an original's name that isn't there is watched under. */
export function missingKey(path: RelativePath): string {
  return `\n${nameKey(path)}`;
}
