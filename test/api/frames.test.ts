/** The routes about frames: what they ask of the daemon, what they refuse, and how a picture is sent. */

import type { FastifyInstance } from "fastify";
import { afterEach, beforeEach, expect, test } from "vitest";
import type { FramesFace } from "../../daemon/api/framesFace.ts";
import { buildServer } from "../../daemon/api/server.ts";
import { UserMistake } from "../../shared/problems.ts";
import { emptyStatus, fakeFace } from "./fakeFace.ts";

const token = "5a".repeat(32);
const port = 4711;
const host = `127.0.0.1:${port}`;
const authorization = `Bearer ${token}`;
const stamp = "0123456789abcdef-120";

let asked: string[];
let server: FastifyInstance;

const frames: FramesFace = {
  days: (trip) => {
    asked.push(`days ${trip ?? "the board's"}`);
    return { trip: { id: "kc", name: "Kestrel Cliffs", zone: "Atlantic/Faroe" }, days: [], trips: [] };
  },
  frames: async (trip, from, most, day) => {
    asked.push(`frames ${trip} ${from} ${most} ${day ?? "all days"}`);
    return { from, total: 0, frames: [] };
  },
  frame: async (id) => {
    asked.push(`frame ${id}`);
    throw new UserMistake("No frame is known so.", "Look at the contact sheet again.");
  },
  want: (ids, size) => {
    asked.push(`want ${ids.join(" ")} ${size}`);
    return { states: ids.map((id) => ({ id, picture: "waiting" })) };
  },
  picture: async (id, size) => {
    asked.push(`picture ${id} ${size}`);
    return id === "none" ? undefined : new Uint8Array([0xff, 0xd8, 0xff, 0xd9]);
  },
  rate: async (id, rating, shown) => {
    asked.push(`rate ${id} ${rating} ${shown}`);
    return { rating, stamp, sidecar: { drive: "Blue", path: "a.xmp" } };
  },
  sample: async (trip, day) => {
    asked.push(`sample ${trip} ${day}`);
    return { day, frames: [], covers: { cards: 0, bodies: 0, hours: 0 } };
  },
  look: async (id, fine) => {
    asked.push(`look ${id} ${fine}`);
  },
};

beforeEach(() => {
  asked = [];
  const face = { ...fakeFace(emptyStatus), frames };
  server = buildServer(
    face,
    token,
    new Map(),
    () => port,
    new AbortController().signal,
    (bug) => {
      throw bug;
    },
  );
});
afterEach(() => server.close());

const get = (url: string, headers: Record<string, string> = { authorization }) =>
  server.inject({ method: "GET", url, headers: { host, ...headers } });
const post = (url: string, body: unknown) =>
  server.inject({
    method: "POST",
    url,
    headers: { host, authorization, origin: `http://${host}`, "content-type": "application/json" },
    payload: JSON.stringify(body),
  });

test("each route asks the daemon for what the caller said", async () => {
  expect((await get("/v1/frame-days")).statusCode).toBe(200);
  await get("/v1/frame-days?trip=kc");
  await get("/v1/frames?trip=kc&from=500&most=200");
  await get("/v1/frames?trip=kc&from=0&most=500&day=2027-06-05");
  await get("/v1/frames?trip=kc&from=0&most=1&day=");
  expect((await get("/v1/frames/f1")).statusCode).toBe(422);
  await post("/v1/pictures", { frames: ["f1", "f2"], size: "sheet" });
  await post("/v1/frames/f1/rate", { rating: -1, stamp: "" });
  await post("/v1/frames/f1/rate", { rating: 5, stamp });
  await post("/v1/frames/f1/look", { fine: false });
  await get("/v1/frame-sample?trip=kc&day=2027-06-05");
  expect(asked).toEqual([
    "days the board's",
    "days kc",
    "frames kc 500 200 all days",
    "frames kc 0 500 2027-06-05",
    "frames kc 0 1 ",
    "frame f1",
    "want f1 f2 sheet",
    "rate f1 -1 ",
    `rate f1 5 ${stamp}`,
    "look f1 false",
    "sample kc 2027-06-05",
  ]);
});

test("requests of another shape are refused and ask for nothing", async () => {
  const refused = [
    get("/v1/frames"),
    get("/v1/frames?trip=kc&from=-1&most=1"),
    get("/v1/frames?trip=kc&from=0&most=501"),
    get("/v1/frames?trip=kc&from=0&most=0"),
    get("/v1/frames?trip=kc&from=0&most=1&day=yesterday"),
    get("/v1/frames?trip=kc&from=0&most=1&path=/etc/passwd"),
    get("/v1/frames/f1/picture"),
    get("/v1/frames/f1/picture?size=huge"),
    get("/v1/frame-sample?trip=kc"),
    post("/v1/pictures", { frames: Array.from({ length: 501 }, (_, nth) => `f${nth}`), size: "sheet" }),
    post("/v1/pictures", { frames: ["f1"], size: "original" }),
    post("/v1/frames/f1/rate", { rating: 6, stamp: "" }),
    post("/v1/frames/f1/rate", { rating: 2.5, stamp: "" }),
    post("/v1/frames/f1/rate", { rating: "3", stamp: "" }),
    post("/v1/frames/f1/rate", { rating: 3 }),
    post("/v1/frames/f1/rate", { rating: 3, stamp: "../a" }),
    post("/v1/frames/f1/look", { fine: "yes" }),
    post("/v1/frames/f1/look", {}),
  ];
  for (const [nth, answer] of refused.entries()) expect((await answer).statusCode, `${nth}`).toBe(400);
  expect(asked).toEqual([]);
});

test("five hundred long ids fit into one request", async () => {
  const ids = Array.from({ length: 500 }, (_, nth) => String(nth).padEnd(200, "\u00e9"));
  expect((await post("/v1/pictures", { frames: ids, size: "large" })).statusCode).toBe(200);
});

test("a picture is a JPEG that this browser alone may keep; where there is none it is said", async () => {
  const answer = await get("/v1/frames/f1/picture?size=sheet");
  expect(answer.statusCode).toBe(200);
  // RFC 9111 5.2.2.7: private: no shared cache keeps it.
  expect(answer.headers).toMatchObject({
    "content-type": "image/jpeg",
    "cache-control": "private, max-age=86400",
    "x-content-type-options": "nosniff",
  });
  expect([...answer.rawPayload]).toEqual([0xff, 0xd8, 0xff, 0xd9]);
  const none = await get("/v1/frames/none/picture?size=large");
  expect(none.statusCode).toBe(404);
  expect(none.json()).toMatchObject({ error: { message: expect.stringContaining("no picture") } });
  expect(none.headers["cache-control"]).toBe("no-store");
});

test("a frame's id is a name and never a path, and nobody without the token sees a picture", async () => {
  await get("/v1/frames/..%2F..%2Fetc%2Fpasswd/picture?size=sheet");
  expect(asked).toEqual(["picture ../../etc/passwd sheet"]);
  expect((await get("/v1/frames/f1/picture?size=sheet", {})).statusCode).toBe(401);
});
