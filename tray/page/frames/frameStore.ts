/**
 * The frames of a trip as the page has them: asks the daemon for the slices that are near, lets go of questions that were
 * scrolled by, and tells whoever shows them when there is more. Not its job: what is near (`sheet.tsx`).
 */

import type { FrameJson, FramesJson } from "../../../shared/framesApi.ts";
import { ask, Refused } from "../daemon.ts";
import { keyOf, type SliceName, Slices, sliceFrames } from "./slices.ts";

/** ms. From a question that failed to the same again. */
const tryAgain = 2_000;
/** ms. From an answer without the latest ratings to the same question. */
const readSoon = 1_000;

export class FrameStore {
  readonly trip: string;
  readonly #slices = new Slices();
  readonly #asked = new Map<string, AbortController>();
  readonly #told: () => void;
  #wanted: readonly SliceName[] = [];
  #timer: ReturnType<typeof setTimeout> | undefined;
  #refusal: Refused | undefined;

  /** @param told called whenever something is shown differently now */
  constructor(trip: string, told: () => void) {
    this.trip = trip;
    this.#told = told;
  }

  /** Why frames are missing, if they are; it is tried again by itself. */
  get refusal(): Refused | undefined {
    return this.#refusal;
  }

  /** The frame of this number in its day; undefined until it is loaded. */
  frame(day: string, number: number): FrameJson | undefined {
    return this.#slices.frame(day, number);
  }

  /** These are near; what was asked for and isn't any more is let go. */
  want(slices: readonly SliceName[]): void {
    this.#wanted = slices;
    const near = new Set(slices.map(keyOf));
    for (const [key, question] of this.#asked) {
      if (near.has(key)) continue;
      question.abort();
      this.#asked.delete(key);
    }
    for (const slice of this.#slices.want(slices)) if (!this.#asked.has(keyOf(slice))) void this.#load(slice);
  }

  /** @throws Refused */
  async load(day: string, number: number): Promise<FrameJson | undefined> {
    if (number < 0) return undefined;
    const slice = { day, nth: Math.floor(number / sliceFrames) };
    if (this.#slices.want([slice]).length > 0) this.#put(slice, await this.#ask(slice));
    return this.frame(day, number);
  }

  /** The number of a frame in its day; undefined where the day has no such frame. @throws Refused */
  async find(day: string, id: string): Promise<number | undefined> {
    for (let nth = 0; ; nth += 1) {
      await this.load(day, nth * sliceFrames);
      for (let number = nth * sliceFrames; number < (nth + 1) * sliceFrames; number += 1) {
        const frame = this.frame(day, number);
        if (frame === undefined) return undefined;
        if (frame.id === id) return number;
      }
    }
  }

  /** What has become known of single frames. */
  change(changes: ReadonlyMap<string, Partial<FrameJson>>): void {
    if (this.#slices.change(changes)) this.#told();
  }

  /** What is kept of these days may have changed: it stays until it is loaded anew. */
  doubt(isChanged: (day: string) => boolean): void {
    this.#slices.doubt(isChanged);
    this.want(this.#wanted);
  }

  end(): void {
    clearTimeout(this.#timer);
    this.#wanted = [];
    for (const question of this.#asked.values()) question.abort();
  }

  async #load(slice: SliceName): Promise<void> {
    const key = keyOf(slice);
    const question = new AbortController();
    this.#asked.set(key, question);
    try {
      this.#put(slice, await this.#ask(slice, question.signal));
      this.#refusal = undefined;
    } catch (failure) {
      if (question.signal.aborted) return;
      if (!(failure instanceof Refused)) throw failure;
      this.#refusal = failure;
      this.#wantAgain(tryAgain);
    } finally {
      // A slice that was let go and wanted again has a question of its own by now.
      if (this.#asked.get(key) === question) this.#asked.delete(key);
    }
    this.#told();
  }

  #put(slice: SliceName, { frames, reading = false }: FramesJson): void {
    this.#slices.put(slice, frames, reading);
    if (reading) this.#wantAgain(readSoon);
  }

  #wantAgain(after: number): void {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.want(this.#wanted), after);
  }

  #ask({ day, nth }: SliceName, signal?: AbortSignal): Promise<FramesJson> {
    const query = new URLSearchParams({
      trip: this.trip,
      from: String(nth * sliceFrames),
      most: String(sliceFrames),
      day,
    });
    return ask(`/v1/frames?${query}`, signal);
  }
}
