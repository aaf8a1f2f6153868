/**
 * Who reads or writes a volume beside the rounds of the work: pictures being made, sidecars being read and rated. A
 * volume that is to leave is given up first: what is under way there is told to stop and waited for, nothing new begins.
 */

import type { VolumeId } from "../../shared/identity.ts";

export class VolumeUse {
  readonly #users = new Map<VolumeId, Set<Promise<unknown>>>();
  readonly #leaving = new Map<VolumeId, AbortController>();

  /** @returns undefined, with nothing done, when the volume is about to leave. `stop` aborts when it is to. */
  async during<T>(volume: VolumeId, work: (stop: AbortSignal) => Promise<T>): Promise<T | undefined> {
    const stop = this.#leaving.get(volume) ?? new AbortController();
    this.#leaving.set(volume, stop);
    if (stop.signal.aborted) return undefined;
    const users = this.#users.get(volume) ?? new Set();
    this.#users.set(volume, users);
    const done = work(stop.signal);
    users.add(done);
    try {
      return await done;
    } finally {
      users.delete(done);
      if (users.size === 0) this.#forget(volume);
    }
  }

  /** Does something with a volume while nobody uses it. */
  async leave<T>(volume: VolumeId, work: () => Promise<T>): Promise<T> {
    const stop = this.#leaving.get(volume) ?? new AbortController();
    this.#leaving.set(volume, stop);
    stop.abort();
    try {
      await Promise.allSettled([...(this.#users.get(volume) ?? [])]);
      return await work();
    } finally {
      this.#leaving.delete(volume);
    }
  }

  #forget(volume: VolumeId): void {
    this.#users.delete(volume);
    if (this.#leaving.get(volume)?.signal.aborted === false) this.#leaving.delete(volume);
  }
}
