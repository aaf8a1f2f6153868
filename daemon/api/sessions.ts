/**
 * How a browser gets in: a program that holds the token asks for a ticket, the browser hands it in once and gets a
 * session in its place. Tickets are short-lived and good for one use; sessions end with the daemon.
 *
 * Kept in memory only: nothing that opens the page stands on any disk. Not its job: cookies' text (`server.ts`).
 */

import { createHash, randomBytes } from "node:crypto";
import type { Millis } from "../../shared/units.ts";

/** ms. From asking for the link to the browser opening it: a cold browser takes its time. */
const ticketLives = 60_000;
/** tickets. More at once are nobody's need; the oldest goes. */
const ticketsMost = 16;
/** sessions. Browsers and their windows; the oldest goes. */
const sessionsMost = 16;

export class Sessions {
  readonly #steady: () => Millis;
  /** Digests of what was given out, so that comparing takes as long for every wrong one. */
  readonly #tickets = new Map<string, number>();
  readonly #sessions = new Set<string>();

  /** @param steady a clock that never jumps */
  constructor(steady: () => Millis) {
    this.#steady = steady;
  }

  /** A ticket for one use: 64 hex digits. */
  ticket(): string {
    const ticket = randomBytes(32).toString("hex");
    this.#tickets.set(digest(ticket), this.#steady() + ticketLives);
    for (const [oldest] of this.#tickets) if (this.#tickets.size > ticketsMost) this.#tickets.delete(oldest);
    return ticket;
  }

  /** @returns a new session's secret for a good ticket, undefined for any other. */
  enter(ticket: string): string | undefined {
    const key = digest(ticket);
    const until = this.#tickets.get(key);
    this.#tickets.delete(key);
    if (until === undefined || until < this.#steady()) return undefined;
    const session = randomBytes(32).toString("hex");
    this.#sessions.add(digest(session));
    for (const oldest of this.#sessions)
      if (this.#sessions.size > sessionsMost) this.#sessions.delete(oldest);
    return session;
  }

  isOpen(session: string): boolean {
    return this.#sessions.has(digest(session));
  }
}

function digest(text: string): string {
  return createHash("sha256").update(text).digest("hex");
}
