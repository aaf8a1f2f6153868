/** Looking at frames before a card is formatted: what isn't fine keeps the card, on every drive's record, until it is. */

import { expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { framesJson, sampleJson } from "../../daemon/engine/frames.ts";
import { framesFace } from "../../daemon/faces/framesFace.ts";
import { UserMistake } from "../../shared/problems.ts";
import { count } from "../../shared/units.ts";
import type { Bench } from "./bench.ts";
import { cardOf, evening, factOf, layCard, newComputer, rebuild, tripBench, tripId } from "./pictures.ts";

const frames = async (bench: Bench) =>
  (await framesJson(bench.engine, tripId, undefined, count(0), count(500))).frames;

async function look(bench: Bench, nth: number, fine: boolean): Promise<void> {
  const frame = (await frames(bench))[nth];
  await framesFace(bench.engine).look(frame?.id ?? "", fine);
  await bench.idle();
}

const alertsOf = (bench: Bench) =>
  statusJson(bench.engine).alerts.filter(({ code }) => code === "frame-doubted");

test("a frame that isn't fine withholds `may be formatted` and says what to do; fine later ends it", async () => {
  const bench = await tripBench(["Blue", "Slate"], 2);
  layCard(bench, "CARD", [1, 2]);
  bench.plugIn("CARD");
  await bench.idle();
  expect(cardOf(bench, "CARD")).toMatchObject({ clear: true });
  await look(bench, 0, false);
  const card = cardOf(bench, "CARD");
  expect(card).toMatchObject({ clear: false, lackingTotal: 1 });
  expect(card.verdict).toBe("Keep card 1: 1 file was looked at and isn't fine.");
  expect(card.lacking[0]).toMatchObject({ verified: 2, goal: 2, why: "looked at and not fine" });
  const [alert] = alertsOf(bench);
  expect(alert).toMatchObject({ severity: "urgent", about: card.id });
  // It has all its copies: one thing is the matter, not two.
  expect(statusJson(bench.engine).alerts.map(({ code }) => code)).not.toContain("verdict-withdrawn");
  expect(alert?.happened).toBe("1 frame of card 1 was looked at and isn't fine: KC-20270605-X0001.");
  expect(alert?.safe).toContain("equal what the card gave");
  expect(alert?.next).toMatch(/^Keep card 1\..*another program.*another reader/);
  expect(statusJson(bench.engine)).toMatchObject({ headline: "Not everything is safe yet.", safe: false });
  expect((await frames(bench)).map(({ looked }) => looked)).toEqual(["not-fine", null]);
  await look(bench, 0, true);
  expect(cardOf(bench, "CARD")).toMatchObject({ clear: true });
  expect(alertsOf(bench)).toEqual([]);
  expect((await frames(bench)).map(({ looked }) => looked)).toEqual(["fine", null]);
});

test("a look at a frame stands in every drive's record, and a new computer knows it", async () => {
  const bench = await tripBench(["Blue", "Slate"], 2);
  await evening(bench, "CARD", [1]);
  await look(bench, 0, false);
  for (const drive of ["Blue", "Slate"]) expect(factOf(bench, drive, "look")).toMatchObject({ fine: false });
  await newComputer(bench, "Slate");
  await rebuild(bench, ["Slate"]);
  await bench.idle();
  expect((await frames(bench)).map(({ looked }) => looked)).toEqual(["not-fine"]);
  expect(alertsOf(bench)).toHaveLength(1);
});

test("what is said later holds though the clock was put back", async () => {
  let back = 0;
  const bench = await tripBench(["Blue"], 1, (ports) => ({
    ...ports,
    clock: {
      now: () => (ports.clock.now() - back) as ReturnType<typeof ports.clock.now>,
      steady: () => ports.clock.steady(),
      sleep: (span, stop) => ports.clock.sleep(span, stop),
    },
  }));
  await evening(bench, "CARD", [1]);
  await look(bench, 0, false);
  back = 86_400_000;
  await look(bench, 0, true);
  expect((await frames(bench)).map(({ looked }) => looked)).toEqual(["fine"]);
  await look(bench, 0, false);
  expect(alertsOf(bench)).toHaveLength(1);
});

test("the sample names cards as people do, and a frame nobody knows is the caller's mistake", async () => {
  const bench = await tripBench(["Blue"], 1);
  await evening(bench, "CARD", [1, 2, 3]);
  const day = "2027-06-05";
  const sample = sampleJson(bench.engine, tripId, day);
  expect(sample.frames).toHaveLength(3);
  expect(sample.frames.flatMap(({ stands }) => stands)).toContain("card 1");
  expect(sample.covers).toMatchObject({ cards: 1, bodies: 1, hours: 1 });
  expect(sampleJson(bench.engine, tripId, "2027-01-01").frames).toEqual([]);
  await expect(framesFace(bench.engine).look("nobody", true)).rejects.toBeInstanceOf(UserMistake);
  await expect(framesFace(bench.engine).frame("nobody")).rejects.toBeInstanceOf(UserMistake);
  expect(() => framesFace(bench.engine).days("nobody")).toThrow(UserMistake);
});

test("days, pages and one frame agree with what is filed", async () => {
  const bench = await tripBench(["Blue", "Slate"], 2);
  await evening(bench, "CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "one", "DCIM/100ABCDE/ABCD0001.JPG": "two" });
  const days = framesFace(bench.engine).days(undefined);
  expect(days).toMatchObject({
    trip: { id: tripId, name: "Kestrel Cliffs", zone: "Atlantic/Faroe" },
    days: [{ day: "2027-06-05", frames: 1, files: 2, bytes: 6 }],
    trips: [{ id: tripId, name: "Kestrel Cliffs" }],
  });
  const [frame] = await frames(bench);
  // 12:00 UTC by the file's time; the Faroes keep UTC+1 in June (tz database, Atlantic/Faroe).
  expect(frame).toMatchObject({ taken: "2027-06-05T13:00:00+01:00", kinds: ["JPG", "PNG"], film: false });
  const facts = await framesFace(bench.engine).frame(frame?.id ?? "");
  expect(facts).toMatchObject({ goal: 2, notRatable: "", rating: null });
  expect(facts.files[0]?.copies.map(({ drive }) => drive).sort()).toEqual(["Blue", "Slate"]);
  expect(facts.files[0]?.cards).toEqual([{ name: "Card 1", path: "DCIM/100ABCDE/ABCD0001.JPG" }]);
  expect(await framesFace(bench.engine).frames(tripId, 1, 10, undefined)).toMatchObject({
    total: 1,
    frames: [],
  });
  expect(await framesFace(bench.engine).frames(tripId, 0, 10, "2027-06-05")).toMatchObject({ total: 1 });
  expect(await framesFace(bench.engine).frames(tripId, 0, 10, "2027-06-06")).toMatchObject({ total: 0 });
});
