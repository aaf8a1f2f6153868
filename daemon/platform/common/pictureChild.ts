/**
 * The daemon's end of the process that decodes pictures: starts it when there is something to decode, names it one file
 * at a time with a time limit, and starts it anew when it died of one. It ends by itself when it has nothing to do.
 *
 * Invariants: over the channel go a path and a small picture, never what a file holds; what is broken off ends the
 * process, so that it keeps no file of a drive open.
 */

import { type ChildProcess, fork } from "node:child_process";
import type { Millis } from "../../../shared/units.ts";
import type { PictureAnswer, PictureRequest } from "./pictureWorker.ts";

export interface PictureChildOptions {
  /** The worker's file, as built. */
  readonly worker: string;
  readonly timeout: Millis;
}

export const tooLong = "decoding it takes too long";
export const brokenOff = "it was broken off";

/** ms. It holds some 80 MB; starting it again takes a third of a second. */
const idleMsMax = 30_000;

export class PictureChild {
  readonly #options: PictureChildOptions;
  #child: ChildProcess | undefined;
  #idle: NodeJS.Timeout | undefined;
  #last: Promise<unknown> = Promise.resolve();
  #closed = false;

  constructor(options: PictureChildOptions) {
    this.#options = options;
  }

  /**
   * One after the other. Never rejects.
   * @param limit from when its turn comes; never longer than the limit of all
   * @param stop answers when the process has ended
   */
  decode(request: PictureRequest, limit: Millis, stop: AbortSignal): Promise<PictureAnswer> {
    const answer = this.#last.then(() => this.#decodeNow(request, limit, stop));
    this.#last = answer;
    return answer;
  }

  async close(): Promise<void> {
    this.#closed = true;
    this.#end();
    await this.#last;
  }

  #decodeNow(request: PictureRequest, limit: Millis, stop: AbortSignal): Promise<PictureAnswer> {
    if (stop.aborted) return Promise.resolve({ decoded: false, why: brokenOff });
    clearTimeout(this.#idle);
    if (this.#closed) return Promise.resolve({ decoded: false, why: "the daemon stops" });
    const child = this.#started();
    return new Promise((resolve) => {
      const settle = (answer: PictureAnswer, alive: boolean): void => {
        clearTimeout(late);
        stop.removeEventListener("abort", breakOff);
        child.removeAllListeners();
        // A failure of what is given up already concerns nobody.
        child.on("error", () => undefined);
        if (alive) this.#endWhenIdle();
        else if (this.#child === child) this.#end();
        resolve(answer);
      };
      const late = setTimeout(
        () => settle({ decoded: false, why: tooLong }, false),
        Math.min(limit, this.#options.timeout),
      );
      // Answered on its end: until then it may hold the file open.
      const breakOff = (): void => void child.kill("SIGKILL");
      stop.addEventListener("abort", breakOff);
      // What comes back is the worker's own answer; hostile content can do no more than end it.
      child.on("message", (message) => settle(message as PictureAnswer, true));
      child.on("exit", () =>
        settle({ decoded: false, why: stop.aborted ? brokenOff : "decoding it fails" }, false),
      );
      child.on("error", (error) => settle({ decoded: false, why: error.message }, false));
      child.send(request, (error) => {
        if (error !== null) settle({ decoded: false, why: "decoding can't be started" }, false);
      });
    });
  }

  #started(): ChildProcess {
    this.#child ??= fork(this.#options.worker, [], {
      serialization: "advanced",
      stdio: ["ignore", "ignore", "ignore", "ipc"],
      execArgv: [],
      env: { VIPS_CONCURRENCY: "1" },
    });
    this.#child.ref();
    this.#child.channel?.ref();
    return this.#child;
  }

  /** Neither a waiting child nor its end keeps this process from ending. */
  #endWhenIdle(): void {
    this.#child?.unref();
    this.#child?.channel?.unref();
    this.#idle = setTimeout(() => this.#end(), idleMsMax);
    this.#idle.unref();
  }

  #end(): void {
    clearTimeout(this.#idle);
    this.#child?.kill("SIGKILL");
    this.#child = undefined;
  }
}
