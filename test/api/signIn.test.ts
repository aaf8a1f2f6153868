/**
 * The page's way in, as a request matrix: a one-time link, the session it gives, and everyone who tries without. Cookies
 * don't know ports, so that a cookie alone opens nothing: the browser must say that this very page asked (Fetch
 * Metadata, W3C). OWASP ASVS 5.0, 3.4 and 3.5.
 */

import type { FastifyInstance } from "fastify";
import { afterEach, beforeEach, expect, test } from "vitest";
import { buildServer } from "../../daemon/api/server.ts";
import { Sessions } from "../../daemon/api/sessions.ts";
import { millis } from "../../shared/units.ts";
import { emptyStatus, fakeFace } from "./fakeFace.ts";

const token = "5a".repeat(32);
const host = "127.0.0.1:4711";
const own = `http://${host}`;
const page = new Map([
  ["/index.html", { content: Buffer.from("<!doctype html>"), type: "text/html; charset=utf-8" }],
  ["/assets/page.js", { content: Buffer.from("0"), type: "text/javascript; charset=utf-8" }],
]);

let server: FastifyInstance;
beforeEach(() => {
  server = buildServer(
    fakeFace(emptyStatus),
    token,
    page,
    () => 4711,
    new AbortController().signal,
    () => undefined,
  );
});
afterEach(() => server.close());

type Headers = Readonly<Record<string, string>>;
const get = (url: string, headers: Headers = {}) =>
  server.inject({ method: "GET", url, headers: { host, ...headers } });
const post = (url: string, headers: Headers = {}) =>
  server.inject({
    method: "POST",
    url,
    headers: { host, "content-type": "application/json", ...headers },
    payload: "{}",
  });

async function link(): Promise<string> {
  const answer = await post("/v1/link", { authorization: `Bearer ${token}`, origin: own });
  return (answer.json() as { url: string }).url.slice(own.length);
}

/** Signs in as a browser does. @returns its cookie */
async function signedIn(): Promise<string> {
  const answer = await get(await link(), { "sec-fetch-site": "none" });
  const [cookie = ""] = String(answer.headers["set-cookie"]).split(";");
  return cookie;
}

test("a link opens the page once: a session for this page alone, and no second time", async () => {
  const url = await link();
  const answer = await get(url);
  expect(answer.statusCode).toBe(303);
  expect(answer.headers["location"]).toBe("/");
  expect(answer.headers["set-cookie"]).toMatch(
    /^scrubjay-4711=[0-9a-f]{64}; Path=\/; HttpOnly; SameSite=Strict$/,
  );
  expect(answer.headers["referrer-policy"]).toBe("no-referrer");
  const again = await get(url);
  expect(again.statusCode).toBe(401);
  expect(again.headers["set-cookie"]).toBeUndefined();
});

test("a ticket is good for a minute, whatever the computer's clock does", () => {
  let now = 0;
  const sessions = new Sessions(() => millis(now));
  const early = sessions.ticket();
  const late = sessions.ticket();
  now = 59_000;
  expect(sessions.enter(early)).toMatch(/^[0-9a-f]{64}$/);
  now = 61_000;
  expect(sessions.enter(late)).toBeUndefined();
});

test("many links don't pile up: the oldest ones go", () => {
  const sessions = new Sessions(() => millis(0));
  const [first = "", ...others] = Array.from({ length: 40 }, () => sessions.ticket());
  expect(sessions.enter(first)).toBeUndefined();
  expect(sessions.enter(others.at(-1) ?? "")).toBeDefined();
});

test("with its session the page gets its files, and answers to what it asks", async () => {
  const cookie = await signedIn();
  const document = await get("/", { cookie, "sec-fetch-site": "none" });
  expect(document.statusCode).toBe(200);
  expect(document.headers["content-type"]).toBe("text/html; charset=utf-8");
  const policy = String(document.headers["content-security-policy"]);
  for (const part of ["default-src 'none'", "script-src 'self'", "frame-ancestors 'none'", "base-uri 'none'"])
    expect(policy).toContain(part);
  expect(policy).not.toContain("unsafe");
  const same = { cookie, "sec-fetch-site": "same-origin" };
  expect((await get("/assets/page.js", same)).statusCode).toBe(200);
  expect((await get("/v1/status", same)).statusCode).toBe(200);
  expect((await post("/v1/refresh", { ...same, origin: own })).statusCode).toBe(200);
});

test.each<[string, string, (cookie: string) => Headers, number]>([
  ["no key at all", "/v1/status", () => ({}), 401],
  ["no key, the document", "/", () => ({ "sec-fetch-site": "none" }), 401],
  ["no key, a file of the page", "/assets/page.js", () => ({ "sec-fetch-site": "same-origin" }), 401],
  [
    "a wrong session",
    "/v1/status",
    () => ({ cookie: `scrubjay-4711=${"0".repeat(64)}`, "sec-fetch-site": "same-origin" }),
    401,
  ],
  [
    "the session under another port's name",
    "/v1/status",
    (cookie) => ({ cookie: cookie.replace("4711", "4712"), "sec-fetch-site": "same-origin" }),
    401,
  ],
  [
    "the session twice",
    "/v1/status",
    (cookie) => ({ cookie: `${cookie}; ${cookie}`, "sec-fetch-site": "same-origin" }),
    401,
  ],
  [
    "the session with a wrong token",
    "/v1/status",
    (cookie) => ({ cookie, authorization: "Bearer 0", "sec-fetch-site": "same-origin" }),
    401,
  ],
  [
    "the session from a page on another port",
    "/v1/status",
    (cookie) => ({ cookie, "sec-fetch-site": "same-site" }),
    403,
  ],
  [
    "the session from a foreign page",
    "/v1/status",
    (cookie) => ({ cookie, "sec-fetch-site": "cross-site" }),
    403,
  ],
  ["the session from a program, which says nothing", "/v1/status", (cookie) => ({ cookie }), 403],
  ["an answer opened as a document", "/v1/status", (cookie) => ({ cookie, "sec-fetch-site": "none" }), 403],
  [
    "a foreign page that names itself",
    "/v1/status",
    (cookie) => ({ cookie, origin: "http://evil.example", "sec-fetch-site": "same-origin" }),
    403,
  ],
  [
    "a name that was rebound",
    "/",
    (cookie) => ({ cookie, host: "evil.example:4711", "sec-fetch-site": "none" }),
    421,
  ],
  [
    "a path that climbs",
    "/assets/../../etc/passwd",
    (cookie) => ({ cookie, "sec-fetch-site": "same-origin" }),
    404,
  ],
  [
    "a path that climbs, encoded",
    "/assets/%2e%2e%2f%2e%2e%2fetc%2fpasswd",
    (cookie) => ({ cookie, "sec-fetch-site": "same-origin" }),
    404,
  ],
])("reading is refused: %s", async (_what, url, headers, status) => {
  expect((await get(url, headers(await signedIn()))).statusCode).toBe(status);
});

test.each<[string, (cookie: string) => Headers, number]>([
  ["no origin", (cookie) => ({ cookie, "sec-fetch-site": "same-origin" }), 403],
  [
    "origin null, as a sandboxed frame has it",
    (cookie) => ({ cookie, origin: "null", "sec-fetch-site": "same-origin" }),
    403,
  ],
  [
    "a form on a foreign page",
    (cookie) => ({ cookie, origin: "http://evil.example", "sec-fetch-site": "cross-site" }),
    403,
  ],
  [
    "a page on another port",
    (cookie) => ({ cookie, origin: "http://127.0.0.1:8080", "sec-fetch-site": "same-site" }),
    403,
  ],
  [
    "own origin, and the browser says same-site",
    (cookie) => ({ cookie, origin: own, "sec-fetch-site": "same-site" }),
    403,
  ],
  ["a browser that says nothing of the site", (cookie) => ({ cookie, origin: own }), 403],
  ["no session", () => ({ origin: own, "sec-fetch-site": "same-origin" }), 401],
])("changing is refused: %s", async (_what, headers, status) => {
  expect((await post("/v1/refresh", headers(await signedIn()))).statusCode).toBe(status);
});

test("a form's body and an oversize one are refused even from the page", async () => {
  const head = { host, cookie: await signedIn(), origin: own, "sec-fetch-site": "same-origin" };
  const form = await server.inject({
    method: "POST",
    url: "/v1/refresh",
    headers: { ...head, "content-type": "application/x-www-form-urlencoded" },
    payload: "a=b",
  });
  expect(form.statusCode).toBe(415);
  const large = await server.inject({
    method: "POST",
    url: "/v1/eject",
    headers: { ...head, "content-type": "application/json" },
    payload: JSON.stringify({ name: "x".repeat(100_000) }),
  });
  expect(large.statusCode).toBe(413);
});

test("what happened is asked for page by page, and by numbers only", async () => {
  const authorization = `Bearer ${token}`;
  expect((await get("/v1/happened", { authorization })).json()).toEqual([]);
  expect((await get("/v1/happened?before=12", { authorization })).statusCode).toBe(200);
  expect((await get("/v1/happened?before=x", { authorization })).statusCode).toBe(400);
});

test("a session can't make links: only who holds the token lets a browser in", async () => {
  const cookie = await signedIn();
  const answer = await post("/v1/link", { cookie, origin: own, "sec-fetch-site": "same-origin" });
  expect(answer.statusCode).toBe(403);
});
