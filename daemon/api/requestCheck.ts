/**
 * Who may speak to the daemon: this computer's user, through a program that holds the token, and no page that a
 * browser has open elsewhere. Judged from a request's head alone, before anything of it is used.
 *
 * Against another user's program: the token. Against a foreign page: exact Host (a name rebound to 127.0.0.1 keeps
 * its own Host), own Origin on every change, Fetch Metadata, and the token again, which no page can attach without
 * asking first. Not its job: what a request asks for.
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

/** Undefined: the request may go on. */
export function refuseHead(head: RequestHead, port: number, token: string): HeadRefusal | undefined {
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

  const [given, ...more] = valuesOf(head, "authorization");
  if (given === undefined || more.length > 0 || !sameSecret(given, `Bearer ${token}`)) {
    return refused(
      401,
      "The token is missing or wrong.",
      "Send the token of the run file as a bearer token.",
    );
  }
  return undefined;
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
