/** What is said of its own accord: a drive that caught up, one that fills soon, and never a flood. */

import { rmSync } from "node:fs";
import { expect, test } from "vitest";
import { happenedJson, statusJson } from "../../daemon/engine/board.ts";
import { beginHomecoming } from "../../daemon/engine/homecoming/request.ts";
import { bytes, instant } from "../../shared/units.ts";
import type { Wrap } from "./bench.ts";
import { comeHome, homeBench } from "./homeBench.ts";
import { alertCodes, away, back, copyOn, evening, tripBench } from "./pictures.ts";

const all = ["Blue", "Slate", "Rust"];

test("a drive that came back and owes nothing any more says so once, and it stands in the list", async () => {
  const bench = await tripBench(all, 3);
  await away(bench, "Rust");
  await evening(bench, "ONE", [1, 2]);
  await back(bench, "Rust");
  const said = bench.notices.filter((notice) => notice.title === "Rust is caught up");
  expect(said).toHaveLength(1);
  expect(said[0]).toMatchObject({ urgency: "low", matter: "drives" });
  expect(said[0]?.body).toMatch(/^Rust owed 2 files of Kestrel Cliffs and owes none any more;/);
  const listed = happenedJson(bench.engine, undefined).filter((event) =>
    event.text.includes("owes none any more"),
  );
  expect(listed).toHaveLength(1);
});

test("a drive that owed nothing says nothing, nor does one that is pulled before it is caught up", async () => {
  const bench = await tripBench(all, 3);
  await evening(bench, "ONE", [1]);
  await away(bench, "Rust");
  await back(bench, "Rust");
  await away(bench, "Slate", "Rust");
  await evening(bench, "TWO", [2]);
  bench.plugIn("Rust");
  bench.takeOut("Rust");
  await bench.idle();
  expect(bench.notices.filter((notice) => notice.title.includes("caught up"))).toEqual([]);
});

test("a homecoming that ended is said, a rehearsal and one that someone stopped aren't", async () => {
  const { bench } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1, 2]);
  const said = () => bench.notices.filter((notice) => notice.matter === "home");
  await comeHome(bench, { rehearsal: true });
  bench.engine.pause();
  await beginHomecoming(
    bench.engine,
    { trip: undefined, to: undefined, rehearsal: false, history: false },
    [],
  );
  bench.engine.homecoming.stopNow();
  bench.engine.goOn();
  await bench.idle();
  expect(said()).toEqual([]);
  await comeHome(bench);
  expect(said()).toEqual([
    {
      title: "Kestrel Cliffs is home.",
      body: expect.stringMatching(
        /^Kestrel Cliffs is home\. 2 files stand in .+, verified\. Blue and Slate may be/,
      ),
      urgency: "normal",
      matter: "home",
    },
  ]);
});

test("a homecoming that lacks something is said with urgency", async () => {
  const { bench } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1]);
  for (const drive of ["Blue", "Slate"]) rmSync(copyOn(bench, drive, 1));
  await comeHome(bench);
  const [said] = bench.notices.filter((notice) => notice.matter === "home");
  expect(said).toMatchObject({ title: "Kestrel Cliffs isn't home yet.", urgency: "critical" });
  expect(said?.body).toContain("1 file is missing.");
});

test("a notice points at its matter on the page", async () => {
  const bench = await tripBench(all, 3);
  await away(bench, "Rust");
  await evening(bench, "ONE", [1]);
  const missing = bench.notices.find((notice) => notice.title.startsWith("Rust is not plugged in"));
  const alert = statusJson(bench.engine).alerts.find(({ code }) => code === "drive-missing");
  expect(missing?.matter).toBe(`evening/drive-missing/${encodeURIComponent(alert?.about ?? "")}`);
});

test("what comes in a flood comes together, and nothing of it is lost from the board", async () => {
  const few: Wrap = (ports) => ({
    ...ports,
    limits: { ...ports.limits, noticesAtOnce: 1, noticesEvery: 4_000 },
  });
  const bench = await tripBench(all, 3, few);
  await away(bench, "Slate", "Rust");
  await evening(bench, "ONE", [1]);
  await evening(bench, "TWO", [2]);
  await evening(bench, "THREE", [3]);
  const said = () => bench.notices.map((notice) => `${notice.title}\n${notice.body}`).join("\n");
  await expect.poll(said, { timeout: 20_000 }).toContain("Keep card 3");
  expect(said()).toMatch(/things happened/);
  expect(alertCodes(bench)).toContain("drive-missing");
});

test("a drive that won't last for the trip is said days before, by its own room", async () => {
  // The trip's third day, by the computer's clock; the frames are of the day before.
  const shift = Date.parse("2027-06-06T12:00:00Z") - Date.now();
  const small: Wrap = (ports) => ({
    ...ports,
    clock: {
      now: () => instant(ports.clock.now() + shift),
      steady: () => ports.clock.steady(),
      sleep: (span, stop) => ports.clock.sleep(span, stop),
    },
    limits: { ...ports.limits, reserveShare: 0, reserveBytesMin: 0, reserveBytesMax: 0 },
  });
  const bench = await tripBench(["Blue", "Slate"], 2, small);
  await evening(bench, "ONE", [1, 2]);
  const free = bench.engine.bay.freeOf.bind(bench.engine.bay);
  // Room for two more such days: two pictures of 9 B a day.
  bench.engine.bay.freeOf = (drive) => (drive.name === "Slate" ? bytes(40) : free(drive));
  bench.engine.refresh();
  await bench.idle();
  const alert = statusJson(bench.engine).alerts.find(({ code }) => code === "drive-fills-soon");
  expect(alert).toMatchObject({ severity: "warning", about: expect.stringContaining("Slate") });
  expect(alert?.happened).toContain(
    "Slate is full in about 2 days: it has room for 40 B, a day took 18 B lately",
  );
  expect(bench.notices.some((notice) => notice.body.includes("Slate is full in about 2 days"))).toBe(true);
});
