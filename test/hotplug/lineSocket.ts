/**
 * A conversation over a socket in which each line is one JSON value: QMP and the guest agent both speak so. One request
 * at a time; every wait has an end. Not its job: what is asked.
 */

import { connect, type Socket } from "node:net";
import { setTimeout as sleep } from "node:timers/promises";
import { type Millis, millis } from "../../shared/units.ts";

export type Json = Readonly<Record<string, unknown>>;

export class LineSocket {
  readonly #socket: Socket;
  readonly #heard: ((line: Json) => void)[] = [];
  #turn: Promise<unknown> = Promise.resolve();

  private constructor(socket: Socket) {
    this.#socket = socket;
    let rest = "";
    socket.setEncoding("utf8").on("data", (part: string) => {
      const lines = (rest + part).split("\n");
      rest = lines.pop() ?? "";
      for (const line of lines) this.#hear(line);
    });
    socket.on("error", () => {}); // Whoever waits runs into the end of the wait.
  }

  /** Connects as soon as the other side listens. */
  static async open(path: string, patience: Millis): Promise<LineSocket> {
    const giveUp = performance.now() + patience;
    for (;;) {
      try {
        return new LineSocket(await connected(path));
      } catch (fault) {
        if (performance.now() > giveUp) throw fault;
        await sleep(50);
      }
    }
  }

  /** Hears every line from now on. */
  onLine(listener: (line: Json) => void): void {
    this.#heard.push(listener);
  }

  /** Says something and resolves with the first line that `isAnswer` takes. Rejects after `patience`. */
  ask(what: string, words: Json, isAnswer: (line: Json) => boolean, patience: Millis): Promise<Json> {
    const asked = this.#turn.then(() => this.#ask(what, words, isAnswer, patience));
    this.#turn = asked.catch(() => undefined);
    return asked;
  }

  /** Resolves with the first line from now on that `isIt` takes. Rejects after `patience`. */
  until(what: string, isIt: (line: Json) => boolean, patience: Millis): Promise<Json> {
    return new Promise((resolve, reject) => {
      const timer = setTimeout(() => {
        forget();
        reject(new Error(`no answer within ${patience} ms: ${what}`));
      }, patience);
      const listener = (line: Json): void => {
        if (!isIt(line)) return;
        clearTimeout(timer);
        forget();
        resolve(line);
      };
      const forget = (): void => {
        this.#heard.splice(this.#heard.indexOf(listener), 1);
      };
      this.#heard.push(listener);
    });
  }

  close(): void {
    this.#socket.destroy();
  }

  async #ask(what: string, words: Json, isAnswer: (line: Json) => boolean, patience: Millis): Promise<Json> {
    const answer = this.until(what, isAnswer, millis(patience));
    this.#socket.write(`${JSON.stringify(words)}\n`);
    return answer;
  }

  #hear(line: string): void {
    let value: unknown;
    try {
      // The guest agent sets a byte 0xFF before an answer to show where it begins.
      value = JSON.parse(line.replace(/^[^{]*/, ""));
    } catch {
      return;
    }
    if (typeof value !== "object" || value === null) return;
    for (const listener of [...this.#heard]) listener(value as Json);
  }
}

function connected(path: string): Promise<Socket> {
  return new Promise((resolve, reject) => {
    const socket = connect(path);
    socket.once("connect", () => resolve(socket));
    socket.once("error", reject);
  });
}
