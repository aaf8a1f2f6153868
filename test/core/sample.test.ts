/** Which frames to look at: a dozen that leave no card, body or hour out. */

import { expect, test } from "vitest";
import { type SampleFrame, sampleOf } from "../../daemon/core/sample.ts";
import { seeded } from "./seeded.ts";

const frame = (nth: number, card: string, letter: string, hour: number | undefined): SampleFrame => ({
  id: `frame ${nth}`,
  cards: card === "" ? [] : [card],
  letter,
  hour,
});

test("a day of one card, body and hour gives twelve frames spread over it", () => {
  const day = Array.from({ length: 1_000 }, (_, nth) => frame(nth, "card 1", "A", 9));
  const { frames, covers } = sampleOf(day);
  expect(frames).toHaveLength(12);
  expect(covers).toEqual({ cards: 1, bodies: 1, hours: 1 });
  expect(frames.filter(({ stands }) => stands.includes("in between"))).toHaveLength(11);
  const places = frames.map(({ id }) => Number(id.slice("frame ".length)));
  expect(places).toEqual([...places].sort((a, b) => a - b));
  const gaps = places.slice(1).map((place, nth) => place - (places[nth] ?? 0));
  expect(Math.max(...gaps)).toBeLessThan(200);
});

test("every card, body and hour of random days is covered, in no more frames than are needed or twelve", () => {
  const random = seeded(7);
  for (let round = 0; round < 200; round += 1) {
    const pick = (most: number): number => random.below(most);
    const day = Array.from({ length: 1 + pick(300) }, (_, nth) =>
      frame(nth, `card ${pick(1 + (round % 5))}`, "ABC"[pick(3)] ?? "", pick(1 + (round % 11))),
    );
    const sample = sampleOf(day);
    const chosen = day.filter(({ id }) => sample.frames.some((each) => each.id === id));
    const all = (of: readonly SampleFrame[]) => ({
      cards: new Set(of.flatMap(({ cards }) => cards)).size,
      bodies: new Set(of.map(({ letter }) => letter)).size,
      hours: new Set(of.map(({ hour }) => hour)).size,
    });
    expect(all(chosen)).toEqual(all(day));
    expect(sample.covers).toEqual(all(day));
    expect(sample.frames).toHaveLength(Math.min(day.length, 12));
    expect(sampleOf(day)).toEqual(sample);
  }
});

test("it grows beyond twelve only where covering needs it, and to twenty-four at most", () => {
  const eighteen = Array.from({ length: 18 }, (_, nth) => frame(nth, `card ${nth}`, "A", 9));
  expect(sampleOf(eighteen).frames).toHaveLength(18);
  const thirty = Array.from({ length: 30 }, (_, nth) => frame(nth, `card ${nth}`, "A", 9));
  expect(sampleOf(thirty).frames).toHaveLength(24);
  expect(sampleOf(thirty).covers.cards).toBe(24);
});

test("each says what it stands for, and what is unknown stands for nothing", () => {
  const { frames, covers } = sampleOf([frame(1, "card 7", "A", 22), frame(2, "", "", undefined)]);
  expect(frames).toEqual([
    { id: "frame 1", stands: ["card 7", "body A", "22 h"] },
    { id: "frame 2", stands: ["in between"] },
  ]);
  expect(covers).toEqual({ cards: 1, bodies: 1, hours: 1 });
  expect(sampleOf([])).toEqual({ frames: [], covers: { cards: 0, bodies: 0, hours: 0 } });
});
