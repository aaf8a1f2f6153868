/**
 * Tells the daemon which pictures are on the screen, so that they are made before all others, and asks again while some
 * of them are being made. Not its job: showing them.
 */

import type { PictureState, PicturesJson } from "../../../shared/framesApi.ts";

/** ms. While somebody scrolls, what is on the screen changes faster than pictures are made. */
const settled = 150;
/** ms. From one question to the next while pictures are being made. */
const again = 700;
/** pictures. What one question names at most; the rest waits for the next. */
const most = 200;

export type PictureSize = "sheet" | "large";

/** How a wish reaches the daemon. May fail; it is tried again. */
export type AskPictures = (frames: readonly string[], size: PictureSize) => Promise<PicturesJson>;

export class PictureWishes {
  readonly #size: PictureSize;
  readonly #ask: AskPictures;
  readonly #told: (states: ReadonlyMap<string, PictureState>) => void;
  #wanted: readonly string[] = [];
  #timer: ReturnType<typeof setTimeout> | undefined;
  #asking = false;
  #ended = false;

  /** @param told how the wanted ones stand, at each answer */
  constructor(
    size: PictureSize,
    ask: AskPictures,
    told: (states: ReadonlyMap<string, PictureState>) => void,
  ) {
    this.#size = size;
    this.#ask = ask;
    this.#told = told;
  }

  /** @param frames ids of those whose picture is wanted and isn't there yet */
  want(frames: readonly string[]): void {
    const known = new Set(this.#wanted);
    const isNews = frames.some((id) => !known.has(id));
    this.#wanted = frames;
    if (frames.length === 0) this.#wait(undefined);
    else if (isNews || this.#timer === undefined) this.#wait(isNews ? settled : again);
  }

  end(): void {
    this.#ended = true;
    this.#wanted = [];
    this.#wait(undefined);
  }

  #wait(ms: number | undefined): void {
    clearTimeout(this.#timer);
    this.#timer =
      ms === undefined || this.#ended || this.#asking ? undefined : setTimeout(() => void this.#turn(), ms);
  }

  async #turn(): Promise<void> {
    this.#timer = undefined;
    this.#asking = true;
    const asked = this.#wanted.slice(0, most);
    let states = new Map<string, PictureState>();
    try {
      const answer = await this.#ask(asked, this.#size);
      states = new Map(answer.states.map(({ id, picture }) => [id, picture]));
    } catch {
      // The page says elsewhere when the daemon doesn't answer; here it is asked again.
    }
    this.#asking = false;
    if (this.#ended) return;
    const before = this.#wanted;
    if (states.size > 0) this.#told(states);
    // Whoever was told may have said what is wanted now, and set the timer by that.
    if (this.#wanted === before) this.#wanted = before.filter((id) => isOpen(states.get(id)));
    if (this.#wanted.length === 0) this.#wait(undefined);
    else if (this.#timer === undefined) {
      const rest = this.#wanted.some((id) => !asked.includes(id));
      this.#wait(rest ? settled : again);
    }
  }
}

const isOpen = (state: PictureState | undefined): boolean => state === undefined || state === "waiting";
