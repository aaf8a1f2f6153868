/** Copies are read again: what isn't good any more is told apart, set aside, made good and never deleted. */

import { mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { scrubDrives } from "../../daemon/engine/scrubRequest.ts";
import { FileFault, UserMistake } from "../../shared/problems.ts";
import { instant } from "../../shared/units.ts";
import { profileText } from "../cards/generate/card.ts";
import { encodeJpeg } from "../cards/generate/jpeg.ts";
import { xxhsumAgrees } from "../support/generalTools.ts";
import { type Bench, makeBench, type Wrap } from "./bench.ts";
import { FaultyFiles } from "./faultyFiles.ts";
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
  owed,
  setAside,
  spoil,
} from "./pictures.ts";

let bench: Bench;
afterEach(async () => bench.end());

const never = new AbortController().signal;
const scrub = (drive?: string) => scrubDrives(bench.engine, drive, never);
const whole = { [filedAs(1)]: "picture 1", [filedAs(2)]: "picture 2" };

async function ready(wrap?: Wrap): Promise<void> {
  bench = await makeBench(wrap);
  bench.trip(profileText({ drives: ["Blue", "Slate"], copies: 2 }));
  for (const drive of ["Blue", "Slate"]) await bench.drive(drive);
  await evening(bench, "ONE", [1, 2]);
}

test("all of it as it was verified: counted, and known to have been read now", async () => {
  await ready();
  const before = bench.engine.now();
  const outcome = await scrub();
  expect(outcome).toEqual({
    drives: [
      { name: "Blue", files: 2, bytes: 18, unsure: expect.any(Number) },
      { name: "Slate", files: 2, bytes: 18, unsure: expect.any(Number) },
    ],
    findings: [],
    complete: true,
  });
  const { ledger } = bench.engine.ports;
  for (const drive of bench.engine.presence.drives)
    for (const copy of ledger.copiesOn(drive.id, bench.engine.tripBook.trips[0]?.id ?? ("" as never)))
      expect(copy.checked).toBeGreaterThanOrEqual(before);
});

test("one drive by its name, whatever the case; what isn't there is refused in words", async () => {
  await ready();
  expect((await scrub("slate")).drives.map((drive) => drive.name)).toEqual(["Slate"]);
  await expect(scrub("Granite")).rejects.toThrow("No drive is known as Granite");
  await away(bench, "Slate");
  const refused = await scrub("Slate").catch((mistake: unknown) => mistake);
  expect(refused).toBeInstanceOf(UserMistake);
  expect(refused).toMatchObject({ message: "Slate is not plugged in.", exit: 1 });
});

test("a copy whose bytes changed by themselves is damage: set aside, made good from the other drive, never deleted", async () => {
  await ready();
  spoil(copyOn(bench, "Blue", 1));
  const outcome = await scrub("Blue");
  expect(outcome.findings).toEqual([
    {
      drive: "Blue",
      path: filedAs(1),
      what: "damaged",
      movedTo: null,
      healed: true,
      aside: `.scrubjay/trips/kc-2027-06-03-test/aside/${filedAs(1)}`,
    },
  ]);
  expect(held(bench, "Blue")).toEqual(whole);
  expect(setAside(bench, "Blue")).toEqual({ [filedAs(1)]: "pixture 1" });
  expect(bench.notices.some((notice) => notice.body.includes("1 copy on Blue is damaged"))).toBe(true);
  expect(alertCodes(bench)).not.toContain("copy-differs");
  expect(owed(bench)).toEqual([0, 0]);
});

test("without any other copy the damaged one stays where it is, and the card is clear no more", async () => {
  await ready();
  await away(bench, "Slate");
  expect(cardOf(bench, "ONE").clear).toBe(true);
  spoil(copyOn(bench, "Blue", 1));
  expect((await scrub("Blue")).findings).toMatchObject([{ what: "damaged", healed: false }]);
  expect(held(bench, "Blue")[filedAs(1)]).toBe("pixture 1");
  expect(setAside(bench, "Blue")).toEqual({});
  const card = cardOf(bench, "ONE");
  expect(card.clear).toBe(false);
  expect(card.lacking).toMatchObject([{ verified: 1, why: "Blue owes it (its copy there is damaged)" }]);
  expect(alertCodes(bench)).toEqual(expect.arrayContaining(["copy-differs", "verdict-withdrawn"]));
  // The matter stays while the drive goes and comes, until it is made good.
  await away(bench, "Blue");
  await back(bench, "Blue");
  expect(alertCodes(bench)).toContain("copy-differs");
  await back(bench, "Slate");
  expect(held(bench, "Blue")).toEqual(whole);
  expect(setAside(bench, "Blue")).toEqual({ [filedAs(1)]: "pixture 1" });
  expect(alertCodes(bench)).not.toContain("copy-differs");
  expect(alertCodes(bench)).not.toContain("verdict-withdrawn");
  expect(cardOf(bench, "ONE").clear).toBe(true);
});

test("what someone put in a damaged copy's place meanwhile isn't set aside: the good copy stands beside it", async () => {
  await ready();
  await away(bench, "Slate");
  spoil(copyOn(bench, "Blue", 1));
  await scrub("Blue");
  writeFileSync(copyOn(bench, "Blue", 1), "somebody's own");
  await back(bench, "Slate");
  expect(held(bench, "Blue")).toEqual({
    ...whole,
    [filedAs(1)]: "somebody's own",
    [filedAs(1).replace(".PNG", "-2.PNG")]: "picture 1",
  });
  expect(setAside(bench, "Blue")).toEqual({});
});

test("a copy that is gone is made again under its name", async () => {
  await ready();
  rmSync(copyOn(bench, "Blue", 2));
  expect((await scrub("Blue")).findings).toMatchObject([{ what: "missing", path: filedAs(2), healed: true }]);
  expect(held(bench, "Blue")).toEqual(whole);
});

test("a copy that was moved or renamed is found by its content and followed; the list tells its new place", async () => {
  await ready();
  const to = join(bench.practice, "Blue/Kestrel Cliffs/best of/puffin.PNG");
  mkdirSync(dirname(to), { recursive: true });
  renameSync(copyOn(bench, "Blue", 1), to);
  expect((await scrub("Blue")).findings).toEqual([
    { drive: "Blue", path: filedAs(1), what: "moved", movedTo: "best of/puffin.PNG", healed: true },
  ]);
  expect(held(bench, "Blue")).toEqual({ "best of/puffin.PNG": "picture 1", [filedAs(2)]: "picture 2" });
  expect(alertCodes(bench)).toEqual([]);
  expect(cardOf(bench, "ONE").clear).toBe(true);
  const list = readFileSync(join(bench.practice, "Blue/Kestrel Cliffs/checksums.xxh64"), "utf8");
  expect(list).toContain("best of/puffin.PNG");
  expect(list).not.toContain(filedAs(1));
  expect(xxhsumAgrees(join(bench.practice, "Blue/Kestrel Cliffs"))).toBe(2);
  // And it stays followed when the drive comes again.
  await away(bench, "Blue");
  await back(bench, "Blue");
  expect(owed(bench)).toEqual([0, 0]);
});

test("two copies that changed names are both followed: nothing is set aside, and both count", async () => {
  await ready();
  const [one, two] = [copyOn(bench, "Blue", 1), copyOn(bench, "Blue", 2)];
  renameSync(one, `${one}.x`);
  renameSync(two, one);
  renameSync(`${one}.x`, two);
  await scrub("Blue");
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "picture 2", [filedAs(2)]: "picture 1" });
  expect(setAside(bench, "Blue")).toEqual({});
  expect(owed(bench)).toEqual([0, 0]);
  expect(xxhsumAgrees(join(bench.practice, "Blue/Kestrel Cliffs"))).toBe(2);
});

test("a copy moved over another one's is never set aside for that one: it counts where it stands", async () => {
  await ready();
  renameSync(copyOn(bench, "Blue", 2), copyOn(bench, "Blue", 1));
  await scrub("Blue");
  expect(Object.values(held(bench, "Blue")).sort()).toEqual(["picture 1", "picture 2"]);
  expect(held(bench, "Blue")[filedAs(1)]).toBe("picture 2");
  expect(setAside(bench, "Blue")).toEqual({});
  expect(owed(bench)).toEqual([0, 0]);
  expect((await scrub("Blue")).findings).toEqual([]);
});

test("a move is seen by itself when the drive comes, without any scrub", async () => {
  await ready();
  await away(bench, "Blue");
  const root = join(bench.aside, "Blue/Kestrel Cliffs");
  renameSync(join(root, "2027-06-05"), join(root, "Saturday"));
  await back(bench, "Blue");
  expect(held(bench, "Blue")).toEqual({
    "Saturday/KC-20270605-X0001.PNG": "picture 1",
    "Saturday/KC-20270605-X0002.PNG": "picture 2",
  });
  expect(owed(bench)).toEqual([0, 0]);
});

test("an original that another program wrote into is no damage: left as it is, said, an untouched copy put beside it", async () => {
  bench = await makeBench();
  bench.trip(profileText({ drives: ["Blue", "Slate"], copies: 2 }));
  for (const drive of ["Blue", "Slate"]) await bench.drive(drive);
  const jpeg = smallJpeg();
  await evening(bench, "ONE", { "DCIM/100ABCDE/ABCD0001.JPG": jpeg });
  const path = copyOn(bench, "Blue", 1).replace(".PNG", ".JPG");
  // A comment segment behind SOI (ITU-T T.81, B.2.4.5), written like an editor does: other size, new time.
  const edited = Buffer.concat([
    jpeg.subarray(0, 2),
    Buffer.from([0xff, 0xfe, 0, 6]),
    Buffer.from("best"),
    jpeg.subarray(2),
  ]);
  writeFileSync(path, edited);
  expect((await scrub("Blue")).findings).toMatchObject([{ what: "changed", healed: true }]);
  expect(readFileSync(path).equals(edited)).toBe(true);
  expect(readFileSync(path.replace(".JPG", "-2.JPG")).equals(jpeg)).toBe(true);
  expect(setAside(bench, "Blue")).toEqual({});
  expect(bench.notices.some((notice) => notice.body.includes("was changed by another program"))).toBe(true);
  expect(xxhsumAgrees(join(bench.practice, "Blue/Kestrel Cliffs"))).toBe(1);
});

test("a copy that was cut short is damage even where its time is new", async () => {
  bench = await makeBench();
  bench.trip(profileText({ drives: ["Blue", "Slate"], copies: 2 }));
  for (const drive of ["Blue", "Slate"]) await bench.drive(drive);
  const jpeg = smallJpeg();
  await evening(bench, "ONE", { "DCIM/100ABCDE/ABCD0001.JPG": jpeg });
  const path = copyOn(bench, "Blue", 1).replace(".PNG", ".JPG");
  writeFileSync(path, jpeg.subarray(0, jpeg.length / 2));
  expect((await scrub("Blue")).findings).toMatchObject([{ what: "damaged", healed: true }]);
  expect(readFileSync(path).equals(jpeg)).toBe(true);
});

test("a copy that can't be read is damage only if it can't be read a second time", async () => {
  const trouble = { left: 0 };
  await ready((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: (operation, path) => {
        if (operation !== "verify" || trouble.left === 0 || !path.includes("Blue/Kestrel Cliffs")) return;
        trouble.left -= 1;
        throw new FileFault("io", path);
      },
    }),
  }));
  trouble.left = 1;
  expect((await scrub("Blue")).findings).toEqual([]);
  trouble.left = 2;
  expect((await scrub("Blue")).findings).toMatchObject([{ what: "damaged", healed: true }]);
  expect(held(bench, "Blue")).toEqual(whole);
});

test("a drive that is pulled while it is read again has lost nothing", async () => {
  const pull = { on: false };
  await ready((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: (operation, path) => {
        if (operation !== "verify" || !pull.on || !path.includes("Blue/Kestrel Cliffs")) return;
        pull.on = false;
        bench.takeOut("Blue");
        throw new FileFault("io", path);
      },
    }),
  }));
  pull.on = true;
  expect(await scrub("Blue")).toMatchObject({ findings: [], complete: false });
  await back(bench, "Blue");
  expect(owed(bench)).toEqual([0, 0]);
  expect(alertCodes(bench)).toEqual([]);
});

test("when nothing else is to do, copies that were last read long ago are read again by themselves", async () => {
  const read: string[] = [];
  await ready((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: (operation, path) => {
        if (operation === "openToVerify" && path.includes("Kestrel Cliffs")) read.push(path);
      },
    }),
  }));
  read.length = 0;
  spoil(copyOn(bench, "Slate", 2));
  // A week and a day later, as the ledger sees it.
  await bench.restart((ports) => ({
    ...ports,
    clock: {
      now: () => instant(ports.clock.now() + 8 * 24 * 3_600_000),
      steady: () => ports.clock.steady(),
      sleep: (span, stop) => ports.clock.sleep(span, stop),
    },
  }));
  await bench.idle();
  await until(() => Object.keys(setAside(bench, "Slate")).length > 0);
  await bench.idle();
  expect(held(bench, "Slate")).toEqual(whole);
});

test("a card that goes in while a drive is read again comes first, and the scrub goes on after it", async () => {
  const order: string[] = [];
  const gate: { open: () => void; opened: Promise<void> } = {
    open: () => undefined,
    opened: Promise.resolve(),
  };
  gate.opened = new Promise((resolve) => {
    gate.open = resolve;
  });
  let waiting = false;
  await ready((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: async (operation, path) => {
        if (operation === "openToVerify" && path.includes("Kestrel Cliffs") && path.includes("X000")) {
          order.push(`read ${path.slice(-5, -4)}`);
          if (order.length !== 1) return;
          waiting = true;
          await gate.opened;
        }
        if (operation === "moveNoReplace" && path.includes("X0003")) order.push("copied");
      },
    }),
  }));
  order.length = 0;
  const asked = scrub("Blue");
  await until(() => waiting);
  layCard(bench, "TWO", [3]);
  bench.plugIn("TWO");
  await until(() => bench.engine.presence.cards.length > 0);
  bench.engine.refresh();
  gate.open();
  expect(await asked).toMatchObject({ complete: true, findings: [] });
  expect(order.indexOf("copied")).toBeGreaterThan(0);
  expect(order.indexOf("copied")).toBeLessThan(order.lastIndexOf("read 2"));
});

function smallJpeg(): Buffer {
  return encodeJpeg({ width: 64, height: 48, data: Buffer.alloc(64 * 48 * 4, 127) }, 80);
}

async function until(holds: () => boolean): Promise<void> {
  for (let nth = 0; nth < 400; nth += 1) {
    if (holds()) return;
    await new Promise((resolve) => setTimeout(resolve, 25));
  }
  throw new Error("it never came to hold");
}
