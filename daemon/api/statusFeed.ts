/**
 * The event stream: every listener hears the status at once and then each time it changes (server-sent events, HTML
 * Living Standard 9.2). The status is asked for on a beat while anyone listens, so that nothing in the engine has to
 * know who does; when asking takes long the beat slows down.
 */

import type { ServerResponse } from "node:http";
import type { StatusJson } from "../../shared/api.ts";

/** ms. Four times a second is as fast as a person reads a number. */
const beatMin = 250;
/** Asking takes at most this share of the time. */
const shareMost = 0.1;
/** ms. A comment now and then keeps a dead connection from standing for ever. */
const stillAlive = 15_000;
/** bytes. A listener that doesn't read misses the beats in between. */
const unreadMost = 1_000_000;
/** listeners. Windows of one person. */
const listenersMost = 16;

export class StatusFeed {
  readonly #ask: () => StatusJson;
  readonly #listeners = new Map<ServerResponse, { last: string; quietSince: number }>();
  #timer: NodeJS.Timeout | undefined;

  constructor(ask: () => StatusJson) {
    this.#ask = ask;
  }

  /** @returns false when too many listen. The response's head was sent by the caller. */
  add(listener: ServerResponse): boolean {
    if (this.#listeners.size >= listenersMost) return false;
    this.#listeners.set(listener, { last: "", quietSince: performance.now() });
    listener.on("close", () => this.#listeners.delete(listener));
    this.#beat();
    return true;
  }

  end(): void {
    clearTimeout(this.#timer);
    for (const listener of this.#listeners.keys()) listener.end();
    this.#listeners.clear();
  }

  #beat(): void {
    clearTimeout(this.#timer);
    if (this.#listeners.size === 0) return;
    const began = performance.now();
    const { at, ...status } = this.#ask();
    const content = JSON.stringify(status);
    const now = performance.now();
    for (const [listener, state] of this.#listeners) {
      if (listener.writableLength > unreadMost) continue;
      if (state.last !== content) {
        listener.write(`event: status\ndata: ${JSON.stringify({ ...status, at })}\n\n`);
        state.last = content;
        state.quietSince = now;
      } else if (now - state.quietSince > stillAlive) {
        listener.write(": still here\n\n");
        state.quietSince = now;
      }
    }
    const next = Math.max(beatMin, (now - began) / shareMost);
    this.#timer = setTimeout(() => this.#beat(), next);
    this.#timer.unref();
  }
}
