/**
 * Who may speak to the daemon: this computer's user, through a program that holds the token, and no page that a
 * browser has open elsewhere. Judged from a request's head alone, before anything of it is used.
 *
 * Against another user's program: the token. Against a foreign page: exact Host (a name rebound to 127.0.0.1 keeps
 * its own Host), own Origin on every change, Fetch Metadata, and the token again, which no page can attach without
 * asking first. The page itself comes with its session's cookie in place of the token; since cookies don't know ports,
 * a cookie opens only what the browser says this very page asked for. Not its job: what a request asks for.
 */

import { createHash, timingSafeEqual } from "node:crypto";

export interface RequestHead {
  readonly method: string;
  /** As received: a path, or an absolute form whose authority counts in place of Host (RFC 9112 3.2.2). */
  readonly target: string;
  /** Names and values in turn, as received; a doubled header is seen here only. */
  readonly rawHeaders: readonly string[];
}

export interface HeadRefusal {
  readonly status: 400 | 401 | 403 | 405 | 421;
  readonly message: string;
  readonly next: string;
}

/** What opens the door. */
export interface Keys {
  readonly token: string;
  /** Whether this is an open session's secret. */
  readonly isSession: (secret: string) => boolean;
}

/** The session's cookie. Another Scrubjay on another port has another one. */
export function cookieName(port: number): string {
  return `scrubjay-${port}`;
}

/** The one place that a browser reaches without any key: it hands in its ticket there. */
export const enterPath = "/enter";

/** Undefined: the request may go on. */
export function refuseHead(head: RequestHead, port: number, keys: Keys): HeadRefusal | undefined {
  const hosts = valuesOf(head, "host");
  // RFC 9112 3.2: none, or more than one, is answered with 400.
  if (hosts.length !== 1) return refused(400, "A request names its host once.");
  const own = ownHosts(port);
  // RFC 9110 15.5.20: asked for a host that isn't here.
  const authority = head.target.startsWith("/") ? hosts[0] : /^http:\/\/([^/?#]*)\//.exec(head.target)?.[1];
  if (!own.includes(hosts[0] ?? "") || !own.includes(authority ?? "")) {
    return refused(421, "This address is not Scrubjay's.", `Ask ${own[0]}.`);
  }
  const changes = head.method === "POST";
  if (head.method !== "GET" && !changes) return refused(405, "Only GET and POST are understood.");

  const origins = valuesOf(head, "origin");
  const ownOrigins = own.map((host) => `http://${host}`);
  if (origins.some((origin) => !ownOrigins.includes(origin)) || origins.length > 1) {
    return refused(403, "Other pages may not speak to Scrubjay.");
  }
  if (changes && origins.length === 0) return refused(403, "A change must name its origin.");
  // Fetch Metadata: another port of this computer is same-site, not same-origin. Absent outside browsers.
  if (changes && valuesOf(head, "sec-fetch-site").some((site) => site !== "same-origin")) {
    return refused(403, "Other pages may not change anything here.");
  }

  if (!changes && pathOf(head) === enterPath) return undefined;
  const [given, ...more] = valuesOf(head, "authorization");
  if (given !== undefined)
    return more.length === 0 && sameSecret(given, `Bearer ${keys.token}`) ? undefined : wrongToken();
  const session = cookieOf(head, cookieName(port));
  if (session === undefined || !keys.isSession(session)) return wrongToken();
  // The page's own document may be typed or bookmarked; everything else only this page may ask for.
  const [site = "", ...sites] = valuesOf(head, "sec-fetch-site");
  const isDocument = !changes && !pathOf(head).startsWith("/v1/");
  if (sites.length === 0 && (site === "same-origin" || (site === "none" && isDocument))) return undefined;
  return refused(403, "Only the page itself may ask with its session.");
}

function wrongToken(): HeadRefusal {
  return refused(
    401,
    "The token is missing or wrong.",
    "Send the token of the run file as a bearer token, or open the page with `scrubjay open`.",
  );
}

function pathOf({ target }: RequestHead): string {
  const path = target.startsWith("/") ? target : target.replace(/^http:\/\/[^/]*/, "");
  return path.split(/[?#]/, 1)[0] ?? "";
}

/** RFC 6265 5.4: pairs in one header; a name that comes twice is nobody's. */
function cookieOf(head: RequestHead, name: string): string | undefined {
  const pairs = valuesOf(head, "cookie").flatMap((value) => value.split(";"));
  const values = pairs
    .map((pair) => pair.trim())
    .filter((pair) => pair.startsWith(`${name}=`))
    .map((pair) => pair.slice(name.length + 1));
  return values.length === 1 ? values[0] : undefined;
}

function ownHosts(port: number): readonly string[] {
  return [`127.0.0.1:${port}`, `localhost:${port}`];
}

function refused(status: HeadRefusal["status"], message: string, next = ""): HeadRefusal {
  return { status, message, next };
}

function valuesOf(head: RequestHead, name: string): string[] {
  const values: string[] = [];
  for (let index = 0; index + 1 < head.rawHeaders.length; index += 2) {
    if (head.rawHeaders[index]?.toLowerCase() === name) values.push(head.rawHeaders[index + 1] ?? "");
  }
  return values;
}

/** In constant time, whatever the lengths: digests are compared, not texts. */
function sameSecret(given: string, right: string): boolean {
  const digest = (text: string): Buffer => createHash("sha256").update(text).digest();
  return timingSafeEqual(digest(given), digest(right));
}
