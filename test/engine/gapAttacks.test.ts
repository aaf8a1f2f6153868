/**
 * What can go wrong in the gaps: between a copy and what is written down of it, between two looks at a card, between
 * finding a bad copy and making it good. Nothing may be lost, nobody's own file taken away, and no card called clear.
 */

import { mkdirSync, readdirSync, renameSync, rmSync, utimesSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { expect, test } from "vitest";
import { verdictOf } from "../../daemon/core/verdict.ts";
import { statusJson } from "../../daemon/engine/board.ts";
import { unclearCards } from "../../daemon/engine/cardBoard.ts";
import { declareLost } from "../../daemon/engine/declare.ts";
import type { RelativePath } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { instant } from "../../shared/units.ts";
import { profileText } from "../cards/generate/card.ts";
import { encodeJpeg } from "../cards/generate/jpeg.ts";
import { type Bench, tree, type Wrap } from "./bench.ts";
import {
  alertCodes,
  away,
  back,
  cardOf,
  copyOn,
  evening,
  filedAs,
  held,
  layCard,
  listed,
  owed,
  Power,
  scrub,
  setAside,
  spoil,
  tripBench,
  until,
  withFaults,
} from "./pictures.ts";

let bench: Bench;

const two = { [filedAs(1)]: "picture 1", [filedAs(2)]: "picture 2" };
const onCard = (nth: number) => `DCIM/100ABCDE/ABCD000${nth}.PNG`;
const beside = (nth: number) => filedAs(nth).replace(".PNG", "-2.PNG");
const inTrip = (drive: string, path: string) => join(bench.practice, drive, "Kestrel Cliffs", path);

async function ready(wrap?: Wrap): Promise<void> {
  bench = await tripBench(["Blue", "Slate"], 2, wrap);
}

/** What failed is tried again soon. */
const impatient =
  (wrap: Wrap): Wrap =>
  (ports) =>
    wrap({ ...ports, limits: { ...ports.limits, driveRetryAfter: 200, pollEvery: 100 } });

// --- the power goes ------------------------------------------------------------------------------------------------

test.each([
  ["before the damaged copy is set aside", /^moveNoReplace .*\/Blue\/.*\/aside\//],
  ["when it was just set aside", /^flushFolder .*\/Blue\/.*\/aside/],
  ["before the good copy gets its name", /^moveNoReplace .*\/Blue\/Kestrel Cliffs\//],
  ["before the record tells of the good copy", /^appendOwn .*\/Blue\/.*journal\.jsonl$/],
  ["before the ledger tells of it", /^fact copy$/],
])("the power goes %s: it is made good all the same, and nothing is kept twice", async (_when, moment) => {
  const power = new Power();
  await ready(power.wrap);
  await evening(bench, "ONE", [1, 2]);
  await away(bench, "Slate");
  spoil(copyOn(bench, "Blue", 1));
  await scrub(bench, "Blue");
  power.goesAt = moment;
  await back(bench, "Slate").catch(() => undefined);
  expect(power.gone).toBe(true);
  await bench.restart();
  await bench.idle();
  expect(held(bench, "Blue")).toEqual(two);
  expect(setAside(bench, "Blue")).toEqual({ [filedAs(1)]: "pixture 1" });
  expect(listed(bench, "Blue")).toEqual(Object.keys(two));
  expect(owed(bench)).toEqual([0, 0]);
  expect(alertCodes(bench)).toEqual([]);
});

test("the power goes before the only frame has its name: with the card out it is said that the card alone may have it", async () => {
  const power = new Power();
  await ready(power.wrap);
  layCard(bench, "ONE", [1]);
  power.goesAt = /^finish /;
  await back(bench, "ONE").catch(() => undefined);
  expect(power.gone).toBe(true);
  await bench.restart(undefined, () => bench.takeOut("ONE"));
  await bench.idle();
  expect(alertCodes(bench)).toEqual(["card-unfinished", "on-no-drive"]);
  expect(unclearCards(bench.engine)).toBe(1);
  rmSync(join(bench.aside, "ONE", onCard(1)));
  await back(bench, "ONE");
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: false, vanished: [onCard(1)] });
  expect(alertCodes(bench)).toEqual(["card-formatted"]);
});

// --- what someone did to the copies --------------------------------------------------------------------------------

test("a copy that is moved again and again, back, and to a name in other case is followed each time", async () => {
  await ready();
  await evening(bench, "ONE", [1, 2]);
  const places = [filedAs(1), "one.PNG", "best/one.PNG", filedAs(1), filedAs(1).toLowerCase()];
  for (const [nth, to] of places.entries()) {
    const from = places[nth - 1];
    if (from === undefined) continue;
    mkdirSync(dirname(inTrip("Blue", to)), { recursive: true });
    renameSync(inTrip("Blue", from), inTrip("Blue", to));
    await scrub(bench, "Blue");
    expect(held(bench, "Blue")).toEqual({ [to]: "picture 1", [filedAs(2)]: "picture 2" });
    expect(listed(bench, "Blue")).toEqual([to, filedAs(2)].sort());
    expect(owed(bench)).toEqual([0, 0]);
  }
});

test("a copy that stands beside another's file is made good there, and followed when it takes the free name", async () => {
  await ready();
  mkdirSync(dirname(copyOn(bench, "Blue", 1)), { recursive: true });
  writeFileSync(copyOn(bench, "Blue", 1), "somebody's own");
  await evening(bench, "ONE", [1]);
  spoil(inTrip("Blue", beside(1)));
  await scrub(bench, "Blue");
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "somebody's own", [beside(1)]: "picture 1" });
  expect(setAside(bench, "Blue")).toEqual({ [beside(1)]: "pixture 1" });
  rmSync(copyOn(bench, "Blue", 1));
  renameSync(inTrip("Blue", beside(1)), copyOn(bench, "Blue", 1));
  await scrub(bench, "Blue");
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "picture 1" });
  expect(listed(bench, "Blue")).toEqual([filedAs(1)]);
  expect(owed(bench)).toEqual([0, 0]);
});

test("of two companions with the same bytes one is moved and the other deleted: both are there again", async () => {
  await ready();
  await evening(bench, "ONE", {
    [onCard(1)]: "picture 1",
    [onCard(1).replace("PNG", "XMP")]: "same",
    [onCard(2)]: "picture 2",
    [onCard(2).replace("PNG", "XMP")]: "same",
  });
  const companion = (nth: number) => filedAs(nth).replace("PNG", "XMP");
  mkdirSync(inTrip("Blue", "best"));
  renameSync(inTrip("Blue", companion(2)), inTrip("Blue", "best/2.XMP"));
  rmSync(inTrip("Blue", companion(1)));
  await scrub(bench, "Blue");
  const { "best/2.XMP": moved, ...rest } = held(bench, "Blue");
  expect(moved).toBe("same");
  expect(Object.values(rest).sort()).toEqual(["picture 1", "picture 2", "same"]);
  expect(owed(bench)).toEqual([0, 0]);
  expect(alertCodes(bench)).toEqual([]);
});

test("a picture that was moved onto another's name, on the only drive that has it, is found there", async () => {
  await ready();
  await away(bench, "Slate");
  await evening(bench, "ONE", [1, 2]);
  renameSync(copyOn(bench, "Blue", 1), copyOn(bench, "Blue", 2));
  await scrub(bench, "Blue");
  await back(bench, "Slate");
  expect(held(bench, "Slate")).toEqual({ [filedAs(1)]: "picture 1" });
  expect(Object.values(held(bench, "Blue"))).toContain("picture 1");
  // The other one is nowhere but on the card, and that is said.
  expect(alertCodes(bench)).toContain("on-no-drive");
  expect(cardOf(bench, "ONE").clear).toBe(false);
});

test("a file of the same size that someone put in a damaged copy's place stays, the good copy beside it", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await away(bench, "Slate");
  spoil(copyOn(bench, "Blue", 1));
  await scrub(bench, "Blue");
  writeFileSync(copyOn(bench, "Blue", 1), "my edit 1");
  await back(bench, "Slate");
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "my edit 1", [beside(1)]: "picture 1" });
  expect(setAside(bench, "Blue")).toEqual({});
});

test("a file that someone put in the place of a copy that couldn't be read isn't set aside unread", async () => {
  const broken = { on: true };
  await ready(
    withFaults({
      before: (operation, path) => {
        if (broken.on && operation === "verify" && path.endsWith(`Blue/Kestrel Cliffs/${filedAs(1)}`))
          throw new FileFault("io", path);
      },
    }),
  );
  await evening(bench, "ONE", [1]);
  await away(bench, "Slate");
  await scrub(bench, "Blue");
  expect(owed(bench)).toEqual([1, 0]);
  broken.on = false;
  writeFileSync(copyOn(bench, "Blue", 1), "my edit 1");
  await back(bench, "Slate");
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "my edit 1", [beside(1)]: "picture 1" });
  expect(setAside(bench, "Blue")).toEqual({});
});

test("copies that go bad on both drives while the card is away withdraw what was said of it", async () => {
  await ready();
  await evening(bench, "ONE", [1, 2]);
  rmSync(copyOn(bench, "Slate", 1));
  spoil(copyOn(bench, "Blue", 1));
  await scrub(bench);
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: false, lackingTotal: 1 });
  expect(alertCodes(bench)).toEqual(expect.arrayContaining(["verdict-withdrawn", "on-no-drive"]));
});

test("a clock that stands still: a copy that is lost and made again counts", async () => {
  const noon = instant(Date.parse("2027-06-05T12:00:00Z"));
  await ready((ports) => ({
    ...ports,
    clock: {
      now: () => noon,
      steady: () => ports.clock.steady(),
      sleep: (span, stop) => ports.clock.sleep(span, stop),
    },
  }));
  await evening(bench, "ONE", [1]);
  rmSync(copyOn(bench, "Blue", 1));
  expect((await scrub(bench, "Blue")).findings).toMatchObject([{ what: "missing", healed: true }]);
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "picture 1" });
  expect(owed(bench)).toEqual([0, 0]);
});

// --- drives that half work -----------------------------------------------------------------------------------------

test("a copy that is gone doesn't count again when a folder beside it can't be listed, try after try", async () => {
  const denied = { on: false, times: 0 };
  await ready(impatient(withFaults({ before: denyPrivate(denied) })));
  await evening(bench, "ONE", [1, 2]);
  await away(bench, "Slate", "Blue");
  mkdirSync(join(bench.aside, "Slate/Kestrel Cliffs/private"));
  rmSync(join(bench.aside, "Slate/Kestrel Cliffs", filedAs(1)));
  denied.on = true;
  await back(bench, "Slate");
  expect(denied.times).toBeGreaterThan(0);
  expect(cardOf(bench, "ONE").clear).toBe(false);
  await retried();
  expect(cardOf(bench, "ONE").clear).toBe(false);
  expect(owed(bench)).toEqual([0, 1]);
  expect(alertCodes(bench)).toEqual(expect.arrayContaining(["copy-missing", "verdict-withdrawn"]));
});

test("a copy that is gone beside a folder that can't be listed is said once and made again, however often copies are due", async () => {
  const denied = { on: false, times: 0 };
  let readAgain = 0;
  await ready((ports) =>
    withFaults({
      before: (operation, path) => {
        denyPrivate(denied)(operation, path);
        if (denied.on && operation === "openToVerify" && path.endsWith(`Blue/Kestrel Cliffs/${filedAs(1)}`))
          readAgain += 1;
      },
    })({ ...ports, limits: { ...ports.limits, driveRetryAfter: 200, pollEvery: 100, scrubAfter: 700 } }),
  );
  await evening(bench, "ONE", [1]);
  mkdirSync(inTrip("Blue", "private"));
  rmSync(copyOn(bench, "Blue", 1));
  denied.on = true;
  await until(() => readAgain >= 3);
  expect(denied.times).toBeGreaterThan(0);
  const said = bench.notices.filter(({ title, body }) => /Blue/.test(body) && !/formatted/.test(title));
  expect(said).toHaveLength(1);
  expect(said[0]?.body).toContain("1 copy on Blue is gone");
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "picture 1" });
  expect(alertCodes(bench)).toEqual([]);
});

test("a damaged copy that can't be set aside keeps its drive from nothing else", async () => {
  const stuck = { on: false };
  await ready(
    impatient(
      withFaults({
        before: (operation, path) => {
          if (stuck.on && operation === "moveNoReplace" && path.includes("/aside/"))
            throw new FileFault("io", path);
        },
      }),
    ),
  );
  await evening(bench, "ONE", [1]);
  await away(bench, "Slate");
  spoil(copyOn(bench, "Blue", 1));
  await scrub(bench, "Blue");
  await away(bench, "Blue");
  await back(bench, "Slate");
  await evening(bench, "TWO", [2, 3, 4]);
  stuck.on = true;
  await back(bench, "Blue");
  await until(() => Object.keys(held(bench, "Blue")).length === 4);
  await bench.idle();
  expect(Object.values(held(bench, "Blue"))).toEqual(["pixture 1", "picture 2", "picture 3", "picture 4"]);
  expect(owed(bench)).toEqual([1, 0]);
  expect(alertCodes(bench)).toEqual(expect.arrayContaining(["copy-differs", "write-error"]));
});

test("a day's folder that can't be read on a drive: its copies don't count, with the card out or in, try after try", async () => {
  const broken = { on: false };
  await ready(
    impatient(
      withFaults({
        before: (_operation, path) => {
          if (broken.on && path.includes("Slate/Kestrel Cliffs/2027-06-05/")) throw new FileFault("io", path);
        },
      }),
    ),
  );
  await evening(bench, "ONE", [1, 2]);
  await away(bench, "Slate");
  broken.on = true;
  await back(bench, "Slate");
  const outOrIn = [() => undefined, () => bench.plugIn("ONE")];
  for (const move of outOrIn) {
    move();
    await bench.idle();
    await retried();
    expect(cardOf(bench, "ONE").clear).toBe(false);
    expect(owed(bench)).toEqual([0, 2]);
    expect(alertCodes(bench)).toEqual(expect.arrayContaining(["copy-differs", "write-error"]));
  }
});

test("emptied after it left the profile, a drive holds nothing any more when it comes", async () => {
  bench = await tripBench(["Blue", "Rust"], 2);
  await evening(bench, "ONE", [1]);
  expect(cardOf(bench, "ONE").clear).toBe(true);
  bench.trip(profileText({ drives: ["Blue", "Slate"], copies: 2 }));
  bench.engine.refresh();
  await away(bench, "Rust");
  rmSync(join(bench.aside, "Rust/Kestrel Cliffs"), { recursive: true });
  await back(bench, "Rust");
  expect(cardOf(bench, "ONE").clear).toBe(false);
  await back(bench, "ONE");
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: false, lacking: [{ verified: 1, goal: 2 }] });
});

// --- cards ---------------------------------------------------------------------------------------------------------

test("read whole and written nowhere: said while the card is out, and named when the file is gone from it", async () => {
  const broken = { on: true };
  await ready(
    withFaults({
      before: (operation, path) => {
        if (broken.on && operation === "finish") throw new FileFault("io", path);
      },
    }),
  );
  await evening(bench, "ONE", [1, 2]);
  await away(bench, "Blue", "Slate");
  broken.on = false;
  await back(bench, "Blue", "Slate");
  expect(alertCodes(bench)).toEqual(["card-unfinished", "on-no-drive"]);
  expect(unclearCards(bench.engine)).toBe(1);
  rmSync(join(bench.aside, "ONE", onCard(1)));
  await back(bench, "ONE");
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: false, vanished: [onCard(1)] });
  expect(alertCodes(bench)).toEqual(["card-formatted"]);
  expect(Object.values(held(bench, "Blue"))).toEqual(["picture 2"]);
});

test("a card that was copied to one drive, which is lost for good, is named as the place to look", async () => {
  await ready();
  await away(bench, "Slate");
  await evening(bench, "ONE", [1]);
  await away(bench, "Blue");
  await bench.engine.between(async () => declareLost(bench.engine, "Blue"));
  await back(bench, "Slate");
  const nowhere = statusJson(bench.engine).alerts.find((alert) => alert.code === "on-no-drive");
  expect(nowhere?.text).toContain("If card 1 still has it, put it in and don't format it");
  rmSync(join(bench.aside, "ONE", onCard(1)));
  await back(bench, "ONE");
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: false, vanished: [onCard(1)] });
  expect(alertCodes(bench)).toContain("card-formatted");
});

test("another card under the same identity comes between: what the first never gave stays said", async () => {
  let pulled = false;
  const pulling = withFaults({
    before: (operation, path) => {
      if (pulled || operation !== "openToRead" || !path.endsWith(`ONE/${onCard(2)}`)) return;
      pulled = true;
      bench.takeOut("ONE");
    },
  });
  await ready((ports) =>
    pulling({
      ...ports,
      volumes: {
        look: async () =>
          (await ports.volumes.look()).map((volume) =>
            /ONE|TWO/.test(volume.label) ? { ...volume, fsId: "0000-0000", label: "CARD" } : volume,
          ),
        eject: (volume) => ports.volumes.eject(volume),
        watch: (hint, stop) => ports.volumes.watch(hint, stop),
      },
    }),
  );
  layCard(bench, "ONE", [1, 2]);
  await back(bench, "ONE");
  expect(pulled).toBe(true);
  await evening(bench, "TWO", [3]);
  expect(alertCodes(bench)).toContain("card-formatted");
  expect(statusJson(bench.engine).headline).toBe("Not everything is safe yet.");
});

test("a card on which something new stands at every look is never called clear, and the work ends", async () => {
  let nth = 1;
  await ready((ports) =>
    withFaults({
      before: (operation, path) => {
        if (operation !== "list" || !path.endsWith("ONE/DCIM/100ABCDE") || nth >= 100) return;
        nth += 1;
        const at = join(path, `ABCD${String(nth).padStart(4, "0")}.PNG`);
        const noon = new Date("2027-06-05T12:00:00Z");
        writeFileSync(at, `picture ${nth}`);
        utimesSync(at, noon, noon);
      },
    })({ ...ports, limits: { ...ports.limits, resurveysMost: 5 } }),
  );
  layCard(bench, "ONE", [1]);
  await back(bench, "ONE");
  const stands = readdirSync(join(bench.practice, "ONE/DCIM/100ABCDE")).length;
  expect(Object.keys(held(bench, "Blue")).length).toBeLessThan(stands);
  expect(nth).toBeLessThan(100);
  expect(cardOf(bench, "ONE").clear).toBe(false);
  expect(alertCodes(bench)).toContain("read-error");
});

test("a frame that one reader gave damaged and another gives whole, with the same size, time and ends, is taken", async () => {
  await ready();
  const pixels = { width: 400, height: 300, data: Buffer.alloc(400 * 300 * 4) };
  for (const at of pixels.data.keys()) pixels.data[at] = (at * 2_654_435_761) >>> 13;
  const whole = encodeJpeg(pixels, 95);
  // EOI (ITU-T T.81, B.1.1.3) in the midst of the image: it ends too early. Only the middle differs.
  const damaged = Buffer.from(whole).fill(Buffer.from([0xff, 0xd9]), 100_000, 104_000);
  expect(whole.length).toBeGreaterThan(104_000 + bench.engine.ports.limits.fingerprintEndBytes);
  const picture = onCard(1).replace("PNG", "JPG");
  await evening(bench, "ONE", { [picture]: damaged });
  expect(cardOf(bench, "ONE").damaged).toMatchObject([{ path: picture, accepted: false }]);
  await evening(bench, "ONE", { [picture]: whole });
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: true, damaged: [] });
  for (const drive of ["Blue", "Slate"])
    expect([...tree(join(bench.practice, drive)).values()].some((file) => file.equals(whole))).toBe(true);
});

test("a card of very many files that lack copies has its sentence", () => {
  const files = Array.from({ length: 200_000 }, (_, nth) => ({
    path: `${nth}` as RelativePath,
    heldBy: [],
    unsure: [],
    known: true,
    fault: undefined,
    damage: undefined,
    doubted: false,
    archives: [],
    lostOn: new Map(),
  }));
  const card = {
    name: "Card 1",
    present: true,
    surveyed: true,
    confirmed: true,
    vanished: 0,
    hearsay: false,
  };
  expect(verdictOf({ ...card, goal: 2, drives: [], files, archives: [], unreadFolders: [] }).sentence).toBe(
    "Keep card 1: 200,000 files lack copies (0 of 2).",
  );
});

/** Nobody may list the folder `private`. */
function denyPrivate(denied: { on: boolean; times: number }): (operation: string, path: string) => void {
  return (operation, path) => {
    if (!denied.on || operation !== "list" || !path.endsWith("/private")) return;
    denied.times += 1;
    throw new FileFault("denied", path);
  };
}

/** Long enough for what failed to be tried again some times, whether it is or not. */
async function retried(): Promise<void> {
  await new Promise((resolve) => setTimeout(resolve, 4 * 200));
  await bench.idle();
}
