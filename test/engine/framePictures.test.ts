/**
 * When pictures of frames are made: ahead when nothing else is to do, at once when somebody looks, never in anybody's
 * way. The maker is a double; what it makes is tried in `test/contract/framePictures.test.ts`.
 */

import { expect, test, vi } from "vitest";
import { framesJson } from "../../daemon/engine/frames.ts";
import { framesFace } from "../../daemon/faces/framesFace.ts";
import type { MadePicture, PictureMaker, PictureSize } from "../../daemon/ports/pictures.ts";
import type { AbsolutePath } from "../../shared/identity.ts";
import { count } from "../../shared/units.ts";
import type { Bench, Wrap } from "./bench.ts";
import { away, back, evening, layCard, tripBench, tripId } from "./pictures.ts";

interface Made {
  readonly sources: readonly AbsolutePath[];
  readonly size: PictureSize;
}

interface Maker {
  readonly made: Made[];
  /** Awaited before a picture is answered. */
  before: (stop: AbortSignal) => Promise<void>;
  answer: MadePicture;
  readonly wrap: Wrap;
}

const jpeg = new Uint8Array([0xff, 0xd8, 0xff, 0xd9]);

function maker(): Maker {
  const it: Maker = {
    made: [],
    before: async () => undefined,
    answer: { made: true, jpeg },
    wrap: (ports) => ({ ...ports, pictures: port }),
  };
  const port: PictureMaker = {
    make: async (sources, size, stop) => {
      it.made.push({ sources, size });
      await it.before(stop);
      return it.answer;
    },
    exposure: async () => [],
    close: async () => undefined,
  };
  return it;
}

const page = async (bench: Bench) =>
  (await framesJson(bench.engine, tripId, undefined, count(0), count(500))).frames;
const states = async (bench: Bench) => (await page(bench)).map(({ picture }) => picture);
const settled = (bench: Bench, wanted: readonly string[]) =>
  vi.waitFor(async () => expect(await states(bench)).toEqual(wanted), 5_000);

test("when nothing else is to do every frame's small picture is made once, and kept over a restart of the work", async () => {
  const making = maker();
  const bench = await tripBench(["Blue", "Slate"], 2, making.wrap);
  await evening(bench, "CARD", [1, 2, 3]);
  await settled(bench, ["ready", "ready", "ready"]);
  expect(making.made.map(({ size }) => size)).toEqual(["sheet", "sheet", "sheet"]);
  // The latest first.
  expect(making.made[0]?.sources[0]).toMatch(/X0003\.PNG$/);
  bench.engine.refresh();
  await bench.idle();
  await new Promise((resolve) => setTimeout(resolve, 100));
  expect(making.made).toHaveLength(3);
  const [frame] = await page(bench);
  expect(await framesFace(bench.engine).picture(frame?.id ?? "", "sheet")).toEqual(jpeg);
  expect(await framesFace(bench.engine).picture(frame?.id ?? "", "large")).toBeUndefined();
  expect(await framesFace(bench.engine).picture("../../../etc/passwd", "sheet")).toBeUndefined();
});

test("wait doesn't wait for pictures, and pausing lets the making ahead rest", async () => {
  const making = maker();
  making.before = (stop) => new Promise((resolve) => stop.addEventListener("abort", () => resolve()));
  const bench = await tripBench(["Blue"], 1, making.wrap);
  await evening(bench, "CARD", [1, 2]);
  await bench.idle();
  expect(await states(bench)).toEqual(["waiting", "waiting"]);

  const calm = maker();
  const paused = await tripBench(["Blue"], 1, calm.wrap);
  paused.engine.pause();
  layCard(paused, "CARD", [1]);
  paused.plugIn("CARD");
  await paused.idle();
  expect(calm.made).toEqual([]);
  paused.engine.goOn();
  await paused.idle();
  await settled(paused, ["ready"]);
});

test("what somebody looks for is made first, also while work is paused, and answered at once", async () => {
  const making = maker();
  const bench = await tripBench(["Blue"], 1, making.wrap);
  making.answer = { made: false, why: "not now" };
  await evening(bench, "CARD", [1, 2, 3]);
  await settled(bench, ["none", "none", "none"]);
  await bench.restart(making.wrap);
  bench.engine.pause();
  await bench.idle();
  making.made.length = 0;
  making.answer = { made: true, jpeg };
  const frames = await page(bench);
  const face = framesFace(bench.engine);
  const first = frames[0]?.id ?? "";
  expect(face.want([first, "unheard of"], "large")).toEqual({
    states: [
      { id: first, picture: "waiting" },
      { id: "unheard of", picture: "none" },
    ],
  });
  await vi.waitFor(() => expect(face.want([first], "large").states[0]?.picture).toBe("ready"), 5_000);
  expect(making.made.map(({ size }) => size)).toEqual(["large"]);
});

test("a frame without a picture is asked once in a run; one on no drive that is here is away", async () => {
  const making = maker();
  making.answer = { made: false, why: "it holds no picture" };
  const bench = await tripBench(["Blue"], 1, making.wrap);
  await evening(bench, "CARD", [1]);
  await settled(bench, ["none"]);
  framesFace(bench.engine).want([(await page(bench))[0]?.id ?? ""], "sheet");
  bench.engine.refresh();
  await bench.idle();
  expect(making.made).toHaveLength(1);
  await away(bench, "Blue");
  await bench.restart(making.wrap);
  await bench.idle();
  expect(await states(bench)).toEqual(["away"]);
  making.answer = { made: true, jpeg };
  await back(bench, "Blue");
  await settled(bench, ["ready"]);
});

test("a drive is ejected while a picture is being read from it: the reading is told to stop, then it goes", async () => {
  const making = maker();
  let toldToStop = false;
  making.before = (stop) =>
    new Promise((resolve) =>
      stop.addEventListener("abort", () => {
        toldToStop = true;
        resolve();
      }),
    );
  const bench = await tripBench(["Blue"], 1, making.wrap);
  await evening(bench, "CARD", [1]);
  await vi.waitFor(() => expect(making.made).toHaveLength(1));
  let readingWhileEjected = false;
  const eject = bench.engine.ports.volumes.eject.bind(bench.engine.ports.volumes);
  bench.engine.ports.volumes.eject = async (volume) => {
    readingWhileEjected = !toldToStop;
    return eject(volume);
  };
  await bench.engine.eject("Blue");
  expect([toldToStop, readingWhileEjected]).toEqual([true, false]);
  expect(bench.engine.presence.drives).toEqual([]);
});

test("a drive that is pulled while a picture is made of it says nothing about the frame", async () => {
  const making = maker();
  making.answer = { made: false, why: "it can't be read" };
  const bench = await tripBench(["Blue"], 1, making.wrap);
  let pulled = false;
  making.before = async () => {
    if (pulled) return;
    pulled = true;
    bench.takeOut("Blue");
  };
  await evening(bench, "CARD", [1]);
  await vi.waitFor(() => expect(pulled).toBe(true));
  await bench.idle();
  expect(await states(bench)).toEqual(["away"]);
  making.answer = { made: true, jpeg };
  await back(bench, "Blue");
  await settled(bench, ["ready"]);
});
