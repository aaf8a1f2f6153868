/**
 * Describing trips over the API, as the page does it: the real answers behind the real routes, on a home and an engine of
 * their own.
 */

import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import type { FastifyInstance } from "fastify";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { buildServer } from "../../daemon/api/server.ts";
import { tripsFace } from "../../daemon/faces/tripsFace.ts";
import { homeFolders } from "../../daemon/home/homeFolders.ts";
import type { RefusalJson } from "../../shared/api.ts";
import type { ProfileCheckJson, TripEntryJson, TripSavedJson, VolumeJson } from "../../shared/tripsApi.ts";
import { generateCard, tinyCard } from "../cards/generate/card.ts";
import { type Bench, makeBench } from "../engine/bench.ts";
import { emptyStatus, fakeFace } from "./fakeFace.ts";

const token = "5a".repeat(32);
const port = 4711;
const example = readFileSync(new URL("../../config/example-trip.yaml", import.meta.url), "utf8");

let bench: Bench;
let server: FastifyInstance;
let trips: string;
const bugs: unknown[] = [];

beforeAll(async () => {
  bench = await makeBench();
  const home = homeFolders({ SCRUBJAY_HOME: join(bench.folder, "home") }, "/nowhere");
  trips = join(home.config, "trips");
  const face = { ...fakeFace(emptyStatus), trips: tripsFace(bench.engine, home) };
  server = buildServer(
    face,
    token,
    new Map(),
    () => port,
    new AbortController().signal,
    (bug) => {
      bugs.push(bug);
    },
  );
});
afterAll(async () => {
  await server?.close();
  await bench?.end();
  expect(bugs).toEqual([]);
});

const headers = { host: `127.0.0.1:${port}`, authorization: `Bearer ${token}` };
const get = (url: string) => server.inject({ method: "GET", url, headers });
const post = (url: string, payload: object) =>
  server.inject({
    method: "POST",
    url,
    headers: { ...headers, origin: `http://${headers.host}`, "content-type": "application/json" },
    payload: JSON.stringify(payload),
  });
const entries = async () => (await get("/v1/trips")).json<readonly TripEntryJson[]>();
const check = async (text: string, trip: string | null = null) =>
  (await post("/v1/trips/check", { text, trip })).json<ProfileCheckJson>();
const refusal = (answer: { readonly statusCode: number; json<T>(): T }) => ({
  status: answer.statusCode,
  ...answer.json<RefusalJson>().error,
});

describe("checking", () => {
  test("a profile comes back as a form, with every fault at its place and names it would give", async () => {
    const answer = await check(example.replace("role: further", "role: furhter"));
    expect(answer.valid).toBe(false);
    expect(answer.faults.map(({ key, line, column }) => [key, line, column])).toEqual([
      ["drives[2].role", 20, 25],
    ]);
    expect(answer.form?.drives[2]).toEqual({ name: "Rust", role: "furhter", place: "car" });
    expect(answer.form?.dayStarts).toBe("04:00");
    expect(answer.examples.map(({ path }) => path)).toEqual([
      "Kestrel Cliffs/2027-06-03/KC-20270603-A0421.NEF",
      "Kestrel Cliffs/2027-06-03/KC-20270603-B1207.NEF",
      "Kestrel Cliffs/2027-06-04/KC-20270604-A0640.NEF",
    ]);
    expect(answer.examples.every(({ real }) => !real)).toBe(true);
  });

  test("what is no map has no form, and a faulty template no names", async () => {
    for (const text of ["- a\n", "trip: [", "trip: a\ntrip: b\n"]) {
      const answer = await check(text);
      expect([text, answer.form, answer.valid, answer.faults.length > 0]).toEqual([text, null, false, true]);
    }
    expect((await check("names: '{colour}'")).examples).toEqual([]);
    expect((await check("")).form?.drives).toEqual([]);
  });

  test("names follow a clock that is corrected, and where a day begins", async () => {
    const late = example.replace('clock: "+00:03:20"', 'clock: "+14:00"');
    expect((await check(late)).examples[0]?.path).toContain("2027-06-04");
    expect((await check(late.replace("04:00", "04:30"))).examples[0]?.path).toContain("2027-06-03");
    const faulty = await check(late.replace("zone: Atlantic/Faroe", "zone: Nowhere"));
    expect(faulty.examples[0]?.path).toContain("2027-06-04");
  });
});

describe("changing by the form", () => {
  test("values change in the text, in their order", async () => {
    const changes = [
      { key: "drives[1]", value: null },
      { key: "drives[1].name", value: "Moss" },
      { key: "after.eject-card", value: false },
    ];
    const { text } = (await post("/v1/trips/edit", { text: example, changes })).json<{ text: string }>();
    expect(text).toContain("{ name: Moss, role: further, place: car }");
    expect(text).toContain("after: { eject-card: false }");
  });

  test("a text that is no sound YAML is refused and told how to go on", async () => {
    const answer = await post("/v1/trips/edit", { text: "trip: [", changes: [{ key: "trip", value: "A" }] });
    expect(refusal(answer)).toMatchObject({ status: 422, exit: 78, next: expect.stringContaining("text") });
  });
});

describe("changing a long text by the form", () => {
  test("more changes at once than it bears are refused and told how to go on", async () => {
    const text = `${example}\n${"# a line that says nothing of the trip at all\n".repeat(1_900)}`;
    const changes = Array(20).fill({ key: "code", value: "KC" });
    const answer = refusal(await post("/v1/trips/edit", { text, changes }));
    expect(answer).toMatchObject({
      status: 422,
      exit: 78,
      message: expect.stringContaining("too many changes"),
    });
  });
});

describe("shapes", () => {
  test.each([
    ["/v1/trips/check", { text: example }],
    ["/v1/trips/check", { text: 1, trip: null }],
    ["/v1/trips/check", { text: "a\0b", trip: null }],
    ["/v1/trips/edit", { text: example, changes: [{ key: "trip", value: 1 }] }],
    ["/v1/trips/edit", { text: example, changes: [{ key: "trip" }] }],
    ["/v1/trips/edit", { text: example, changes: Array(201).fill({ key: "trip", value: "A" }) }],
    ["/v1/trips/begin", {}],
    ["/v1/trips", { trip: null, stamp: "x", text: example }],
    ["/v1/trips", { trip: null, stamp: null, text: example, more: 1 }],
  ])("%s refuses another shape", async (url, payload) => {
    expect((await post(url, payload)).statusCode).toBe(400);
    expect(existsSync(trips)).toBe(false);
  });

  test("a text longer than any profile has a fault that says so; one far longer isn't taken in", async () => {
    const answer = await check(`# ${"ä".repeat(190_000)}\n${example}`);
    expect(answer.faults[0]?.what).toContain("longer than any profile");
    expect((await post("/v1/trips/check", { text: "x".repeat(700_000), trip: null })).statusCode).toBe(413);
    // Other routes stay as narrow as they were.
    expect((await post("/v1/trips/begin", { copyOf: "x".repeat(20_000) })).statusCode).toBe(413);
  });
});

describe("saving", () => {
  const save = (trip: string | null, stamp: string | null, text: string) =>
    post("/v1/trips", { trip, stamp, text });

  test("a faulty profile isn't saved", async () => {
    const answer = refusal(await save(null, null, example.replace("2027-06-14", "2027-06-01")));
    expect(answer).toMatchObject({ status: 422, exit: 78 });
    expect(answer.message).toContain("Line 8");
    expect(existsSync(trips)).toBe(false);
  });

  test("a new trip becomes a file, exactly as it was written, and the engine knows it", async () => {
    const saved = (await save(null, null, example)).json<TripSavedJson>();
    expect(saved).toMatchObject({ isNew: true, id: expect.stringMatching(/^kc-20270603-[0-9a-f]{4}$/) });
    expect(readFileSync(join(trips, `${saved.id}.yaml`), "utf8")).toBe(example);
    expect(await entries()).toEqual([
      {
        id: saved.id,
        name: "Kestrel Cliffs",
        code: "KC",
        from: "2027-06-03",
        to: "2027-06-14",
        text: example,
        stamp: saved.stamp,
        faults: [],
        frames: 0,
      },
    ]);
  });

  test("it is changed only by whoever saw what it says now", async () => {
    const [before] = await entries();
    if (before === undefined) throw new Error("no trip");
    const mine = example.replace("code: KC", "code: KCX");
    const theirs = example.replace("place: car", "place: bag");
    const both = await Promise.all([
      save(before.id, before.stamp, mine),
      save(before.id, before.stamp, theirs),
    ]);
    expect(both.map(({ statusCode }) => statusCode)).toEqual([200, 422]);
    const conflict = refusal(both[1] ?? (await get("/v1/trips")));
    expect(conflict).toMatchObject({ exit: 78, message: expect.stringContaining("changed since") });
    expect((await entries())[0]?.text).toBe(mine);
    for (const stamp of [null, before.stamp, "0".repeat(64)])
      expect((await save(before.id, stamp, theirs)).statusCode).toBe(422);
    const now = (await entries())[0];
    expect((await save(before.id, now?.stamp ?? null, example)).json<TripSavedJson>().isNew).toBe(false);
  });

  test("no other trip is ever replaced: not by its name, its code or an id that isn't there", async () => {
    const heron = example.replace("trip: Kestrel Cliffs", "trip: Heron Marsh");
    expect(refusal(await save(null, null, example)).message).toContain("is described for these days already");
    expect(refusal(await save(null, null, heron)).message).toContain("is the code of Kestrel Cliffs");
    expect(refusal(await save("../kc", null, heron.replace("KC", "HM"))).message).toContain(
      "isn't there any more",
    );
    expect(readdirSync(trips)).toHaveLength(1);
    const other = (await save(null, null, heron.replace("code: KC", "code: HM"))).json<TripSavedJson>();
    expect(refusal(await save(other.id, other.stamp, heron)).message).toContain("is the code of");
  });

  test("a file that is no text is listed with its fault and isn't replaced", async () => {
    writeFileSync(join(trips, "odd.yaml"), Buffer.from([0xff, 0xfe, 0]));
    const odd = (await entries()).find(({ id }) => id === "odd");
    expect(odd).toMatchObject({ name: null, text: "", faults: [expect.objectContaining({ line: 1 })] });
    const text = example.replaceAll("2027", "2029");
    expect((await save("odd", odd?.stamp ?? null, text)).statusCode).toBe(422);
    expect(readFileSync(join(trips, "odd.yaml"))).toHaveLength(3);
  });

  test("a copy begins without days; an unknown trip can't be copied", async () => {
    const [known] = (await entries()).filter(({ name }) => name === "Kestrel Cliffs");
    const copy = (await post("/v1/trips/begin", { copyOf: known?.id })).json<{ text: string }>().text;
    expect(copy).toBe(example.replace("2027-06-03", '""').replace("2027-06-14", '""'));
    expect((await post("/v1/trips/begin", { copyOf: "nothing" })).statusCode).toBe(422);
    expect((await post("/v1/trips/begin", { copyOf: "odd" })).statusCode).toBe(422);
  });
});

describe("what is plugged in", () => {
  const volumes = async () =>
    (await get("/v1/volumes"))
      .json<readonly VolumeJson[]>()
      .map(({ label, what, name }) => [label, what, name]);

  test("cards, known drives, drives of others and new volumes are told apart", async () => {
    await bench.drive("Blue");
    for (const folder of ["Plain", "ALDINE/DCIM/100ALDIN", "Both/DCIM", "Both/.scrubjay", "Theirs/.scrubjay"])
      mkdirSync(join(bench.practice, folder), { recursive: true });
    const identity = readFileSync(join(bench.practice, "Blue/.scrubjay/drive.json"), "utf8");
    writeFileSync(join(bench.practice, "Both/.scrubjay/drive.json"), identity);
    const theirs = {
      ...JSON.parse(identity),
      id: "1".repeat(32),
      owner: "2".repeat(32),
      name: "Rust",
      fsId: "",
    };
    writeFileSync(join(bench.practice, "Theirs/.scrubjay/drive.json"), JSON.stringify(theirs));
    expect(await volumes()).toEqual([
      ["ALDINE", "card", ""],
      ["Blue", "drive", "Blue"],
      ["Both", "card", ""],
      ["Plain", "new", ""],
      ["Theirs", "foreign", "Rust"],
    ]);
    const [card] = (await get("/v1/volumes")).json<readonly VolumeJson[]>();
    expect(card?.totalBytes).toBeGreaterThan(0);
    expect(readdirSync(join(bench.practice, "ALDINE"))).toEqual(["DCIM"]);
    for (const name of ["ALDINE", "Both", "Plain", "Theirs"]) bench.takeOut(name);
  });

  test("names are tried on the frames of a card that is in, then on those that are filed", async () => {
    const [known] = (await entries()).filter(({ name }) => name === "Kestrel Cliffs");
    if (known === undefined) throw new Error("no trip");
    generateCard(join(bench.aside, "CARD"), tinyCard);
    bench.plugIn("CARD");
    await bench.idle();
    const here = await check(known.text, null);
    expect(here.examples.length).toBeGreaterThanOrEqual(2);
    expect(here.examples.every(({ real }) => real)).toBe(true);
    const text = known.text
      .replace("copies: 3, places: 2", "copies: 1")
      .replace(/ {2}- \{ name: (Slate|Rust).*\n/g, "");
    bench.trip(text, known.id);
    bench.engine.refresh();
    await bench.idle();
    renameSync(join(bench.practice, "CARD"), join(bench.aside, "CARD2"));
    await bench.idle();
    const filed = await check(text, known.id);
    expect(filed.examples.every(({ real }) => real)).toBe(true);
    for (const { path } of filed.examples) expect(existsSync(join(bench.practice, "Blue", path))).toBe(true);
    const otherwise = await check(text.replace(/^names:.*$/m, 'names: "{original}"'), known.id);
    expect(otherwise.examples[0]?.path).toMatch(/\/ALD_\d{4}\.\w+$/);
    expect((await entries()).find(({ id }) => id === known.id)?.frames).toBeGreaterThan(0);
  });
});
