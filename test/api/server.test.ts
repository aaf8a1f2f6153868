/**
 * The loopback API as its friends and enemies meet it: the command line with its token, a page open in the browser
 * that rebound its name to 127.0.0.1, another user's program, and bytes that are no HTTP at all.
 */

import { connect } from "node:net";
import type { FastifyInstance, InjectOptions } from "fastify";
import { afterEach, beforeEach, describe, expect, test } from "vitest";
import { type Api, buildServer, createApi } from "../../daemon/api/server.ts";
import type { RefusalJson } from "../../shared/api.ts";
import { emptyStatus, type FakeFace, fakeFace } from "./fakeFace.ts";

const token = "5a".repeat(32);
const port = 4711;
const host = `127.0.0.1:${port}`;
const origin = `http://${host}`;
/** Faults of ours that the server told of. */
const bugs: unknown[] = [];
const onBug = (bug: unknown): void => {
  bugs.push(bug);
};
const authorization = `Bearer ${token}`;
const page = new Map([
  ["/index.html", { content: Buffer.from("<!doctype html>"), type: "text/html; charset=utf-8" }],
  ["/assets/page.js", { content: Buffer.from("0"), type: "text/javascript; charset=utf-8" }],
]);

describe("without a socket", () => {
  let face: FakeFace;
  let server: FastifyInstance;
  beforeEach(() => {
    face = fakeFace(emptyStatus);
    server = buildServer(face, token, page, () => port, new AbortController().signal, onBug);
  });
  afterEach(() => server.close());

  const get = (headers: Record<string, string>, url = "/v1/status") =>
    server.inject({ method: "GET", url, headers: { host, ...headers } });
  const post = (headers: Record<string, string>, url = "/v1/refresh", payload = "{}") =>
    server.inject({
      method: "POST",
      url,
      headers: { host, "content-type": "application/json", ...headers },
      payload,
    });

  test("whoever has the token reads", async () => {
    const answer = await get({ authorization });
    expect(answer.statusCode).toBe(200);
    expect(answer.json()).toEqual(emptyStatus);
    for (const url of ["/v1/cards", "/v1/drives"])
      expect((await get({ authorization }, url)).json()).toEqual([]);
  });

  test("only the exact host of this computer and port is answered", async () => {
    // NCC Group, Preventing DNS Rebinding Attacks (2019); RFC 9112 3.2; RFC 9110 15.5.20 for 421.
    for (const good of [`127.0.0.1:${port}`, `localhost:${port}`]) {
      expect((await get({ authorization, host: good })).statusCode, good).toBe(200);
    }
    const bad = [
      `evil.example:${port}`,
      `127.0.0.1.evil.example:${port}`,
      "localhost:4712",
      "localhost",
      "127.0.0.1",
      `[::1]:${port}`,
      `127.1:${port}`,
      `user@127.0.0.1:${port}`,
      `127.0.0.1:${port}.`,
      "",
    ];
    for (const each of bad) expect((await get({ authorization, host: each })).statusCode, each).toBe(421);
    expect(face.asked).toEqual(["status", "status"]);
  });

  test("without the token nothing is read, wherever else the token stands", async () => {
    const wrong: readonly Record<string, string>[] = [
      {},
      { authorization: "" },
      { authorization: "Bearer " },
      { authorization: token },
      { authorization: `Bearer ${token.slice(0, -1)}` },
      { authorization: `Bearer ${token}0` },
      { authorization: `Basic ${token}` },
      { authorization: `Bearer ${"5b".repeat(32)}` },
      { cookie: `token=${token}` },
      { "x-token": token },
    ];
    for (const headers of wrong) {
      const answer = await get(headers);
      expect(answer.statusCode, JSON.stringify(headers)).toBe(401);
      expect(answer.headers["www-authenticate"]).toBe("Bearer"); // RFC 9110 11.6.1
      expect(answer.json<RefusalJson>().error.exit).toBe(64);
    }
    for (const url of [`/v1/status?token=${token}`, `/v1/status?authorization=Bearer%20${token}`]) {
      expect((await get({}, url)).statusCode).toBe(401);
    }
    expect(face.asked).toEqual([]);
  });

  test("a foreign or missing origin changes nothing, a foreign one reads nothing", async () => {
    expect((await post({ authorization, origin })).statusCode).toBe(200);
    expect((await post({ authorization, origin: `http://localhost:${port}` })).statusCode).toBe(200);
    expect(face.asked.splice(0)).toEqual(["refresh", "refresh"]);
    const foreign = [
      "null",
      "http://evil.example",
      `https://${host}`,
      "http://127.0.0.1:80",
      `${origin}/`,
      "",
    ];
    for (const each of foreign) {
      expect((await post({ authorization, origin: each })).statusCode, each).toBe(403);
      expect((await get({ authorization, origin: each })).statusCode, each).toBe(403);
    }
    expect((await post({ authorization })).statusCode).toBe(403);
    expect(face.asked).toEqual([]);
  });

  test("a browser's change must come from the own page", async () => {
    // W3C Fetch Metadata: another port of localhost is same-site.
    expect((await post({ authorization, origin, "sec-fetch-site": "same-origin" })).statusCode).toBe(200);
    for (const site of ["cross-site", "same-site", "none", "nonsense"]) {
      const answer = await post({ authorization, origin, "sec-fetch-site": site });
      expect(answer.statusCode, site).toBe(403);
    }
    expect(face.asked).toEqual(["refresh"]);
  });

  test("methods other than GET and POST are refused, a preflight gets no permission", async () => {
    for (const method of ["OPTIONS", "PUT", "DELETE", "PATCH", "HEAD"] as const) {
      const options: InjectOptions = { method, url: "/v1/refresh", headers: { host, authorization, origin } };
      const answer = await server.inject(options);
      expect(answer.statusCode, method).toBe(405);
      expect(answer.headers.allow).toBe("GET, POST"); // RFC 9110 15.5.6
      expect(Object.keys(answer.headers).filter((name) => name.startsWith("access-control"))).toEqual([]);
    }
    expect((await get({ authorization }, "/v1/refresh")).statusCode).toBe(404);
    expect(face.asked).toEqual([]);
  });

  test("every answer carries the headers that keep it from acting as a page", async () => {
    // OWASP ASVS 5.0: 3.2.1, 3.4.2 to 3.4.6, 3.5.8.
    const answers = [
      await get({ authorization }),
      await get({}),
      await get({ authorization }, "/nothing"),
      await get({ authorization }, "/%zz"),
      await get({ authorization, host: "evil.example" }),
      await post({ authorization, origin }, "/v1/drives", "{"),
    ];
    for (const answer of answers) {
      expect(answer.headers["content-security-policy"]).toContain("default-src 'none'");
      for (const directive of ["base-uri 'none'", "frame-ancestors 'none'", "object-src 'none'"]) {
        expect(answer.headers["content-security-policy"]).toContain(directive);
      }
      expect(answer.headers["x-content-type-options"]).toBe("nosniff");
      expect(answer.headers["referrer-policy"]).toBe("no-referrer");
      expect(answer.headers["cross-origin-resource-policy"]).toBe("same-origin");
      expect(answer.headers["cache-control"]).toBe("no-store");
      expect(answer.headers["content-type"]).toMatch(/^application\/json/);
      expect(answer.headers["access-control-allow-origin"]).toBeUndefined();
    }
  });

  test("a drive is added with a mount and a name, and nothing else", async () => {
    const add = (payload: string) => post({ authorization, origin }, "/v1/drives", payload);
    const good = await add('{"mount":"/media/blue","name":"Blue"}');
    expect(good.json()).toEqual({ id: "0".repeat(32), name: "Blue", mount: "/media/blue" });
    const bad = [
      "{}",
      "[]",
      "null",
      '"text"',
      '{"mount":"/media/blue"}',
      '{"mount":"","name":"Blue"}',
      '{"mount":"/media/blue","name":5}',
      '{"mount":"/media/blue","name":"Blue","also":1}',
      '{"mount":"/media/bl\\u0000ue","name":"Blue"}',
      `{"mount":"/media/blue","name":"${"x".repeat(201)}"}`,
      '{"__proto__":{"name":"Blue"},"mount":"/media/blue","name":"Blue"}',
      "{",
      "",
    ];
    for (const payload of bad) expect((await add(payload)).statusCode, payload).toBe(400);
    expect(face.asked).toEqual(["addDrive /media/blue Blue"]);
  });

  test("bodies that aren't JSON, or too long, are refused", async () => {
    for (const type of ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data"]) {
      const answer = await post({ authorization, origin, "content-type": type });
      expect(answer.statusCode, type).toBe(415); // RFC 9110 15.5.16
    }
    const long = await post(
      { authorization, origin },
      "/v1/drives",
      JSON.stringify({ mount: "x".repeat(20_000) }),
    );
    expect(long.statusCode).toBe(413); // RFC 9110 15.5.14
    expect(face.asked).toEqual([]);
  });

  test("a card is given to a trip", async () => {
    const answer = await post(
      { authorization, origin },
      "/v1/cards/card%207/trip",
      '{"trip":"kc-20270603-3f9a"}',
    );
    expect(answer.statusCode).toBe(200);
    const traversal = await post({ authorization, origin }, "/v1/cards/../../trip", '{"trip":"x"}');
    expect(traversal.statusCode).toBe(404);
    expect(face.asked).toEqual(["assignCard card 7 kc-20270603-3f9a"]);
  });

  test("damage is accepted by a card and a path, whatever the path holds", async () => {
    const accept = (payload: string) => post({ authorization, origin }, "/v1/cards/c7/accept", payload);
    const path = "DCIM/100ALDIN/a\\u{1b} 'b' \"c\" \u5199.NEF";
    const good = await accept(JSON.stringify({ path }));
    expect(good.json()).toEqual({ card: "c7", name: "Card 7", path });
    expect((await accept(JSON.stringify({ path: "x".repeat(4096) }))).statusCode).toBe(200);
    face.asked.length = 0;
    const bad = [
      "{}",
      '{"path":""}',
      '{"path":7}',
      '{"path":"a\\u0000b"}',
      '{"path":"a","also":1}',
      JSON.stringify({ path: "x".repeat(4097) }),
    ];
    for (const payload of bad) expect((await accept(payload)).statusCode, payload).toBe(400);
    expect(face.asked).toEqual([]);
  });

  test("a drive is lost by its name", async () => {
    const lose = (payload: string) => post({ authorization, origin }, "/v1/drives/lose", payload);
    expect((await lose('{"name":"Rust"}')).json()).toEqual(face.lostAnswer);
    const refused = await lose('{"name":"Busy"}');
    expect(refused.statusCode).toBe(422);
    expect(refused.json<RefusalJson>().error.exit).toBe(64);
    face.asked.length = 0;
    for (const payload of ["{}", '{"name":""}', '{"name":null}', '{"name":"Rust","sure":true}'])
      expect((await lose(payload)).statusCode, payload).toBe(400);
    expect(face.asked).toEqual([]);
  });

  test("one drive is scrubbed, or all with null; nothing said is refused", async () => {
    const scrub = (payload: string) => post({ authorization, origin }, "/v1/scrub", payload);
    expect((await scrub('{"drive":"Blue"}')).json()).toEqual(face.scrubAnswer);
    expect((await scrub('{"drive":null}')).statusCode).toBe(200);
    expect(face.asked.splice(0)).toEqual(["scrub Blue", "scrub all"]);
    for (const payload of ["{}", '{"drive":""}', '{"drive":["Blue"]}', '{"drive":null,"fast":true}'])
      expect((await scrub(payload)).statusCode, payload).toBe(400);
    expect(face.asked).toEqual([]);
  });

  test("a ledger is rebuilt from one mount to twenty, however long their paths", async () => {
    const rebuild = (body: unknown) => post({ authorization, origin }, "/v1/rebuild", JSON.stringify(body));
    const mounts = ["/media/blue", "/media/slate"];
    expect((await rebuild({ mounts, owner: null })).json()).toEqual(face.rebuildAnswer);
    expect((await rebuild({ mounts, owner: "0a" })).statusCode).toBe(200);
    expect(face.asked.splice(0)).toEqual([
      "rebuild /media/blue /media/slate nobody",
      "rebuild /media/blue /media/slate 0a",
    ]);
    const long = Array.from({ length: 20 }, () => "x".repeat(4096));
    expect((await rebuild({ mounts: long, owner: null })).statusCode).toBe(200);
    face.asked.length = 0;
    const bad = [
      {},
      { mounts },
      { mounts: [], owner: null },
      { mounts: "/media/blue", owner: null },
      { mounts: [...long, "y"], owner: null },
      { mounts: [""], owner: null },
      { mounts: ["a\0b"], owner: null },
      { mounts, owner: "" },
      { mounts, owner: "x".repeat(201) },
      { mounts, owner: null, force: true },
    ];
    for (const body of bad)
      expect((await rebuild(body)).statusCode, JSON.stringify(body).slice(0, 60)).toBe(400);
    expect(face.asked).toEqual([]);
  });

  test("waiting takes seconds, ten minutes by default, a day at most", async () => {
    const wait = (query: string) => get({ authorization }, `/v1/wait${query}`);
    for (const query of ["", "?timeout=0", "?timeout=1.5", "?timeout=86400"]) {
      expect((await wait(query)).statusCode, query).toBe(200);
    }
    expect(face.asked.splice(0)).toEqual(["wait 600000", "wait 0", "wait 1500", "wait 86400000"]);
    for (const query of [
      "?timeout=",
      "?timeout=-1",
      "?timeout=86401",
      "?timeout=1e9",
      "?timeout=1&timeout=2",
      "?x=1",
    ]) {
      expect((await wait(query)).statusCode, query).toBe(400);
    }
    expect(face.asked).toEqual([]);
  });

  test("a mistake is said with its next step and exit status", async () => {
    const answer = await post({ authorization, origin }, "/v1/drives", '{"mount":"/m","name":"Taken"}');
    expect(answer.statusCode).toBe(422);
    expect(answer.json()).toEqual({
      error: { message: "A drive is called so already.", next: "Choose another name.", exit: 64 },
    });
  });

  test("a fault of the daemon costs one answer, and its trace stays inside", async () => {
    bugs.length = 0;
    face.failsWith = new Error("secret inner workings");
    const answer = await get({ authorization });
    expect(answer.statusCode).toBe(500);
    expect(answer.body).not.toMatch(/secret|at .*\.ts/);
    expect(bugs).toEqual([face.failsWith]);
    face.failsWith = undefined;
    expect((await get({ authorization })).statusCode).toBe(200);
  });
});

describe("on a real socket", () => {
  let face: FakeFace;
  let api: Api;
  let realPort: number;
  beforeEach(async () => {
    face = fakeFace(emptyStatus);
    api = createApi(face, token, page, onBug);
    realPort = (await api.listen()).port;
  });
  afterEach(() => api.close());

  /** Sends bytes as they are and gives back all that comes until the other side closes. */
  function raw(bytes: string): Promise<string> {
    return new Promise((resolve, reject) => {
      const socket = connect(realPort, "127.0.0.1");
      let answer = "";
      socket.on("data", (part) => {
        answer += part.toString("latin1");
      });
      socket.on("close", () => resolve(answer));
      socket.on("error", (error: NodeJS.ErrnoException) =>
        error.code === "ECONNRESET" ? resolve(answer) : reject(error),
      );
      socket.end(Buffer.from(bytes, "latin1"));
    });
  }

  const head = (more: string, hosts = [`127.0.0.1:${realPort}`]): string =>
    `GET /v1/status HTTP/1.1\r\n${hosts.map((each) => `Host: ${each}\r\n`).join("")}${more}Connection: close\r\n\r\n`;
  const bearer = `Authorization: ${authorization}\r\n`;

  test("a whole request is answered", async () => {
    const answer = await raw(head(bearer));
    expect(answer).toMatch(/^HTTP\/1\.1 200 OK\r\n/);
    expect(answer).toContain(emptyStatus.headline);
  });

  test("no host, and two of them, are bad requests", async () => {
    // RFC 9112 3.2.
    expect(await raw(head(bearer, []))).toMatch(/^HTTP\/1\.1 400 /);
    const twice = [`127.0.0.1:${realPort}`, `127.0.0.1:${realPort}`];
    expect(await raw(head(bearer, twice))).toMatch(/^HTTP\/1\.1 400 /);
    expect(await raw(head(bearer, [`127.0.0.1:${realPort}`, "evil.example"]))).toMatch(/^HTTP\/1\.1 400 /);
    expect(await raw(head(bearer, [`evil.example:${realPort}`]))).toMatch(/^HTTP\/1\.1 421 /);
    expect(await raw(head(bearer + bearer))).toMatch(/^HTTP\/1\.1 401 /);
    expect(face.asked).toEqual([]);
  });

  test("bytes that are no HTTP stop nobody", async () => {
    const bad = [
      "\0\0\0\0",
      "GET\r\n\r\n",
      "GET / HTTP/9.9\r\n\r\n",
      `GET /v1/status HTTP/1.1\r\nHost: 127.0.0.1:${realPort}\r\nX: ${"x".repeat(100_000)}\r\n\r\n`,
      `POST /v1/refresh HTTP/1.1\r\nHost: 127.0.0.1:${realPort}\r\nContent-Length: -1\r\n\r\n`,
      `POST /v1/refresh HTTP/1.1\r\nHost: 127.0.0.1:${realPort}\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n`,
      `GET http://evil.example/v1/status HTTP/1.1\r\nHost: 127.0.0.1:${realPort}\r\n${bearer}Connection: close\r\n\r\n`,
      `CONNECT evil.example:443 HTTP/1.1\r\nHost: 127.0.0.1:${realPort}\r\n\r\n`,
      `GET /v1/status HTTP/1.1\r\nHost: 127.0.0.1:${realPort}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\r\n`,
    ];
    for (const bytes of bad) expect(await raw(bytes), bytes.slice(0, 60)).toMatch(/^(HTTP\/1\.1 4\d\d |$)/);
    expect(face.asked).toEqual([]);
    expect(await raw(head(bearer))).toMatch(/^HTTP\/1\.1 200 OK/);
  });

  test("it listens on the loopback address only", () => {
    expect(realPort).toBeGreaterThan(0);
    // 127.0.0.2 is this computer too, and not what is bound: a wildcard would answer there.
    return expect(
      new Promise((resolve) => {
        const socket = connect(realPort, "127.0.0.2");
        socket.on("connect", () => {
          socket.destroy();
          resolve("connected");
        });
        socket.on("error", (error: NodeJS.ErrnoException) => resolve(error.code));
      }),
    ).resolves.toBe("ECONNREFUSED");
  });

  test("a wait ends when its caller goes away, and when the daemon stops", async () => {
    face.waitsForever = true;
    const gone = connect(realPort, "127.0.0.1");
    gone.write(`GET /v1/wait?timeout=600 HTTP/1.1\r\nHost: 127.0.0.1:${realPort}\r\n${bearer}\r\n`);
    await expect.poll(() => face.asked.length).toBe(1);
    gone.destroy();
    await expect.poll(() => face.asked).toEqual(["wait 600000", "wait ended"]);

    const waiting = connect(realPort, "127.0.0.1");
    const closed = new Promise((resolve) => waiting.on("close", resolve));
    waiting.on("error", () => undefined).resume();
    waiting.write(`GET /v1/wait?timeout=600 HTTP/1.1\r\nHost: 127.0.0.1:${realPort}\r\n${bearer}\r\n`);
    await expect.poll(() => face.asked.length).toBe(3);
    await api.close();
    await closed;
    expect(face.asked.at(-1)).toBe("wait ended");
  });

  test("nobody waits for a scrub whose caller went away, nor when the daemon stops", async () => {
    face.waitsForever = true;
    const asking = `POST /v1/scrub HTTP/1.1\r\nHost: 127.0.0.1:${realPort}\r\n${bearer}Origin: http://127.0.0.1:${realPort}\r\nContent-Type: application/json\r\nContent-Length: 14\r\n\r\n{"drive":null}`;
    const gone = connect(realPort, "127.0.0.1");
    gone.write(asking);
    await expect.poll(() => face.asked).toEqual(["scrub all"]);
    gone.destroy();
    await expect.poll(() => face.asked).toEqual(["scrub all", "scrub ended"]);

    const waiting = connect(realPort, "127.0.0.1");
    const closed = new Promise((resolve) => waiting.on("close", resolve));
    waiting.on("error", () => undefined).resume();
    waiting.write(asking);
    await expect.poll(() => face.asked.length).toBe(3);
    await api.close();
    await closed;
    expect(face.asked.at(-1)).toBe("scrub ended");
  });
});
