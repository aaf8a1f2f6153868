/**
 * Attacks on the promises: a user's edit, a pulled card, a foreign medium, a record that is no record, at the worst
 * moment. Each must end with nothing lost, nothing misfiled, and a board that doesn't claim more than is true.
 */

import {
  appendFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  symlinkSync,
  truncateSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { owedOfTrips, statusJson } from "../../daemon/engine/board.ts";
import { cardsJson } from "../../daemon/engine/cardBoard.ts";
import { introduceDrive } from "../../daemon/engine/introduce.ts";
import type { EnginePorts } from "../../daemon/engine/ports.ts";
import { rebuildFrom } from "../../daemon/engine/rebuild.ts";
import { runDaemon } from "../../daemon/main.ts";
import type { Volume } from "../../daemon/ports/volumes.ts";
import { absolutePath, type TripId } from "../../shared/identity.ts";
import { FileFault, UserMistake } from "../../shared/problems.ts";
import { instant } from "../../shared/units.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Bench, makeBench, tree, type Wrap } from "./bench.ts";
import { type Faults, FaultyFiles } from "./faultyFiles.ts";

let bench: Bench;
afterEach(async () => bench.end());

const profile = profileText({ drives: ["Blue", "Slate"], copies: 2 });

async function readyBench(drives: readonly string[] = ["Blue", "Slate"], wrap?: Wrap): Promise<Bench> {
  bench = await makeBench(wrap);
  bench.trip(profile);
  for (const drive of drives) await bench.drive(drive);
  return bench;
}

const withFaults =
  (faults: Faults): Wrap =>
  (ports) => ({ ...ports, files: new FaultyFiles(ports.files, faults) });

/** Files with fixed contents and times, below a folder. */
function put(folder: string, files: Readonly<Record<string, string>>, time = "2027-06-05T12:00:00Z"): void {
  for (const [path, content] of Object.entries(files)) {
    const at = join(folder, path);
    mkdirSync(join(at, ".."), { recursive: true });
    writeFileSync(at, content);
    utimesSync(at, new Date(time), new Date(time));
  }
}

const pictures = {
  "DCIM/100ABCDE/ABCD0001.PNG": "picture 1",
  "DCIM/100ABCDE/ABCD0002.PNG": "picture 2",
  "DCIM/100ABCDE/ABCD0003.PNG": "picture 3",
};

async function copied(name = "CARD", files: Readonly<Record<string, string>> = pictures): Promise<void> {
  put(join(bench.aside, name), files);
  bench.plugIn(name);
  await bench.idle();
}

function card(name = "CARD") {
  const found = cardsJson(bench.engine).find((each) => each.label === name);
  if (found === undefined) throw new Error(`no card ${name}`);
  return found;
}

const trip = (drive: string): string => join(bench.practice, drive, "Kestrel Cliffs");
const held = (drive: string): readonly string[] =>
  [...tree(trip(drive)).entries()]
    .filter(([path]) => path !== "checksums.xxh64")
    .map(([, content]) => String(content))
    .sort();
const alertCodes = () => statusJson(bench.engine).alerts.map((alert) => alert.code);
const headline = () => statusJson(bench.engine).headline;
const add = (folder: string, name: string) =>
  introduceDrive(bench.engine.ports, bench.engine.presence, absolutePath(join(bench.practice, folder)), name);

// --- a copy that isn't there any more --------------------------------------------------------------------------------

test("a copy that someone deleted doesn't count when the drive comes again, and is made again from the card", async () => {
  await readyBench();
  await copied();
  bench.takeOut("CARD");
  bench.takeOut("Slate");
  await bench.idle();
  rmSync(join(bench.aside, "Slate/Kestrel Cliffs/2027-06-05/KC-20270605-X0002.PNG"));
  // Without the other drive nobody can make it good.
  bench.takeOut("Blue");
  await bench.idle();
  bench.plugIn("Slate");
  await bench.idle();
  expect(card().clear).toBe(false);
  expect(card().lacking.map((file) => file.path)).toEqual(["DCIM/100ABCDE/ABCD0002.PNG"]);
  expect(headline()).toBe("Not everything is safe yet.");
  expect(alertCodes()).toContain("copy-missing");
  bench.plugIn("Blue");
  bench.plugIn("CARD");
  await bench.idle();
  expect(card().clear).toBe(true);
  expect(held("Slate")).toEqual(["picture 1", "picture 2", "picture 3"]);
});

test("a copy deleted while the drive stays in is seen when its card comes again", async () => {
  await readyBench();
  await copied();
  bench.takeOut("CARD");
  await bench.idle();
  rmSync(join(trip("Slate"), "2027-06-05/KC-20270605-X0002.PNG"));
  bench.plugIn("CARD");
  await bench.idle();
  expect(held("Slate")).toEqual(["picture 1", "picture 2", "picture 3"]);
  expect(card().clear).toBe(true);
});

test("a copy that someone cut short doesn't count; it is left, and a whole one made beside it", async () => {
  await readyBench();
  await copied();
  bench.takeOut("CARD");
  bench.takeOut("Slate");
  await bench.idle();
  truncateSync(join(bench.aside, "Slate/Kestrel Cliffs/2027-06-05/KC-20270605-X0002.PNG"), 3);
  bench.takeOut("Blue");
  await bench.idle();
  bench.plugIn("Slate");
  await bench.idle();
  expect(card().clear).toBe(false);
  bench.plugIn("Blue");
  bench.plugIn("CARD");
  await bench.idle();
  expect(card().clear).toBe(true);
  expect(held("Slate")).toEqual(["pic", "picture 1", "picture 2", "picture 3"]);
});

test("a drive restored from an older backup owes what the backup lacks", async () => {
  await readyBench();
  await copied("CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture 1" });
  cpSync(join(bench.practice, "Slate"), join(bench.folder, "backup"), { recursive: true });
  bench.takeOut("CARD");
  await copied("NEXT", { "DCIM/100ABCDE/ABCD0002.PNG": "picture 2" });
  expect(card("NEXT").clear).toBe(true);
  bench.takeOut("NEXT");
  bench.takeOut("Slate");
  await bench.idle();
  for (const name of readdirSync(join(bench.aside, "Slate")))
    rmSync(join(bench.aside, "Slate", name), { recursive: true });
  cpSync(join(bench.folder, "backup"), join(bench.aside, "Slate"), { recursive: true });
  bench.takeOut("Blue");
  await bench.idle();
  bench.plugIn("Slate");
  await bench.idle();
  expect([card("CARD").clear, card("NEXT").clear]).toEqual([true, false]);
});

test("a drive that is pulled while its copies are looked at loses none of them", async () => {
  const pull = { on: false };
  await readyBench(
    ["Blue", "Slate"],
    withFaults({
      before: (operation, path) => {
        if (!pull.on || operation !== "facts" || !path.endsWith("X0001.PNG")) return;
        pull.on = false;
        bench.takeOut("Slate");
      },
    }),
  );
  await copied();
  bench.takeOut("CARD");
  bench.takeOut("Slate");
  await bench.idle();
  pull.on = true;
  bench.plugIn("Slate");
  await bench.idle();
  expect(pull.on).toBe(false);
  expect(card().clear).toBe(true);
});

// --- one medium taken for two, or another for one -----------------------------------------------------------------

test("a drive whose identity was removed can't become a second drive: its copies would count twice", async () => {
  await readyBench(["Blue"]);
  await copied();
  expect(card().clear).toBe(false);
  rmSync(join(bench.practice, "Blue/.scrubjay"), { recursive: true });
  bench.takeOut("Blue");
  await bench.idle();
  bench.plugIn("Blue");
  await bench.idle();
  await expect(add("Blue", "Slate")).rejects.toThrow(/Blue/);
  await bench.idle();
  expect(card().clear).toBe(false);
  // Under its own name it is that drive again, and what stands there is found by reading it back.
  await add("Blue", "Blue");
  await bench.idle();
  expect(statusJson(bench.engine).drives.map((drive) => [drive.name, drive.present])).toEqual([
    ["Blue", true],
    ["Slate", false],
  ]);
  expect(held("Blue")).toEqual(["picture 1", "picture 2", "picture 3"]);
});

test("a copy of a drive's folder isn't taken for the drive while the drive is away", async () => {
  await readyBench();
  cpSync(join(bench.practice, "Slate"), join(bench.aside, "Stick"), { recursive: true });
  bench.takeOut("Slate");
  bench.plugIn("Stick");
  await copied();
  expect(alertCodes()).toContain("drive-twice");
  expect(existsSync(join(bench.practice, "Stick/Kestrel Cliffs"))).toBe(false);
  expect(card().clear).toBe(false);
});

test("a trip folder that leads to another drive's is not a second copy", async () => {
  await readyBench(["Blue"]);
  await copied();
  await bench.drive("Slate");
  bench.takeOut("Slate");
  await bench.idle();
  rmSync(join(bench.aside, "Slate/Kestrel Cliffs"), { recursive: true, force: true });
  symlinkSync(trip("Blue"), join(bench.aside, "Slate/Kestrel Cliffs"));
  bench.plugIn("Slate");
  await bench.idle();
  expect(card().clear).toBe(false);
});

test("a trip folder that was a link from the start holds no copy either", async () => {
  await readyBench(["Blue"]);
  await copied();
  mkdirSync(join(bench.practice, "Slate"));
  symlinkSync(trip("Blue"), join(bench.practice, "Slate/Kestrel Cliffs"));
  await add("Slate", "Slate");
  await bench.idle();
  expect(card().clear).toBe(false);
  expect(alertCodes()).toContain("write-error");
  expect(held("Blue")).toHaveLength(3);
});

test("folders of ours that are links lead nowhere: what they point to is neither written nor removed", async () => {
  await readyBench();
  const outside = join(bench.folder, "home");
  put(outside, { "letter.part": "dear", "trips/x": "y" });
  bench.takeOut("Slate");
  await bench.idle();
  rmSync(join(bench.aside, "Slate/.scrubjay/incoming"), { recursive: true, force: true });
  rmSync(join(bench.aside, "Slate/.scrubjay/trips"), { recursive: true, force: true });
  symlinkSync(outside, join(bench.aside, "Slate/.scrubjay/incoming"));
  symlinkSync(outside, join(bench.aside, "Slate/.scrubjay/trips"));
  bench.plugIn("Slate");
  await copied();
  expect([...tree(outside).keys()].sort()).toEqual(["letter.part", "trips/x"]);
  expect(held("Blue")).toHaveLength(3);
  expect(card().clear).toBe(false);
  expect(alertCodes()).toContain("write-error");
});

test("two cards with one file system identity are in at once: both are copied whole", async () => {
  // Cameras exist that give every card the same serial number (common practice, no source).
  await readyBench(["Blue", "Slate"], (ports) => ({
    ...ports,
    volumes: {
      watch: (hint, stop) => ports.volumes.watch(hint, stop),
      eject: (volume) => ports.volumes.eject(volume),
      look: async () =>
        (await ports.volumes.look()).map(
          (volume): Volume => (/ONE|TWO/.test(volume.root) ? { ...volume, fsId: "0000-0000" } : volume),
        ),
    },
  }));
  put(join(bench.aside, "ONE"), {
    "DCIM/100ABCDE/ABCD0001.PNG": "picture a",
    "DCIM/100ABCDE/ABCD0002.PNG": "picture b",
  });
  put(join(bench.aside, "TWO"), {
    "DCIM/100ABCDE/ABCD0001.PNG": "picture c",
    "DCIM/100ABCDE/ABCD0002.PNG": "picture d",
  });
  bench.plugIn("ONE");
  bench.plugIn("TWO");
  await bench.idle();
  expect(held("Blue")).toEqual(["picture a", "picture b", "picture c", "picture d"]);
  expect(held("Slate")).toEqual(held("Blue"));
  expect([card("ONE").clear, card("TWO").clear]).toEqual([true, true]);
  expect(card("ONE").id).not.toBe(card("TWO").id);
});

// --- the card changes under the work ------------------------------------------------------------------------------

test("a file that grew between listing and reading is copied as it is now, and the work ends", async () => {
  let grew = false;
  await readyBench(
    ["Blue", "Slate"],
    withFaults({
      before: (operation, path) => {
        if (operation !== "openToRead" || grew || !path.endsWith("CARD/DCIM/100ABCDE/ABCD0002.PNG")) return;
        grew = true;
        appendFileSync(path, " and more");
      },
    }),
  );
  await copied();
  expect(grew).toBe(true);
  expect(card().clear).toBe(true);
  expect(held("Blue")).toEqual(["picture 1", "picture 2 and more", "picture 3"]);
});

test("a card that comes again with more on it and is pulled before it was listed is not called clear", async () => {
  const pull = { on: false };
  await readyBench(
    ["Blue", "Slate"],
    withFaults({
      before: (operation, path) => {
        if (!pull.on || operation !== "list" || !path.endsWith("DCIM/100ABCDE")) return;
        pull.on = false;
        bench.takeOut("CARD");
      },
    }),
  );
  await copied();
  bench.takeOut("CARD");
  await bench.idle();
  put(join(bench.aside, "CARD"), { "DCIM/100ABCDE/ABCD0004.PNG": "picture 4" });
  pull.on = true;
  bench.plugIn("CARD");
  await bench.idle();
  expect(pull.on).toBe(false);
  expect(card()).toMatchObject({ present: false, clear: false });
});

test("a voice memo that is added later takes the name of the picture it belongs to", async () => {
  await readyBench();
  await copied();
  bench.takeOut("CARD");
  await bench.idle();
  put(join(bench.aside, "CARD"), { "DCIM/100ABCDE/ABCD0002.WAV": "memo" });
  bench.plugIn("CARD");
  await bench.idle();
  expect(existsSync(join(trip("Blue"), "2027-06-05/KC-20270605-X0002.WAV"))).toBe(true);
});

test("a folder that gets its camera folders only after it appeared is seen to be a card", async () => {
  await readyBench();
  mkdirSync(join(bench.practice, "CARD"));
  await bench.idle();
  put(join(bench.practice, "CARD"), pictures);
  await bench.idle();
  expect(card().clear).toBe(true);
});

// --- the board never says more than is true -----------------------------------------------------------------------

test("while a new card is being listed not everything is safe", async () => {
  const said: string[] = [];
  await readyBench(
    ["Blue", "Slate"],
    withFaults({
      before: (operation, path) => {
        if (operation === "list" && path.endsWith("NEXT/DCIM/100ABCDE")) said.push(headline());
      },
    }),
  );
  await copied();
  await copied("NEXT", { "DCIM/100ABCDE/ABCD0009.PNG": "picture 9" });
  // Once before copying and once after, to see that nothing came meanwhile.
  expect(said).toEqual(["Not everything is safe yet.", "Not everything is safe yet."]);
  expect(headline()).toBe("Everything is safe.");
});

test("a card taken out before all of it was copied is said, and not everything is safe", async () => {
  let pulled = false;
  await readyBench(
    ["Blue", "Slate"],
    withFaults({
      before: (operation, path) => {
        if (pulled || operation !== "openToRead" || !path.endsWith("CARD/DCIM/100ABCDE/ABCD0003.PNG")) return;
        pulled = true;
        bench.takeOut("CARD");
      },
    }),
  );
  await copied();
  expect(card()).toMatchObject({ present: false, clear: false });
  expect(headline()).toBe("Not everything is safe yet.");
  const alert = statusJson(bench.engine).alerts.find((each) => each.code === "card-unfinished");
  expect(alert).toMatchObject({ severity: "urgent" });
  expect(alert?.text).toContain("1 file");
  bench.plugIn("CARD");
  await bench.idle();
  expect(headline()).toBe("Everything is safe.");
});

test("extras count for the headline as frames do", async () => {
  const fault = { on: true };
  await readyBench(
    ["Blue", "Slate"],
    withFaults({
      before: (operation, path) => {
        if (fault.on && operation === "moveNoReplace" && path.includes("Slate") && path.endsWith("PRINT.MRK"))
          throw new FileFault("bad-name", path);
      },
    }),
  );
  await copied("CARD", { ...pictures, "MISC/PRINT.MRK": "order" });
  bench.takeOut("CARD");
  bench.takeOut("Slate");
  await bench.idle();
  bench.plugIn("Slate");
  await bench.idle();
  const { drives } = statusJson(bench.engine);
  expect(drives.map((drive) => drive.owed.files)).toEqual([0, 1]);
  expect(headline()).toBe("Not everything is safe yet.");
});

test("what another trip's drives owe is owed, whichever trip is on now", async () => {
  await readyBench(["Blue"]);
  await copied();
  bench.takeOut("CARD");
  bench.trip(
    profileText({ drives: ["Blue"], copies: 1 })
      .replace("Kestrel Cliffs ", "Gannet Rocks ")
      .replace("code: KC", "code: GR")
      .replace("2027-06-03", "2027-07-03")
      .replace("2027-06-14", "2027-07-14"),
    "gr-2027-07-03-test",
  );
  put(join(bench.aside, "NEXT"), { "DCIM/100ABCDE/ABCD0009.PNG": "picture 9" }, "2027-07-05T12:00:00Z");
  bench.plugIn("NEXT");
  await bench.idle();
  expect(statusJson(bench.engine).trip?.name).toBe("Gannet Rocks");
  expect(card("NEXT").clear).toBe(true);
  expect(headline()).toBe("Not everything is safe yet.");
  expect(owedOfTrips(bench.engine).files).toBe(3);
});

test("a hostile label reaches nobody's terminal raw", async () => {
  await readyBench();
  const name = "A\u001b[31m\nB\u202ec";
  await copied(name, { "DCIM/100ABCDE/ABCD0001.PNG": "p" });
  bench.takeOut(name);
  await bench.idle();
  put(join(bench.aside, "X\u001b[2J\n"), { "DCIM/100ABCDE/ABCD0001.PNG": "old" }, "2020-06-05T12:00:00Z");
  bench.plugIn("X\u001b[2J\n");
  await bench.idle();
  const status = statusJson(bench.engine);
  const texts = [
    status.headline,
    status.advice,
    ...status.alerts.map((alert) => alert.text),
    ...status.cards.flatMap((each) => [each.name, each.verdict, each.label]),
    ...bench.notices.flatMap((notice) => [notice.title, ...notice.body.split("\n")]),
  ];
  expect(texts.length).toBeGreaterThan(5);
  expect(texts.filter((text) => /[\u0000-\u001f\u202e]/.test(text))).toEqual([]);
});

// --- one fault, one victim ----------------------------------------------------------------------------------------

test("a journal too large to be ours stops that drive alone, and says so", async () => {
  await readyBench();
  bench.takeOut("Slate");
  await bench.idle();
  const folder = join(bench.aside, "Slate/.scrubjay/trips/kc-2027-06-03-test");
  truncateSync(join(folder, "journal.jsonl"), 600_000_000);
  bench.plugIn("Slate");
  await copied();
  expect(held("Blue")).toHaveLength(3);
  expect(alertCodes()).toContain("write-error");
  expect(card().clear).toBe(false);
});

test("a record that couldn't be brought up to date is brought up when the drive works again", async () => {
  const fault = { on: false };
  await readyBench(["Blue"], (ports) => ({
    ...withFaults({
      before: (operation, path) => {
        if (fault.on && operation === "appendOwn" && path.includes("Slate")) {
          fault.on = false;
          throw new FileFault("io", path);
        }
      },
    })(ports),
    limits: { ...ports.limits, driveRetryAfter: 0 },
  }));
  await copied();
  fault.on = true;
  await bench.drive("Slate");
  await bench.idle();
  expect(card().clear).toBe(true);
  const record = ".scrubjay/trips/kc-2027-06-03-test/journal.jsonl";
  const facts = (drive: string) =>
    new Set(
      readFileSync(join(bench.practice, drive, record), "utf8")
        .trim()
        .split("\n"),
    );
  expect([...facts("Slate")].sort()).toEqual([...facts("Blue")].sort());
});

test("a journal of another trip in a journal's place: the trip's own facts are written below it", async () => {
  await readyBench();
  await copied();
  bench.takeOut("CARD");
  bench.takeOut("Slate");
  await bench.idle();
  const journal = join(bench.aside, "Slate/.scrubjay/trips/kc-2027-06-03-test/journal.jsonl");
  const lines = readFileSync(journal, "utf8").trim().split("\n");
  writeFileSync(
    journal,
    `not a line\n{"check":"0000000000000000","fact":{}}\n${(lines[1] ?? "").slice(0, 20)}`,
  );
  bench.plugIn("Slate");
  await bench.idle();
  const now = readFileSync(journal.replace("/aside/", "/practice/"), "utf8").split("\n");
  for (const line of lines) expect(now).toContain(line);
  expect(card().clear).toBe(true);
});

test("an answerless volume is named, not passed over in silence", async () => {
  await readyBench(
    ["Blue", "Slate"],
    withFaults({
      before: (operation, path) => {
        if (operation === "list" && path.endsWith("/BROKEN")) throw new FileFault("io", path);
      },
    }),
  );
  mkdirSync(join(bench.practice, "BROKEN"));
  await copied();
  await bench.idle();
  expect(
    statusJson(bench.engine)
      .alerts.map((alert) => alert.text)
      .join(),
  ).toContain("BROKEN");
  expect(card().clear).toBe(true);
});

test("a card whose private folder can't be listed is a card all the same", async () => {
  await readyBench(
    ["Blue", "Slate"],
    withFaults({
      before: (operation, path) => {
        if (operation === "list" && path.endsWith("CARD/PRIVATE")) throw new FileFault("io", path);
      },
    }),
  );
  await copied("CARD", { ...pictures, "PRIVATE/x": "y" });
  expect(held("Blue")).toHaveLength(3);
  expect(card().clear).toBe(false);
});

test("trips that can't be listed change nothing and stop nothing", async () => {
  const broken = { on: false };
  await readyBench(["Blue", "Slate"], (ports) => ({
    ...ports,
    tripFiles: {
      ...ports.tripFiles,
      list: async () => {
        if (broken.on) throw Object.assign(new Error("EACCES"), { code: "EACCES" });
        return ports.tripFiles.list();
      },
    },
  }));
  broken.on = true;
  await copied();
  expect(card().clear).toBe(true);
});

test("a name that only just fits gets its number all the same", async () => {
  await readyBench();
  const long = `MISC/${"m".repeat(251)}.TXT`;
  await copied("ONE", { ...pictures, [long]: "one" });
  await copied("TWO", { "DCIM/100ABCDE/ABCD0009.PNG": "picture 9", [long]: "two" });
  expect([card("ONE").clear, card("TWO").clear]).toEqual([true, true]);
  expect(held("Blue")).toContain("two");
});

test("an extension as long as a name is shortened, and told from another that begins like it", async () => {
  await readyBench();
  await copied("CARD", {
    "DCIM/100ABCDE/ABCD0001.PNG": "picture",
    [`DCIM/100ABCDE/ABCD0001.${"x".repeat(240)}1`]: "one",
    [`DCIM/100ABCDE/ABCD0001.${"x".repeat(240)}2`]: "two",
  });
  expect(card().clear).toBe(true);
  expect(held("Blue")).toEqual(["one", "picture", "two"]);
});

test("a card's file called like our checksum list never becomes that list", async () => {
  bench = await makeBench();
  bench.trip(profile.replace('"{trip}/{day}"', '"{trip}"').replace(/names: ".*"/, 'names: "{original}"'));
  for (const drive of ["Blue", "Slate"]) await bench.drive(drive);
  await copied("CARD", {
    "DCIM/100ABCDE/checksums.png": "picture",
    "DCIM/100ABCDE/Checksums.XXH64": "not a list",
    "DCIM/100ABCDE/checksums.xxh64": "not a list either",
  });
  expect(card().clear).toBe(true);
  for (const drive of ["Blue", "Slate"]) {
    expect(held(drive)).toContain("not a list");
    expect(held(drive)).toContain("not a list either");
    expect(held(drive)).toContain("picture");
  }
});

test("a trip called like a camera's folder doesn't turn its drives into cards", async () => {
  bench = await makeBench();
  bench.trip(profile.replace("Kestrel Cliffs ", "DCIM "));
  for (const drive of ["Blue", "Slate"]) await bench.drive(drive);
  await copied();
  bench.takeOut("Slate");
  await bench.idle();
  bench.plugIn("Slate");
  await bench.idle();
  expect(alertCodes()).not.toContain("unknown-card");
  expect(statusJson(bench.engine).drives.map((drive) => drive.present)).toEqual([true, true]);
});

// --- clocks, callers, ends -----------------------------------------------------------------------------------------

test("a clock that goes back by years neither renumbers a card nor takes its trip away", async () => {
  const shift = { ms: 0 };
  const early = profileText({ drives: ["Blue", "Slate"], copies: 2 })
    .replace("Kestrel Cliffs ", "Gannet Rocks ")
    .replace("code: KC", "code: GR")
    .replace("2027-06-03", "2027-07-03")
    .replace("2027-06-14", "2027-07-14");
  const wrap: Wrap = (ports: EnginePorts) => ({
    ...ports,
    clock: {
      now: () => instant(ports.clock.now() + shift.ms),
      steady: () => ports.clock.steady(),
      sleep: (duration, stop) => ports.clock.sleep(duration, stop),
    },
  });
  await readyBench(["Blue", "Slate"], wrap);
  bench.trip(early, "gr-2027-07-03-test" as TripId);
  await copied();
  bench.takeOut("CARD");
  await bench.idle();
  shift.ms = -5 * 365 * 86_400_000;
  put(join(bench.aside, "CARD"), { "DCIM/100ABCDE/ABCD0009.PNG": "picture 9" }, "2027-07-05T12:00:00Z");
  bench.plugIn("CARD");
  await bench.idle();
  expect(card()).toMatchObject({ trip: "Gannet Rocks", name: "Card 1", clear: true });
  bench.takeOut("CARD");
  await bench.idle();
  expect(card()).toMatchObject({ trip: "Gannet Rocks", name: "Card 1", clear: true });
  put(join(bench.aside, "CARD"), { "DCIM/100ABCDE/ABCD0010.PNG": "picture 10" }, "2027-07-06T12:00:00Z");
  bench.plugIn("CARD");
  await bench.idle();
  expect(card()).toMatchObject({ trip: "Gannet Rocks", name: "Card 1", clear: true });
});

test("those who ask again and again whether it is done don't keep it from being done", async () => {
  let rounds = 0;
  await readyBench(["Blue", "Slate"], (ports) => ({
    ...ports,
    tripFiles: {
      ...ports.tripFiles,
      list: async () => {
        rounds += 1;
        // Somebody asks anew in each round, as a script in a loop does.
        if (rounds < 200) void bench.engine.untilIdle(AbortSignal.timeout(60_000));
        return ports.tripFiles.list();
      },
    },
  }));
  rounds = 0;
  put(join(bench.aside, "CARD"), pictures);
  bench.plugIn("CARD");
  await bench.engine.presence.look();
  while (rounds < 100) await new Promise((resolve) => setTimeout(resolve, 5));
  expect(held("Blue")).toHaveLength(3);
});

test("told to stop while it looks at the volumes, it begins nothing anew", async () => {
  const stopping: { ended?: Promise<void> } = {};
  const armed = { on: false };
  const opened: string[] = [];
  await readyBench(["Blue", "Slate"], (ports) => ({
    ...withFaults({
      before: (operation, path) => {
        if (operation === "openToRead") opened.push(path);
      },
    })(ports),
    volumes: {
      watch: (hint, stop) => ports.volumes.watch(hint, stop),
      eject: (volume) => ports.volumes.eject(volume),
      look: async () => {
        const volumes = await ports.volumes.look();
        if (
          armed.on &&
          stopping.ended === undefined &&
          volumes.some((volume) => volume.root.endsWith("CARD"))
        )
          stopping.ended = bench.engine.stop();
        return volumes;
      },
    },
  }));
  put(join(bench.aside, "CARD"), pictures);
  armed.on = true;
  bench.plugIn("CARD");
  while (stopping.ended === undefined) await new Promise((resolve) => setTimeout(resolve, 5));
  await stopping.ended;
  expect(opened).toEqual([]);
  expect(existsSync(trip("Blue"))).toBe(false);
  armed.on = false;
  await bench.restart();
  await bench.idle();
  expect(card().clear).toBe(true);
});

test("the ledger is lost: the drives tell what they know, nothing is overwritten or made twice", async () => {
  await readyBench();
  await copied();
  const before = new Map(
    [...tree(trip("Blue"))].map(([path]) => [path, statSync(join(trip("Blue"), path)).ino]),
  );
  for (const drive of ["Blue", "Slate", "CARD"]) bench.takeOut(drive);
  await bench.idle();
  await bench.engine.stop();
  for (const name of readdirSync(bench.folder).filter((each) => each.startsWith("ledger")))
    renameSync(join(bench.folder, name), join(bench.folder, `old-${name}`));
  await bench.restart();
  bench.plugIn("Blue");
  await bench.idle();
  await expect(add("Blue", "Blue")).rejects.toThrow("of another Scrubjay");
  const mount = join(bench.practice, "Blue");
  await bench.engine.between(() => rebuildFrom(bench.engine, [mount], undefined));
  // The other one is known from what Blue knows.
  bench.plugIn("Slate");
  await bench.idle();
  bench.plugIn("CARD");
  await bench.idle();
  expect(card().clear).toBe(true);
  const after = new Map(
    [...tree(trip("Blue"))].map(([path]) => [path, statSync(join(trip("Blue"), path)).ino]),
  );
  before.delete("checksums.xxh64");
  for (const [path, inode] of before) expect(after.get(path), path).toBe(inode);
  expect(held("Blue")).toEqual(["picture 1", "picture 2", "picture 3"]);
});

test("a ledger that is damaged is said in words, and left for whoever can mend it", async () => {
  bench = await makeBench();
  const home = join(bench.folder, "home");
  put(home, { "state/ledger.sqlite": "this is no ledger, though it has the name of one" });
  const before = process.env["SCRUBJAY_HOME"];
  process.env["SCRUBJAY_HOME"] = home;
  try {
    await expect(runDaemon({ practice: bench.practice })).rejects.toBeInstanceOf(UserMistake);
  } finally {
    if (before === undefined) delete process.env["SCRUBJAY_HOME"];
    else process.env["SCRUBJAY_HOME"] = before;
  }
  expect(readFileSync(join(home, "state/ledger.sqlite"), "utf8")).toContain("this is no ledger");
});
