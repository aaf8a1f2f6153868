/**
 * The daemon's loopback API: JSON over HTTP for page, tray and command line, on 127.0.0.1 and a port that the system
 * picks. Reads by GET, changes by POST; every body checked by schema; every failure a `RefusalJson`.
 *
 * Invariants: nothing of a request is used before `refuseHead` agreed; no request, however malformed, stops the daemon or
 * another request; no CORS header is ever sent. Not its job: deciding anything (`DaemonFace`), the run file.
 */

import fastify, {
  type FastifyError,
  type FastifyInstance,
  type FastifyReply,
  type FastifyRequest,
} from "fastify";
import { z } from "zod";
import type { RefusalJson } from "../../shared/api.ts";
import { UserMistake } from "../../shared/problems.ts";
import { millis } from "../../shared/units.ts";
import type { DaemonFace } from "./face.ts";
import type { PageFiles } from "./pageFiles.ts";
import { emptyBody, parse, WrongShape } from "./parse.ts";
import { cookieName, enterPath, type RequestHead, refuseHead } from "./requestCheck.ts";
import { addBoardRoutes } from "./routes/boardRoutes.ts";
import { addEditRoutes } from "./routes/editRoutes.ts";
import { addFrameRoutes } from "./routes/frameRoutes.ts";
import { addHomeRoutes } from "./routes/homeRoutes.ts";
import { addTripRoutes } from "./routes/tripRoutes.ts";
import { Sessions } from "./sessions.ts";
import { StatusFeed } from "./statusFeed.ts";

export interface Api {
  /** Opens the port on 127.0.0.1; 0 lets the system pick one. */
  listen(port?: number): Promise<{ readonly port: number }>;
  /** A way in that is good once, for a minute. @param matter what the page is to show, behind `#` of its address */
  link(matter: string): string;
  /** Ends waiting requests and closes the port. */
  close(): Promise<void>;
}

/** bytes. The longest body of most routes is a path and a name; those that take more say so. */
const bodyBytesMax = 16 * 1024;

/**
 * Content Security Policy Level 3 for the page: everything from here and nothing inline. `frame-ancestors`, `base-uri` and
 * `form-action` don't fall back to `default-src`. (ASVS 5.0, 3.4.3 to 3.4.6)
 */
const pagePolicy =
  "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'";

/** Content Security Policy Level 3; the API has no document, so that nothing it sends can act as one. */
const securityHeaders = {
  "content-security-policy":
    "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; object-src 'none'",
  "x-content-type-options": "nosniff",
  "referrer-policy": "no-referrer",
  "cross-origin-resource-policy": "same-origin",
  "cache-control": "no-store",
} as const;

/**
 * @param token 64 hex digits; made anew at each start
 * @param page the page's built files
 * @param onBug hears of faults of ours; the caller gets no trace
 */
export function createApi(
  face: DaemonFace,
  token: string,
  page: PageFiles,
  onBug: (bug: unknown) => void,
): Api {
  let port = 0;
  const stopping = new AbortController();
  const sessions = newSessions();
  const server = buildServer(face, token, page, () => port, stopping.signal, onBug, sessions);
  return {
    link: (matter) => `${linkTo(port, sessions)}#${matter}`,
    listen: async (wanted = 0) => {
      await server.listen({ host: "127.0.0.1", port: wanted });
      const address = server.server.address();
      if (address === null || typeof address === "string") throw new Error("the API listens on no port");
      port = address.port;
      return { port };
    },
    close: async () => {
      stopping.abort();
      await server.close();
    },
  };
}

/** The server without its socket. @param ownPort the port it is reached at, for judging Host and Origin */
export function buildServer(
  face: DaemonFace,
  token: string,
  page: PageFiles,
  ownPort: () => number,
  stopping: AbortSignal,
  onBug: (bug: unknown) => void,
  sessions = newSessions(),
): FastifyInstance {
  const server = fastify({
    logger: false,
    bodyLimit: bodyBytesMax,
    exposeHeadRoutes: false,
    forceCloseConnections: true,
    return503OnClosing: true,
    // Malformed request targets never reach a route or a hook.
    frameworkErrors: (_error, _request, reply) => refuse(reply, 400, "This request can't be understood."),
    clientErrorHandler: (_error, socket) => {
      if (!socket.writable) return;
      socket.end("HTTP/1.1 400 Bad Request\r\nConnection: close\r\nContent-Length: 0\r\n\r\n");
    },
  });
  server.removeContentTypeParser("text/plain");
  const keys = { token, isSession: (secret: string) => sessions.isOpen(secret) };

  server.addHook("onRequest", async (request, reply) => {
    reply.headers(securityHeaders);
    const refusal = refuseHead(headOf(request), ownPort(), keys);
    if (refusal === undefined) return;
    if (refusal.status === 401) reply.header("www-authenticate", "Bearer");
    if (refusal.status === 405) reply.header("allow", "GET, POST");
    return refuse(reply, refusal.status, refusal.message, refusal.next);
  });
  server.setNotFoundHandler((_request, reply) =>
    refuse(
      reply,
      404,
      "There is nothing at this address.",
      "The daemon may be of another version than its caller.",
    ),
  );
  server.setErrorHandler((error: FastifyError, _request, reply) => explainFailure(error, reply, onBug));
  addBoardRoutes(server, face, stopping);
  addTripRoutes(server, face.trips);
  addFrameRoutes(server, face.frames);
  addEditRoutes(server, face.edits);
  addHomeRoutes(server, face.home);
  addFeed(server, face, stopping);
  addPage(server, page, sessions, ownPort);
  return server;
}

function newSessions(): Sessions {
  return new Sessions(() => millis(performance.now()));
}

function linkTo(port: number, sessions: Sessions): string {
  return `http://127.0.0.1:${port}${enterPath}?ticket=${sessions.ticket()}`;
}

/** Everything that changes, as it changes. */
function addFeed(server: FastifyInstance, face: DaemonFace, stopping: AbortSignal): void {
  const feed = new StatusFeed(() => face.status());
  stopping.addEventListener("abort", () => feed.end());
  server.get("/v1/events", (_request, reply) => {
    reply.hijack();
    reply.raw.writeHead(200, { ...securityHeaders, "content-type": "text/event-stream" });
    if (!feed.add(reply.raw)) reply.raw.end();
  });
}

/** The way in, and the page's files. */
function addPage(server: FastifyInstance, page: PageFiles, sessions: Sessions, ownPort: () => number): void {
  server.post("/v1/link", async (request, reply) => {
    parse(emptyBody, request.body);
    // Whoever got in by a session doesn't let others in.
    if (request.headers.authorization === undefined)
      return refuse(reply, 403, "Only a program that holds the token makes links.");
    return { url: linkTo(ownPort(), sessions) };
  });
  server.get(enterPath, async (request, reply) => {
    const { ticket } = parse(ticketQuery, request.query);
    const session = sessions.enter(ticket);
    if (session === undefined)
      return refuse(
        reply,
        401,
        "This link was used already or is too old.",
        "Get a new one with `scrubjay open`, or from the tray.",
      );
    const cookie = `${cookieName(ownPort())}=${session}; Path=/; HttpOnly; SameSite=Strict`;
    return reply.header("set-cookie", cookie).redirect("/", 303);
  });
  for (const [path, { content, type }] of page) {
    const send = (_request: FastifyRequest, reply: FastifyReply) =>
      reply.header("content-type", type).header("content-security-policy", pagePolicy).send(content);
    server.get(path, send);
    if (path === "/index.html") server.get("/", send);
  }
}

const ticketQuery = z.strictObject({ ticket: z.string().regex(/^[0-9a-f]{64}$/) });

function explainFailure(
  error: FastifyError,
  reply: FastifyReply,
  onBug: (bug: unknown) => void,
): FastifyReply {
  // RFC 9110 15.5.21: understood, and refused for what it says.
  if (error instanceof UserMistake) return refuse(reply, 422, error.message, error.next, error.exit);
  if (error instanceof WrongShape) return refuse(reply, 400, error.message);
  const status = error.statusCode ?? 500;
  if (status >= 400 && status < 500) return refuse(reply, status, "This request can't be understood.");
  onBug(error);
  return refuse(
    reply,
    500,
    "The daemon failed to answer.",
    "Look into its log; asking again changes nothing on card or drive.",
    74,
  );
}

function headOf(request: FastifyRequest): RequestHead {
  const { method = "", url = "", rawHeaders } = request.raw;
  return { method, target: url, rawHeaders };
}

function refuse(reply: FastifyReply, status: number, message: string, next = "", exit = 64): FastifyReply {
  if (isForPerson(reply.request))
    return reply
      .code(status)
      .headers(securityHeaders)
      .type("text/html; charset=utf-8")
      .send(
        isLocked(status, reply.request)
          ? refusalPage("This page is locked.", "")
          : refusalPage(message, next),
      );
  const body: RefusalJson = { error: { message, next, exit } };
  return reply.code(status).headers(securityHeaders).send(body);
}

/** A browser that was sent to a page: it asks for a document, not for the API. */
function isForPerson({ method, url, headers }: FastifyRequest): boolean {
  return method === "GET" && !url.startsWith("/v1/") && (headers.accept ?? "").includes("text/html");
}

/** Whoever has no session is told of it in other words than a program is. */
function isLocked(status: number, { url }: FastifyRequest): boolean {
  return (status === 401 || status === 403) && !url.startsWith(enterPath);
}

/** Plain, for it comes without any file; its texts are this program's own. */
function refusalPage(message: string, next: string): string {
  const escaped = (text: string) =>
    text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;").replaceAll("`", "");
  const locked =
    "Open the page from the tray, or with scrubjay open in a terminal: each gives a link that is good once.";
  return `<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<meta name="color-scheme" content="light dark"><title>Scrubjay</title>
<h1>${escaped(message)}</h1>
<p>${escaped(next === "" ? "Nothing was changed." : next)}</p>
<p>${locked}</p>
</html>
`;
}
