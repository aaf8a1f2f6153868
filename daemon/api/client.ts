/**
 * Calling the running daemon: finds it by its run file and speaks its API. What the daemon refuses, and that it isn't
 * running, are `UserMistake`s ready to be shown.
 *
 * Not its job: checking answers in depth; the daemon is the same version, or its route isn't there.
 */

import { type IncomingMessage, request } from "node:http";
import type {
  AcceptedJson,
  CardStatusJson,
  DismissedJson,
  DriveAddedJson,
  DriveLostJson,
  DriveStatusJson,
  EjectedJson,
  RebuildJson,
  RefusalJson,
  ScrubJson,
  StatusJson,
  WaitJson,
} from "../../shared/api.ts";
import type { EditsJson, EditVersionsJson, RestoredJson } from "../../shared/editsApi.ts";
import type { DriveRetiredJson, HomeStateJson } from "../../shared/homeApi.ts";
import type { AbsolutePath } from "../../shared/identity.ts";
import { mistakeExits, UserMistake } from "../../shared/problems.ts";
import { readRunFile } from "../home/runFile.ts";

/** The daemon as its API shows it; each call fails with `UserMistake`. */
export interface DaemonClient {
  status(): Promise<StatusJson>;
  cards(): Promise<readonly CardStatusJson[]>;
  drives(): Promise<readonly DriveStatusJson[]>;
  addDrive(mount: string, name: string): Promise<DriveAddedJson>;
  assignCard(card: string, trip: string): Promise<void>;
  refresh(): Promise<void>;
  dismissCard(card: string): Promise<DismissedJson>;
  /** @param path as `cards` shows it */
  acceptDamage(card: string, path: string): Promise<AcceptedJson>;
  loseDrive(name: string): Promise<DriveLostJson>;
  /** As long as it takes. @param drive undefined: all that are in */
  scrub(drive: string | undefined): Promise<ScrubJson>;
  /** As long as it takes. */
  rebuild(mounts: readonly string[], owner: string | undefined): Promise<RebuildJson>;
  /** @param trip undefined: the one the board shows */
  homecoming(trip: string | undefined): Promise<HomeStateJson>;
  /** Begins one and answers at once. */
  comeHome(wish: HomecomingWish): Promise<HomeStateJson>;
  retireDrive(name: string): Promise<DriveRetiredJson>;
  eject(name: string): Promise<EjectedJson>;
  /** A part of the work files, with what is known of all. @param trip undefined: the one the board shows */
  edits(trip: string | undefined, from: number, most: number): Promise<EditsJson>;
  editVersions(trip: string | undefined, path: string): Promise<EditVersionsJson>;
  /** @param at the version's moment as `editVersions` tells it */
  restoreEdit(trip: string | undefined, path: string, at: string): Promise<RestoredJson>;
  pause(): Promise<void>;
  goOn(): Promise<void>;
  /** A link that opens the page once, within a minute. */
  openLink(): Promise<{ readonly url: string }>;
  /** The status now and at each change, until `stop` aborts or the daemon goes. */
  events(stop: AbortSignal): AsyncIterable<StatusJson>;
  /** @param timeoutSeconds undefined: as long as it takes */
  wait(timeoutSeconds: number | undefined): Promise<WaitJson>;
}

/** What is asked of a homecoming; undefined leaves it to the board and the profile. */
export interface HomecomingWish {
  readonly trip: string | undefined;
  readonly to: string | undefined;
  readonly rehearsal: boolean;
  readonly history: boolean;
}

/** seconds. One request of an endless wait; the next one follows at once. */
const waitAtOnce = 600;

export function daemonClient(run: AbsolutePath): DaemonClient {
  const get = <T>(path: string): Promise<T> => call<T>(run, "GET", path, undefined);
  const post = <T>(path: string, body: unknown): Promise<T> => call<T>(run, "POST", path, body);
  return {
    status: () => get("/v1/status"),
    cards: () => get("/v1/cards"),
    drives: () => get("/v1/drives"),
    addDrive: (mount, name) => post("/v1/drives", { mount, name }),
    assignCard: async (card, trip) => {
      await post(`/v1/cards/${encodeURIComponent(card)}/trip`, { trip });
    },
    refresh: async () => {
      await post("/v1/refresh", {});
    },
    dismissCard: (card) => post(`/v1/cards/${encodeURIComponent(card)}/dismiss`, {}),
    acceptDamage: (card, path) => post(`/v1/cards/${encodeURIComponent(card)}/accept`, { path }),
    loseDrive: (name) => post("/v1/drives/lose", { name }),
    scrub: (drive) => post("/v1/scrub", { drive: drive ?? null }),
    rebuild: (mounts, owner) => post("/v1/rebuild", { mounts, owner: owner ?? null }),
    homecoming: (trip) =>
      get(`/v1/homecoming${trip === undefined ? "" : `?trip=${encodeURIComponent(trip)}`}`),
    comeHome: (wish) => post("/v1/homecoming", wish),
    retireDrive: (name) => post("/v1/drives/retire", { name }),
    eject: (name) => post("/v1/eject", { name }),
    edits: (trip, from, most) => get(`/v1/edits?${query({ trip, from: String(from), most: String(most) })}`),
    editVersions: (trip, path) => get(`/v1/edits/versions?${query({ trip, path })}`),
    restoreEdit: (trip, path, at) =>
      post("/v1/edits/restore", { ...(trip === undefined ? {} : { trip }), path, at }),
    pause: async () => {
      await post("/v1/pause", {});
    },
    goOn: async () => {
      await post("/v1/continue", {});
    },
    openLink: () => post("/v1/link", {}),
    events: (stop) => events(run, stop),
    wait: async (timeoutSeconds) => {
      if (timeoutSeconds !== undefined) return get(`/v1/wait?timeout=${timeoutSeconds}`);
      for (;;) {
        const answer = await get<WaitJson>(`/v1/wait?timeout=${waitAtOnce}`);
        if (answer.idle) return answer;
      }
    },
  };
}

/** What stands behind `?`; what isn't said is left out. */
function query(values: Readonly<Record<string, string | undefined>>): string {
  const said = new URLSearchParams();
  for (const [name, value] of Object.entries(values)) if (value !== undefined) said.set(name, value);
  return said.toString();
}

async function call<T>(run: AbsolutePath, method: string, path: string, body: unknown): Promise<T> {
  const running = await readRunFile(run);
  if (running === undefined) throw notRunning();
  const answer = await send(running.port, running.token, method, path, body);
  const value = parse(answer.body);
  if (answer.status >= 200 && answer.status < 300 && value !== undefined) return value as T;
  // A port that another program took over since doesn't know the token, or isn't ours at all.
  if (answer.status === 401 || answer.status === 421 || !isRefusal(value)) throw notRunning();
  throw new UserMistake(value.error.message, value.error.next, knownExit(value.error.exit));
}

/** Server-sent events (HTML Living Standard 9.2.6); the daemon sends one line of data an event. */
async function* events(run: AbsolutePath, stop: AbortSignal): AsyncGenerator<StatusJson> {
  const running = await readRunFile(run);
  if (running === undefined) throw notRunning();
  const { port, token } = running;
  const headers = { authorization: `Bearer ${token}` };
  const response = await new Promise<IncomingMessage>((resolve, reject) => {
    const asked = request(
      { host: "127.0.0.1", port, path: "/v1/events", headers, agent: false, signal: stop },
      resolve,
    );
    asked.on("error", () => reject(notRunning()));
    asked.end();
  });
  if (response.statusCode !== 200) {
    response.destroy();
    throw notRunning();
  }
  response.setEncoding("utf8");
  let rest = "";
  try {
    for await (const part of response) {
      const lines = `${rest}${part}`.split("\n");
      rest = lines.pop() ?? "";
      for (const line of lines) if (line.startsWith("data: ")) yield JSON.parse(line.slice(6)) as StatusJson;
    }
  } catch (error) {
    // The connection broke: whoever listens asks again if they want to.
    if (!(error instanceof Error) || error instanceof SyntaxError) throw error;
  } finally {
    response.destroy();
  }
}

function send(
  port: number,
  token: string,
  method: string,
  path: string,
  body: unknown,
): Promise<{ readonly status: number; readonly body: string }> {
  const content = body === undefined ? undefined : JSON.stringify(body);
  const headers: Record<string, string> = { authorization: `Bearer ${token}` };
  if (method === "POST") headers["origin"] = `http://127.0.0.1:${port}`;
  if (content !== undefined) headers["content-type"] = "application/json";
  return new Promise((resolve, reject) => {
    const sent = request({ host: "127.0.0.1", port, method, path, headers, agent: false }, (response) => {
      const parts: Buffer[] = [];
      response.on("data", (part: Buffer) => parts.push(part));
      response.on("end", () =>
        resolve({ status: response.statusCode ?? 0, body: Buffer.concat(parts).toString("utf8") }),
      );
      response.on("error", () => reject(brokeOff()));
    });
    sent.on("error", (error: NodeJS.ErrnoException) =>
      reject(error.code === "ECONNREFUSED" ? notRunning() : brokeOff()),
    );
    sent.end(content);
  });
}

function notRunning(): UserMistake {
  return new UserMistake(
    "Scrubjay's daemon is not running.",
    "Nothing is read from cards or written to drives meanwhile. Start it with `scrubjay daemon`.",
    69,
  );
}

function brokeOff(): UserMistake {
  return new UserMistake(
    "Scrubjay's daemon stopped before it answered.",
    "What it had verified stays verified. Start it with `scrubjay daemon`.",
    69,
  );
}

function parse(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch (error) {
    if (error instanceof SyntaxError) return undefined;
    throw error;
  }
}

function isRefusal(value: unknown): value is RefusalJson {
  const error = (value as Partial<RefusalJson> | undefined | null)?.error;
  return typeof error?.message === "string" && typeof error.next === "string";
}

function knownExit(exit: number): UserMistake["exit"] {
  return mistakeExits.find((known) => known === exit) ?? 74;
}
