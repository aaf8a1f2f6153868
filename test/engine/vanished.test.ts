/** Cards that come back without what was on them: formatted too early is noticed, and what is lost is named. */

import { rmSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { forgetVanished } from "../../daemon/engine/declare.ts";
import type { CardId } from "../../shared/identity.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Bench, makeBench, type Wrap } from "./bench.ts";
import { FaultyFiles } from "./faultyFiles.ts";
import { alertCodes, away, back, cardOf, evening, layCard } from "./pictures.ts";

let bench: Bench;
afterEach(async () => bench.end());

const picture = (nth: number) => `DCIM/100ABCDE/ABCD000${nth}.PNG`;
const formatted = () => statusJson(bench.engine).alerts.find((alert) => alert.code === "card-formatted");

async function ready(wrap?: Wrap): Promise<void> {
  bench = await makeBench(wrap);
  bench.trip(profileText({ drives: ["Blue", "Slate"], copies: 2 }));
  for (const drive of ["Blue", "Slate"]) await bench.drive(drive);
}

/** The card is pulled as soon as its second picture is about to be read. */
async function pulledHalfRead(): Promise<void> {
  let armed = true;
  await ready((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: (operation, path) => {
        if (!armed || operation !== "openToRead" || !path.includes("CARD/") || !path.includes("0002")) return;
        armed = false;
        bench.takeOut("CARD");
      },
    }),
  }));
  layCard(bench, "CARD", [1, 2, 3]);
  bench.plugIn("CARD");
  await bench.idle();
}

test("a card that was formatted half read comes back empty: what was never copied is named, and stays on the board", async () => {
  await pulledHalfRead();
  expect(alertCodes(bench)).toContain("card-unfinished");
  rmSync(join(bench.aside, "CARD/DCIM/100ABCDE"), { recursive: true });
  await back(bench, "CARD");
  const card = cardOf(bench, "CARD");
  expect(card.vanished).toEqual([picture(2), picture(3)]);
  expect(formatted()?.text).toContain(
    `were never copied and are gone from it: ${picture(2)} and ${picture(3)}`,
  );
  expect(statusJson(bench.engine).headline).toBe("Not everything is safe yet.");
  await away(bench, "CARD");
  await bench.restart();
  await bench.idle();
  expect(formatted()).toBeDefined();
  // Someone says that it was on purpose.
  bench.engine.ports.ledger.dismissCard(card.id as never, bench.engine.now());
  bench.engine.refresh();
  await bench.idle();
  expect(formatted()).toBeUndefined();
});

test("reused with other frames under the old names: the new ones are copied, the lost ones named", async () => {
  await pulledHalfRead();
  layCard(bench, "CARD", { [picture(1)]: "another 1", [picture(2)]: "another 2!" });
  rmSync(join(bench.aside, "CARD", picture(3)));
  await back(bench, "CARD");
  const card = cardOf(bench, "CARD");
  expect(card.vanished).toEqual([picture(2), picture(3)]);
  // What it holds now is safe; it isn't to be formatted all the same, since a recovery may still find the others.
  expect(card).toMatchObject({ clear: false, lackingTotal: 0 });
  expect(card.verdict).toBe("Keep card 1: 2 files that were never copied are gone from it.");
  forgetVanished(bench.engine, card.id as CardId);
  await bench.idle();
  expect(cardOf(bench, "CARD").clear).toBe(true);
});

test("a card that was clear and comes back empty is nobody's matter", async () => {
  await ready();
  await evening(bench, "CARD", [1, 2]);
  rmSync(join(bench.aside, "CARD/DCIM/100ABCDE"), { recursive: true });
  await back(bench, "CARD");
  expect(alertCodes(bench)).toEqual([]);
  expect(cardOf(bench, "CARD").vanished).toEqual([]);
});

test("copied to one drive and formatted: nothing is lost, and the other drive gets it from the first", async () => {
  await ready();
  await away(bench, "Slate");
  await evening(bench, "CARD", [1, 2]);
  rmSync(join(bench.aside, "CARD/DCIM/100ABCDE"), { recursive: true });
  await back(bench, "CARD");
  expect(cardOf(bench, "CARD").vanished).toEqual([]);
  await back(bench, "Slate");
  expect(alertCodes(bench)).toEqual([]);
});

test("a card with a new identity that comes empty is said to look like the one that went too early", async () => {
  // Formatting gives a card a new identity (FAT and exFAT volume serial number): only label and size are left to go by.
  await pulledHalfRead();
  const other = { on: false };
  await bench.restart((ports) => ({
    ...ports,
    volumes: {
      look: async () =>
        (await ports.volumes.look()).map((volume) =>
          other.on && volume.label === "CARD" ? { ...volume, fsId: "another" } : volume,
        ),
      eject: (volume) => ports.volumes.eject(volume),
      watch: (hint, stop) => ports.volumes.watch(hint, stop),
    },
  }));
  rmSync(join(bench.aside, "CARD/DCIM/100ABCDE"), { recursive: true });
  other.on = true;
  await back(bench, "CARD");
  expect(formatted()?.text).toContain("came empty, and looks like card 1");
  expect(formatted()?.text).toContain("this can't be known for sure");
});
