/** Drives that are lost for good, found again, replaced; and drives that are away for days. */

import { renameSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { declareLost } from "../../daemon/engine/declare.ts";
import { introduceDrive } from "../../daemon/engine/introduce.ts";
import { absolutePath } from "../../shared/identity.ts";
import { type Instant, instant } from "../../shared/units.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Bench, makeBench, type Wrap } from "./bench.ts";
import { alertCodes, away, back, cardOf, evening, filedAs, held, owed } from "./pictures.ts";

let bench: Bench;
afterEach(async () => bench.end());

const all = ["Blue", "Slate", "Rust"];

async function ready(wrap?: Wrap): Promise<void> {
  bench = await makeBench(wrap);
  bench.trip(profileText({ drives: all, copies: 3 }));
  for (const drive of all) await bench.drive(drive);
}

const lose = (name: string) => bench.engine.between(async () => declareLost(bench.engine, name));

test("a lost drive's copies count no more: the verdict is withdrawn, and the reasons say so", async () => {
  await ready();
  await evening(bench, "ONE", [1, 2]);
  expect(cardOf(bench, "ONE").clear).toBe(true);
  await away(bench, "Rust");
  const lost = await lose("rust");
  await bench.idle();
  expect(lost).toMatchObject({
    name: "Rust",
    held: { files: 2, bytes: 18 },
    short: 2,
    nowhere: [],
    withdrawn: ["Card 1"],
  });
  const card = cardOf(bench, "ONE");
  expect(card.clear).toBe(false);
  expect(card.lacking[0]).toMatchObject({ verified: 2, goal: 3, why: "Rust owes it (declared lost)" });
  expect(alertCodes(bench)).toEqual(expect.arrayContaining(["drive-missing", "verdict-withdrawn"]));
  const withdrawn = statusJson(bench.engine).alerts.find((alert) => alert.code === "verdict-withdrawn");
  expect(withdrawn?.text).toContain("Card 1 may not be formatted any more.");
  expect(statusJson(bench.engine).drives[2]).toMatchObject({ name: "Rust", lost: true, id: null });
});

test("another drive under the lost one's name is caught up with no card in, and all is safe again", async () => {
  await ready();
  await evening(bench, "ONE", [1, 2]);
  await away(bench, "Rust");
  await lose("Rust");
  renameSync(join(bench.aside, "Rust"), join(bench.aside, "old Rust"));
  await bench.drive("Rust");
  await bench.idle();
  expect(held(bench, "Rust")).toEqual({ [filedAs(1)]: "picture 1", [filedAs(2)]: "picture 2" });
  expect(alertCodes(bench)).toEqual([]);
  expect(cardOf(bench, "ONE").clear).toBe(true);
});

test("a drive that was declared lost and is found again is left alone, said, and read before it counts again", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await away(bench, "Rust");
  await lose("Rust");
  await back(bench, "Rust");
  expect(owed(bench)).toEqual([0, 0, 1]);
  const said = statusJson(bench.engine).alerts.find((alert) => alert.code === "unknown-drive");
  expect(said?.text).toContain("is Rust, which was declared lost. Nothing was written to it");
  await introduceDrive(
    bench.engine.ports,
    bench.engine.presence,
    absolutePath(join(bench.practice, "Rust")),
    "Rust",
  );
  await bench.idle();
  expect(owed(bench)).toEqual([0, 0, 0]);
  expect(held(bench, "Rust")).toEqual({ [filedAs(1)]: "picture 1" });
  expect(alertCodes(bench)).toEqual([]);
});

test("the only drive that held something is lost: what is nowhere now is named", async () => {
  await ready();
  await away(bench, "Slate", "Rust");
  await evening(bench, "ONE", [1]);
  await away(bench, "Blue");
  const lost = await lose("Blue");
  expect(lost.nowhere).toEqual([
    { trip: "Kestrel Cliffs", path: filedAs(1), day: "2027-06-05", card: "card 1", bytes: 9 },
  ]);
  expect(lost.nowhereTotal).toBe(1);
  // The card still has it.
  await back(bench, "Slate", "Rust", "ONE");
  expect(held(bench, "Slate")).toEqual({ [filedAs(1)]: "picture 1" });
});

test("a drive that is plugged in isn't lost, nor is one that nobody knows", async () => {
  await ready();
  await expect(lose("Blue")).rejects.toThrow("Blue is plugged in. Nothing was changed.");
  await expect(lose("Granite")).rejects.toThrow("No drive is known as Granite.");
  await away(bench, "Blue");
  await lose("Blue");
  await expect(lose("Blue")).rejects.toThrow("was declared lost before");
});

/** A clock that can be set. */
function settable(): { wrap: Wrap; set(hours: number): void } {
  let offset = 0;
  return {
    set: (hours) => {
      offset = hours * 3_600_000;
    },
    wrap: (ports) => ({
      ...ports,
      limits: { ...ports.limits, remindLookEvery: 0, pollEvery: 30 },
      clock: {
        now: (): Instant => instant(ports.clock.now() + offset),
        steady: () => ports.clock.steady(),
        sleep: (span, stop) => ports.clock.sleep(span, stop),
      },
    }),
  };
}

test("a drive that stays away is said again, twice a day at most, with how long and how much", async () => {
  const clock = settable();
  await ready(clock.wrap);
  await away(bench, "Rust");
  await evening(bench, "ONE", [1, 2]);
  const said = () => bench.notices.filter((notice) => notice.body.includes("Rust has not been plugged in"));
  const passes = async (hours: number) => {
    clock.set(hours);
    await new Promise((resolve) => setTimeout(resolve, 150));
  };
  await passes(5);
  expect(said()).toHaveLength(0);
  expect(statusJson(bench.engine).alerts[0]?.happened).toBe(
    "Rust has not been plugged in for 5 hours. It owes 2 files (18 B).",
  );
  await passes(13);
  expect(said()).toHaveLength(1);
  await passes(20);
  expect(said()).toHaveLength(1);
  await passes(26);
  expect(said()).toHaveLength(2);
  await passes(50);
  expect(said().at(-1)?.body).toContain("Rust has not been plugged in for 2 days");
  // A clock that goes back says nothing twice.
  const before = said().length;
  await passes(-400);
  expect(said()).toHaveLength(before);
});
