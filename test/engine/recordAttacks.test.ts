/**
 * What drives' records can do: tell of what went wrong on a computer that is gone, disagree, be forged or be older than
 * the ledger. Whatever they say, a copy that was found bad doesn't count, nothing outside the trip's folder is touched,
 * and the work ends.
 */

import {
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { acceptDamage, declareLost, forgetVanished } from "../../daemon/engine/declare.ts";
import { introduceDrive } from "../../daemon/engine/introduce.ts";
import { writeIdentity } from "../../daemon/record/driveIdentity.ts";
import { encodeFact, journalLine } from "../../daemon/record/journal.ts";
import type { Fact } from "../../shared/facts.ts";
import {
  absolutePath,
  type CardId,
  type ContentHash,
  type DriveId,
  type OriginalId,
  type RelativePath,
  type TripId,
} from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { profileText } from "../cards/generate/card.ts";
import { encodeJpeg } from "../cards/generate/jpeg.ts";
import type { Bench, Wrap } from "./bench.ts";
import {
  alertCodes,
  away,
  back,
  cardOf,
  copyOn,
  evening,
  factOf,
  filedAs,
  forge,
  held,
  journalOf,
  layCard,
  listed,
  newComputer,
  owed,
  Power,
  rebuild,
  recordOf,
  scrub,
  setAside,
  spoil,
  tripBench,
  tripId,
  withFaults,
} from "./pictures.ts";

let bench: Bench;

const otherTrip = "zz-2027-06-03-forged" as TripId;
const nobody = "f".repeat(32) as DriveId;
const onCard = (nth: number) => `DCIM/100ABCDE/ABCD000${nth}.PNG`;
const inTrip = (drive: string, path: string) => join(bench.practice, drive, "Kestrel Cliffs", path);

async function ready(wrap?: Wrap): Promise<void> {
  bench = await tripBench(["Blue", "Slate"], 2, wrap);
}

/** Three drives hold picture 1, and Rust is declared lost while only Blue hears of it. */
async function rustIsLost(): Promise<void> {
  bench = await tripBench(["Blue", "Slate", "Rust"], 3);
  await evening(bench, "ONE", [1]);
  await away(bench, "Rust", "Slate");
  await bench.engine.between(async () => declareLost(bench.engine, "Rust"));
  await bench.idle();
}

const drive = (name: string) => statusJson(bench.engine).drives.find((each) => each.name === name);
const add = (folder: string, name: string) =>
  introduceDrive(bench.engine.ports, bench.engine.presence, absolutePath(join(bench.practice, folder)), name);

// --- what was found out stays known --------------------------------------------------------------------------------

test("a drive that isn't learnt from tells by its own record that its copy is damaged: it is set aside and made good", async () => {
  bench = await tripBench(["Blue", "Slate", "Rust"], 3);
  await evening(bench, "ONE", [1]);
  await away(bench, "Slate", "Rust");
  spoil(copyOn(bench, "Blue", 1));
  await scrub(bench, "Blue");
  await newComputer(bench, "Rust");
  await rebuild(bench, ["Rust"]);
  await away(bench, "Rust");
  await back(bench, "Blue");
  expect(owed(bench)[0]).toBe(1);
  await back(bench, "Slate", "Rust", "ONE");
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "picture 1" });
  expect(setAside(bench, "Blue")).toEqual({ [filedAs(1)]: "pixture 1" });
  expect(cardOf(bench, "ONE").clear).toBe(true);
});

test("a copy that the power kept out of the ledger and that is found damaged later stays damaged for a new computer", async () => {
  const power = new Power();
  await ready(power.wrap);
  layCard(bench, "ONE", [1]);
  power.goesAt = /^fact copy$/;
  await back(bench, "ONE").catch(() => undefined);
  expect(power.gone).toBe(true);
  await bench.restart();
  await bench.idle();
  expect(cardOf(bench, "ONE").clear).toBe(true);
  await away(bench, "ONE", "Slate");
  spoil(copyOn(bench, "Blue", 1));
  await scrub(bench, "Blue");
  expect(owed(bench)).toEqual([1, 0]);
  await newComputer(bench, "Blue");
  await rebuild(bench, ["Blue"]);
  expect(owed(bench)).toEqual([1, 0]);
});

test("the power goes when a moved copy is known and its old place not yet given up: it is followed, and counts once", async () => {
  const power = new Power();
  await ready(power.wrap);
  await evening(bench, "ONE", [1, 2]);
  renameSync(copyOn(bench, "Blue", 1), inTrip("Blue", "best.PNG"));
  power.goesAt = /^fact loss$/;
  const asked = scrub(bench, "Blue").catch(() => undefined);
  await bench.idle().catch(() => undefined);
  expect(power.gone).toBe(true);
  await bench.restart();
  await bench.idle();
  await asked;
  await scrub(bench, "Blue");
  expect(held(bench, "Blue")).toEqual({ "best.PNG": "picture 1", [filedAs(2)]: "picture 2" });
  expect(listed(bench, "Blue")).toEqual([filedAs(2), "best.PNG"]);
  // Gone from its new place it counts nowhere, for a new computer too.
  await away(bench, "Slate");
  rmSync(inTrip("Blue", "best.PNG"));
  await scrub(bench, "Blue");
  expect(owed(bench)).toEqual([1, 0]);
  await newComputer(bench, "Blue");
  await rebuild(bench, ["Blue"]);
  expect(owed(bench)).toEqual([1, 0]);
});

test("a ledger that is older than a drive's record learns from it that the copy is damaged", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await away(bench, "Slate", "Blue");
  const kept = join(bench.folder, "backup");
  mkdirSync(kept);
  await bench.restart(undefined, () => copyLedger(bench.folder, kept));
  await back(bench, "Blue");
  spoil(copyOn(bench, "Blue", 1));
  await scrub(bench, "Blue");
  await away(bench, "Blue");
  await bench.restart(undefined, () => copyLedger(kept, bench.folder));
  await bench.idle();
  expect(cardOf(bench, "ONE").clear).toBe(true);
  await back(bench, "Blue");
  expect(cardOf(bench, "ONE").clear).toBe(false);
  expect(owed(bench)).toEqual([1, 0]);
});

test("what was accepted stays so after a rebuild, and what was found wrong with it since doesn't", async () => {
  bench = await tripBench(["Blue"], 1);
  const jpeg = encodeJpeg({ width: 64, height: 48, data: Buffer.alloc(64 * 48 * 4, 127) }, 80);
  const [first, second] = ["DCIM/100ABCDE/ABCD0001.JPG", "DCIM/100ABCDE/ABCD0002.JPG"] as const;
  layCard(bench, "ONE", {
    [first]: jpeg.subarray(0, jpeg.length / 2),
    [second]: jpeg.subarray(0, jpeg.length / 3),
  });
  await back(bench, "ONE");
  const card = cardOf(bench, "ONE").id as CardId;
  for (const path of [first, second]) acceptDamage(bench.engine, card, path);
  await bench.idle();
  expect(cardOf(bench, "ONE").clear).toBe(true);
  const { ledger, hashing, clock } = bench.engine.ports;
  const seen = ledger.sightings(card).find(({ path }) => path === second);
  if (seen === undefined) throw new Error("the card showed it");
  const { path, fingerprint, original } = seen;
  const damage = "it reads differently from one time to the next";
  const fact = encodeFact(
    { kind: "sighting", trip: tripId, at: clock.now(), card, path, fingerprint, original, damage },
    hashing,
  );
  ledger.apply([fact]);
  bench.engine.bay.tell([fact]);
  await bench.idle();
  expect(cardOf(bench, "ONE").damaged?.at(1)).toMatchObject({ path: second, why: damage, accepted: false });
  await newComputer(bench, "Blue");
  await rebuild(bench, ["Blue"]);
  await back(bench, "ONE");
  expect(cardOf(bench, "ONE").clear).toBe(false);
  expect(cardOf(bench, "ONE").damaged).toMatchObject([
    { path: first, accepted: true },
    { path: second, accepted: false },
  ]);
});

test("a vanished file of which someone said that it is of no concern stays so after a rebuild, another doesn't", async () => {
  const pulled = new Set<string>();
  await ready(
    withFaults({
      before: (operation, path) => {
        const name = operation === "openToRead" ? /(ONE|TWO)\/.*000[24]\.PNG$/.exec(path)?.[1] : undefined;
        if (name === undefined || pulled.has(name)) return;
        pulled.add(name);
        bench.takeOut(name);
      },
    }),
  );
  const cards = [
    ["ONE", 1, 2],
    ["TWO", 3, 4],
  ] as const;
  for (const [name, copied, unread] of cards) {
    layCard(bench, name, [copied, unread]);
    await back(bench, name);
    rmSync(join(bench.aside, name, onCard(unread)));
    await back(bench, name);
    expect(cardOf(bench, name).vanished).toEqual([onCard(unread)]);
    await away(bench, name);
  }
  forgetVanished(bench.engine, cardOf(bench, "ONE").id as CardId);
  await bench.idle();
  await newComputer(bench, "Blue");
  await rebuild(bench, ["Blue"]);
  await back(bench, "ONE", "TWO");
  expect(cardOf(bench, "ONE").vanished).toEqual([]);
  expect(cardOf(bench, "TWO").vanished).toEqual([onCard(4)]);
  expect(alertCodes(bench).filter((code) => code === "card-formatted")).toHaveLength(1);
});

test("a drive that was only heard of after a rebuild counts for no card before it was plugged in", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await newComputer(bench, "Blue");
  await rebuild(bench, ["Blue"]);
  await back(bench, "ONE");
  expect(drive("Slate")?.present).toBe(false);
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: false, lacking: [{ verified: 1, goal: 2 }] });
  await back(bench, "Slate");
  expect(cardOf(bench, "ONE").clear).toBe(true);
});

test("a card that is in while its trip is learnt is looked at whole: other bytes under a known name are copied", async () => {
  await ready();
  await evening(bench, "ONE", [1, 2]);
  layCard(bench, "ONE", { [onCard(1)]: "pictuRe 1" });
  await newComputer(bench, "Blue", "Slate", "ONE");
  await rebuild(bench, ["Blue", "Slate"]);
  await bench.idle();
  for (const name of ["Blue", "Slate"])
    expect(Object.values(held(bench, name)).sort()).toEqual(["pictuRe 1", "picture 1", "picture 2"]);
  expect(cardOf(bench, "ONE").clear).toBe(true);
});

test("a drive that is pulled in the midst of a rebuild has lost nothing, and is learnt to the end when it comes", async () => {
  let pull = false;
  await ready();
  await evening(bench, "ONE", [1]);
  await newComputer(bench);
  await bench.restart(
    withFaults({
      before: (operation, path) => {
        if (!pull || operation !== "facts" || !path.includes("Blue/Kestrel Cliffs/2027-06-05")) return;
        pull = false;
        bench.takeOut("Blue");
      },
    }),
  );
  await back(bench, "Blue", "Slate");
  pull = true;
  await rebuild(bench, ["Blue", "Slate"]);
  await bench.idle();
  expect(pull).toBe(false);
  await back(bench, "Blue");
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "picture 1" });
  expect(owed(bench)).toEqual([0, 0]);
  expect(alertCodes(bench)).toEqual([]);
});

// --- drives that were declared lost, and drives of one name --------------------------------------------------------

test("a rebuild from a lost drive and one that knows of it ends, and the lost one doesn't count", async () => {
  await rustIsLost();
  await newComputer(bench, "Blue", "Rust");
  await rebuild(bench, ["Blue", "Rust"]);
  await bench.idle();
  expect(drive("Rust")).toMatchObject({ lost: true, present: false });
  expect(owed(bench)).toEqual([0, 0, 1]);
});

test("records of which one knows that a drive is lost and a later one doesn't: it stays lost when it comes", async () => {
  await rustIsLost();
  await newComputer(bench, "Blue");
  await rebuild(bench, ["Blue"]);
  await back(bench, "Slate");
  await rebuild(bench, ["Slate"]);
  await back(bench, "Rust");
  expect(drive("Rust")).toMatchObject({ lost: true, present: false });
  expect(owed(bench)).toEqual([0, 0, 1]);
});

test("a lost drive that turns up at a new computer isn't learnt from, and takes part again when it is introduced", async () => {
  await rustIsLost();
  await newComputer(bench, "Blue");
  await rebuild(bench, ["Blue"]);
  await back(bench, "Rust");
  await expect(rebuild(bench, ["Rust"])).rejects.toThrow("was declared lost here. Nothing was learnt.");
  await add("Rust", "Rust");
  await bench.idle();
  expect(drive("Rust")).toMatchObject({ lost: false, present: true, holds: { files: 1 } });
  expect(held(bench, "Rust")).toEqual({ [filedAs(1)]: "picture 1" });
});

test("a new drive under a stolen one's name: what the stolen one held doesn't count, and it can be declared lost", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await newComputer(bench, "Slate");
  renameSync(join(bench.aside, "Blue"), join(bench.folder, "stolen"));
  await bench.drive("Blue");
  await away(bench, "Blue");
  const identity = readFileSync(join(bench.practice, "Slate/.scrubjay/drive.json"), "utf8");
  await rebuild(bench, ["Slate"], JSON.parse(identity).owner);
  await back(bench, "ONE");
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: false, lacking: [{ verified: 1, goal: 2 }] });
  expect(drive("Blue")).toMatchObject({ lost: false, holds: { files: 0 } });
  const lost = await bench.engine.between(async () => declareLost(bench.engine, "Blue 2"));
  expect(lost.name).toBe("Blue 2");
  await back(bench, "Blue");
  expect(cardOf(bench, "ONE").clear).toBe(true);
});

// --- records that someone else wrote -------------------------------------------------------------------------------

test("a path with a line end in a record stops nothing, now or after a restart", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await newComputer(bench, "Blue");
  const original = "forged" as OriginalId;
  const path = "a\nb.PNG" as RelativePath;
  const { frame, ...bare } = factOf(bench, "Blue", "original");
  forge(bench, "Blue", [
    { ...bare, original, path, role: "extra" },
    { ...factOf(bench, "Blue", "copy"), original, path },
  ]);
  const learnt = await rebuild(bench, ["Blue"]);
  expect(learnt).toMatchObject({ torn: 2, trips: [{ files: 1 }] });
  await bench.idle();
  await bench.restart();
  await bench.idle();
  expect(listed(bench, "Blue")).toEqual([filedAs(1)]);
});

test.each(["first", "last"] as const)(
  "a loss that names copies of other files and drives takes none of them away, standing %s",
  async (where) => {
    await ready();
    await evening(bench, "ONE", [1, 2]);
    await newComputer(bench, "Blue");
    const copies = recordOf(bench, "Blue").filter(({ fact }) => fact.kind === "copy");
    expect(copies).toHaveLength(4);
    const loss: Fact = {
      kind: "loss",
      trip: tripId,
      at: instant(5),
      original: "forged" as OriginalId,
      drive: nobody,
      path: "x" as RelativePath,
      why: "missing",
      copies: copies.map(({ id }) => id),
    };
    const line = journalLine(encodeFact(loss, bench.engine.ports.hashing));
    const journal = readFileSync(journalOf(bench, "Blue"), "utf8");
    writeFileSync(journalOf(bench, "Blue"), where === "first" ? line + journal : journal + line);
    await rebuild(bench, ["Blue"]);
    expect(owed(bench)).toEqual([0, 0]);
    expect(drive("Slate")?.holds.files).toBe(2);
  },
);

test("a drive that tells of copies on a drive nobody has seen makes no card clear", async () => {
  await ready();
  await away(bench, "Slate");
  await evening(bench, "ONE", [1]);
  mkdirSync(join(bench.aside, "FORGED/.scrubjay"), { recursive: true });
  writeFileSync(
    join(bench.aside, "FORGED/.scrubjay/drive.json"),
    writeIdentity({ id: "e".repeat(32) as DriveId, name: "Forged", fsId: "", made: "2027-06-01T00:00:00Z" }),
  );
  await back(bench, "FORGED");
  forge(bench, "FORGED", [
    { kind: "drive", trip: tripId, at: instant(1), drive: nobody, name: "Nobody" },
    { ...factOf(bench, "Blue", "copy"), drive: nobody },
  ]);
  await rebuild(bench, ["FORGED"], "none");
  expect(recordOf(bench, "FORGED").some(({ fact }) => fact.kind === "copy" && fact.drive === nobody)).toBe(
    true,
  );
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: false, lacking: [{ verified: 1, goal: 2 }] });
});

test("a forged trip in a camera's folder doesn't turn the drive into a card, and its copies count for nobody", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await newComputer(bench, "Blue");
  forgeTrip("DCIM", [{ ...factOf(bench, "Blue", "copy"), trip: otherTrip, drive: nobody }]);
  const learnt = await rebuild(bench, ["Blue"]);
  await bench.idle();
  expect(learnt).toMatchObject({ disagreeing: 1, trips: [{ id: tripId, files: 1 }] });
  expect(learnt.trips).toHaveLength(1);
  expect(readdirSync(join(bench.practice, "Blue")).sort()).toEqual([".scrubjay", "Kestrel Cliffs"]);
  await away(bench, "Blue");
  await back(bench, "Blue", "ONE");
  expect(drive("Blue")).toMatchObject({ present: true, holds: { files: 1 } });
  expect(cardOf(bench, "ONE")).toMatchObject({ clear: false, lacking: [{ verified: 1, goal: 2 }] });
});

test("a forged trip in another's folder that claims other bytes under its names takes nothing from there", async () => {
  await ready();
  await evening(bench, "ONE", [1]);
  await newComputer(bench, "Blue");
  const original = "forged" as OriginalId;
  const path = filedAs(1) as RelativePath;
  const { frame, ...bare } = factOf(bench, "Blue", "original");
  const own = recordOf(bench, "Blue").find(({ fact }) => fact.kind === "drive" && fact.name === "Blue")?.fact;
  if (own?.kind !== "drive") throw new Error("the record tells of Blue");
  forgeTrip("Kestrel Cliffs", [
    {
      ...bare,
      trip: otherTrip,
      original,
      path,
      size: bytes(4),
      hash: "0000000000000000" as ContentHash,
      role: "extra",
    },
    { ...factOf(bench, "Blue", "copy"), trip: otherTrip, original, drive: own.drive, path },
  ]);
  await rebuild(bench, ["Blue"]);
  await bench.idle();
  await scrub(bench, "Blue");
  expect(held(bench, "Blue")).toEqual({ [filedAs(1)]: "picture 1" });
  expect(listed(bench, "Blue")).toEqual([filedAs(1)]);
  expect(setAside(bench, "Blue")).toEqual({});
  await back(bench, "Slate", "ONE");
  expect(cardOf(bench, "ONE").clear).toBe(true);
});

/** Another trip's record on Blue, with its trip in this folder and these facts. */
function forgeTrip(folder: string, facts: readonly Fact[]): void {
  const profile = profileText({ drives: ["Blue"], copies: 1 })
    .replace("code: KC", "code: ZZ")
    .replace("Kestrel Cliffs", "Forged");
  const trip: Fact = { kind: "trip", trip: otherTrip, at: instant(1), folder, profile };
  forge(bench, "Blue", [trip, ...facts], otherTrip);
}

function copyLedger(from: string, to: string): void {
  for (const end of ["", "-wal", "-shm"]) {
    const name = `ledger.sqlite${end}`;
    rmSync(join(to, name), { force: true });
    if (existsSync(join(from, name))) cpSync(join(from, name), join(to, name));
  }
}
