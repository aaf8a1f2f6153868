/**
 * The page's line to the daemon: the status as it changes, and questions and changes over the same door. The session's
 * cookie goes with each request by itself; the page never sees it.
 */

import type { RefusalJson, StatusJson } from "../../shared/api.ts";

/** What the page knows of the daemon. */
export type Line =
  | { readonly state: "asking" }
  | { readonly state: "here"; readonly status: StatusJson }
  /** It was here and doesn't answer; the last status is shown as such. */
  | { readonly state: "gone"; readonly last: StatusJson | undefined }
  /** The session ended with the daemon that gave it. */
  | { readonly state: "locked" };

/** ms. From a broken line to the next try. */
const tryAgain = 1_000;

/** Calls `told` at each change. @returns what ends it */
export function listen(told: (line: Line) => void): () => void {
  let last: StatusJson | undefined;
  let source: EventSource;
  let timer: ReturnType<typeof setTimeout> | undefined;
  let ended = false;
  const begin = () => {
    source = new EventSource("/v1/events");
    source.addEventListener("status", (event) => {
      last = JSON.parse((event as MessageEvent).data) as StatusJson;
      told({ state: "here", status: last });
    });
    source.addEventListener("error", () => {
      // Whether it was refused or broke, a stream doesn't say; asking does.
      source.close();
      void mayAsk().then((answer) => {
        if (ended) return;
        if (answer === "no") return told({ state: "locked" });
        if (answer === "silence") told({ state: "gone", last });
        timer = setTimeout(begin, tryAgain);
      });
    });
  };
  begin();
  return () => {
    ended = true;
    clearTimeout(timer);
    source.close();
  };
}

async function mayAsk(): Promise<"yes" | "no" | "silence"> {
  try {
    const { status } = await fetch("/v1/status");
    if (status === 401 || status === 403) return "no";
    return status === 200 ? "yes" : "silence";
  } catch {
    return "silence";
  }
}

/** What the daemon refused, in its own words. */
export class Refused extends Error {
  readonly next: string;
  constructor(message: string, next: string) {
    super(message);
    this.name = "Refused";
    this.next = next;
  }
}

/** @param stop ends the question; nobody waits for its answer any longer @throws Refused */
export function ask<T>(path: string, stop?: AbortSignal): Promise<T> {
  return answered(fetch(path, stop === undefined ? {} : { signal: stop }));
}

/** @throws Refused */
export function change<T>(path: string, body: unknown): Promise<T> {
  return answered(
    fetch(path, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(body),
    }),
  );
}

async function answered<T>(asked: Promise<Response>): Promise<T> {
  let answer: Response;
  try {
    answer = await asked;
  } catch {
    throw new Refused("The daemon doesn't answer.", "Start it with `scrubjay daemon`, then try again.");
  }
  const value: unknown = await answer.json().catch(() => undefined);
  if (answer.ok && value !== undefined) return value as T;
  const refusal = (value as Partial<RefusalJson> | undefined)?.error;
  throw new Refused(refusal?.message ?? "The daemon failed to answer.", refusal?.next ?? "");
}
