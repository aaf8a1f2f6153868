/** A drive that was freed of a trip that is home: quiet, not waited for, and ready for the next trip. */

import { rmSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { drivesJson, owedOfTrips, statusJson } from "../../daemon/engine/board.ts";
import { retireDrive } from "../../daemon/engine/homecoming/retire.ts";
import type { TripId } from "../../shared/identity.ts";
import { profileText } from "../cards/generate/card.ts";
import type { Bench } from "./bench.ts";
import { comeHome, homeBench } from "./homeBench.ts";
import {
  alertCodes,
  away,
  back,
  cardOf,
  evening,
  filedAs,
  held,
  layCard,
  newComputer,
  rebuild,
} from "./pictures.ts";

const retire = (bench: Bench, name: string) => bench.engine.between(() => retireDrive(bench.engine, name));

test("a trip that is home is quiet: a drive that is away and owes is no alert and the board says that all is safe", async () => {
  const { bench } = await homeBench(["Blue", "Slate"]);
  await away(bench, "Slate");
  await evening(bench, "ONE", [1, 2]);
  expect(alertCodes(bench)).toContain("drive-missing");
  expect(owedOfTrips(bench.engine).files).toBe(2);
  await comeHome(bench);
  await bench.idle();
  expect(alertCodes(bench)).toEqual([]);
  expect(owedOfTrips(bench.engine).files).toBe(0);
  const status = statusJson(bench.engine);
  expect([status.safe, status.cards]).toEqual([true, []]);
});

test("all drives retired: nothing is called lost, nothing is copied there any more, nothing on them is erased", async () => {
  const { bench } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1, 2]);
  await comeHome(bench);
  const before = held(bench, "Blue");
  for (const name of ["Blue", "Slate"])
    expect(await retire(bench, name)).toEqual({ name, trips: ["Kestrel Cliffs"] });
  await bench.idle();
  expect(alertCodes(bench)).toEqual([]);
  expect(statusJson(bench.engine).safe).toBe(true);
  expect(drivesJson(bench.engine).map(({ name, role, owed }) => [name, role, owed.files])).toEqual([
    ["Blue", null, 0],
    ["Slate", null, 0],
  ]);
  expect(held(bench, "Blue")).toEqual(before);
  rmSync(join(bench.practice, "Slate/Kestrel Cliffs"), { recursive: true });
  await away(bench, "Slate");
  await back(bench, "Slate");
  expect(held(bench, "Blue")).toEqual(before);
  expect(() => held(bench, "Slate")).toThrow("ENOENT");
});

test("a card after its drive was freed: what is home counts as one copy", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1, 2]);
  await comeHome(bench);
  await retire(bench, "Blue");
  await away(bench, "Blue");
  await back(bench, "ONE");
  const { clear, verdict } = cardOf(bench, "ONE");
  expect([clear, verdict]).toEqual([
    true,
    `Card 1 may be formatted. All 2 files are verified in the archive ${archive}.`,
  ]);
});

test("a homecoming that doesn't find in the archive what was there takes that back", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1, 2]);
  await comeHome(bench);
  await away(bench, "Blue");
  rmSync(join(bench.aside, "Blue/Kestrel Cliffs", filedAs(1)));
  await back(bench, "Blue");
  const { clear, held: holders } = cardOf(bench, "ONE");
  expect([clear, holders?.[0]?.files]).toEqual([true, 1]);
  rmSync(join(archive, "2027/Kestrel Cliffs", filedAs(1)));
  expect((await comeHome(bench)).missingTotal).toBe(1);
  const after = cardOf(bench, "ONE");
  expect([after.clear, after.verdict]).toEqual([false, "Keep card 1: 1 file lacks copies (0 of 1)."]);
});

test("one archive isn't the two copies a trip asks for, and two on one medium aren't either", async () => {
  const { bench, archive } = await homeBench(["Blue", "Slate"], undefined, true);
  await evening(bench, "ONE", [1, 2]);
  await comeHome(bench);
  for (const name of ["Blue", "Slate"]) await retire(bench, name);
  await back(bench, "ONE");
  const { clear, verdict, lacking } = cardOf(bench, "ONE");
  expect([clear, verdict]).toEqual([
    false,
    `Keep card 1: 2 files lack copies (1 of 2). They are home in the archive ${archive}.`,
  ]);
  expect(lacking[0]?.why).toBe("it is home, and no further drive keeps a copy of it (2 are asked for)");
  expect(alertCodes(bench)).toEqual([]);
});

test("a retired drive takes part in the next trip as it is, and an erased one under its name as well", async () => {
  const { bench } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1]);
  await comeHome(bench);
  for (const name of ["Blue", "Slate"]) await retire(bench, name);
  for (const name of ["Blue", "Slate"])
    rmSync(join(bench.practice, name, "Kestrel Cliffs"), { recursive: true });
  bench.takeOut("Slate");
  rmSync(join(bench.aside, "Slate"), { recursive: true });
  await bench.idle();
  await bench.drive("Slate");
  const next = "fs-2027-07-03-test" as TripId;
  const profile = profileText({ drives: ["Blue", "Slate"], copies: 2 })
    .replace("trip: Kestrel Cliffs", "trip: Fulmar Stacks")
    .replace("code: KC", "code: FS")
    .replace("2027-06-03", "2027-07-03")
    .replace("2027-06-14", "2027-07-14");
  bench.trip(profile, next);
  await bench.idle();
  layCard(bench, "TWO", [2]);
  bench.plugIn("TWO");
  await bench.idle();
  const card = bench.engine.ports.ledger.cards().find(({ label }) => label === "TWO");
  if (card === undefined) throw new Error("no card");
  bench.engine.ports.ledger.assignCard(card.id, next);
  bench.engine.desk.forgetDecisions(card.id);
  bench.engine.refresh();
  await bench.idle();
  for (const drive of ["Blue", "Slate"]) {
    const there = Object.values(held(bench, drive, "Fulmar Stacks"));
    expect([drive, there]).toEqual([drive, ["picture 2"]]);
    expect(() => held(bench, drive)).toThrow("ENOENT");
  }
});

test("another computer learns from a record that a drive was freed, and that the trip is home", async () => {
  const { bench } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1, 2]);
  await comeHome(bench);
  await retire(bench, "Blue");
  await bench.idle();
  await newComputer(bench, "Blue", "Slate");
  await rebuild(bench, ["Slate", "Blue"]);
  await bench.idle();
  const trip = bench.engine.tripBook.trips[0];
  if (trip === undefined) throw new Error("no trip");
  expect(bench.engine.ports.ledger.archives.isHome(trip.id)).toBe(true);
  expect(bench.engine.tripBook.tripsOf("Blue")).toEqual([]);
  expect(bench.engine.tripBook.tripsOf("Slate")).toEqual([trip]);
});
