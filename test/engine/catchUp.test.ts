/** Drives give each other what they lack, with no card in; what isn't what was verified is passed on to nobody. */

import {
  mkdirSync,
  readdirSync,
  readFileSync,
  statSync,
  unlinkSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { cardsJson } from "../../daemon/engine/cardBoard.ts";
import { FileFault } from "../../shared/problems.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Bench, makeBench, tree, type Wrap } from "./bench.ts";
import { type Faults, FaultyFiles } from "./faultyFiles.ts";

let bench: Bench;
afterEach(async () => bench.end());

const noon = new Date("2027-06-05T12:00:00Z");
const all = ["Blue", "Slate", "Rust"];

async function ready(wrap?: Wrap): Promise<void> {
  bench = await makeBench(wrap);
  bench.trip(profileText({ drives: all, copies: 3 }));
  for (const drive of all) await bench.drive(drive);
}

async function away(...drives: readonly string[]): Promise<void> {
  for (const drive of drives) bench.takeOut(drive);
  await bench.idle();
}

async function back(...drives: readonly string[]): Promise<void> {
  for (const drive of drives) bench.plugIn(drive);
  await bench.idle();
}

/** A card with these pictures goes in, is copied, and is taken out again. */
async function evening(card: string, numbers: readonly number[]): Promise<void> {
  for (const nth of numbers) {
    const at = join(bench.aside, card, `DCIM/100ABCDE/ABCD${String(nth).padStart(4, "0")}.PNG`);
    mkdirSync(join(at, ".."), { recursive: true });
    writeFileSync(at, `picture ${nth}`);
    utimesSync(at, noon, noon);
  }
  bench.plugIn(card);
  await bench.idle();
  bench.takeOut(card);
  await bench.idle();
}

function held(drive: string): readonly string[] {
  const files = [...tree(join(bench.practice, drive, "Kestrel Cliffs"))];
  const pictures = files.filter(([path]) => path.endsWith(".PNG"));
  return pictures.map(([, content]) => String(content)).sort();
}

const pictures = (...numbers: readonly number[]) => numbers.map((nth) => `picture ${nth}`);
const owed = () => statusJson(bench.engine).drives.map((drive) => drive.owed.files);
const alerts = () => statusJson(bench.engine).alerts;
const copyOn = (drive: string, nth: number) =>
  join(bench.practice, drive, `Kestrel Cliffs/2027-06-05/KC-20270605-X000${nth}.PNG`);

/** What was set aside on a drive, by where it stood. */
function aside(drive: string): Readonly<Record<string, string>> {
  const folder = join(bench.practice, drive, ".scrubjay/trips/kc-2027-06-03-test/aside");
  return Object.fromEntries([...tree(folder)].map(([path, content]) => [path, String(content)]));
}

/** Other bytes, and nothing else changed: what a failing medium does. */
function spoil(path: string): void {
  const { mtime } = statSync(path);
  writeFileSync(path, readFileSync(path, "utf8").replace("picture", "pixture"));
  utimesSync(path, mtime, mtime);
}

test("a drive that was away for two evenings owes them, and is caught up with no card in", async () => {
  await ready();
  await away("Rust");
  await evening("ONE", [1, 2]);
  expect(owed()).toEqual([0, 0, 2]);
  await evening("TWO", [3]);
  expect(owed()).toEqual([0, 0, 3]);
  expect(alerts()[0]?.happened).toBe("Rust is not plugged in. It owes 3 files (27 B).");
  await back("Rust");
  expect(held("Rust")).toEqual(pictures(1, 2, 3));
  expect(statSync(copyOn("Rust", 1)).mtime).toEqual(noon);
  expect(owed()).toEqual([0, 0, 0]);
  expect(alerts()).toEqual([]);
  expect(cardsJson(bench.engine).map((card) => card.clear)).toEqual([true, true]);
});

test("a copy that was spoilt is passed on to nobody: another drive's is used, and the spoilt one is made good", async () => {
  await ready();
  await away("Rust");
  await evening("ONE", [1, 2]);
  spoil(copyOn("Blue", 1));
  await back("Rust");
  expect(held("Rust")).toEqual(pictures(1, 2));
  expect(held("Slate")).toEqual(pictures(1, 2));
  // The spoilt one was set aside, never deleted; the good copy has its name.
  expect(held("Blue")).toEqual(pictures(1, 2));
  expect(readFileSync(copyOn("Blue", 1), "utf8")).toBe("picture 1");
  expect(aside("Blue")).toEqual({ "2027-06-05/KC-20270605-X0001.PNG": "pixture 1" });
  expect(owed()).toEqual([0, 0, 0]);
  expect(bench.notices.some((notice) => notice.body.includes("1 copy on Blue is damaged"))).toBe(true);
});

test("when the only copy is spoilt, nothing is passed on and the frame is owed by all", async () => {
  await ready();
  await away("Slate", "Rust");
  await evening("ONE", [1, 2]);
  spoil(copyOn("Blue", 1));
  await back("Slate");
  expect(held("Slate")).toEqual(pictures(2));
  expect(owed()).toEqual([1, 1, 2]);
  expect(alerts().map((alert) => alert.code)).toContain("copy-differs");
  expect(cardsJson(bench.engine)[0]?.clear).toBe(false);
});

test("every frame has its second copy before any has its third", async () => {
  const order: string[] = [];
  await ready((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: (operation, path) => {
        if (operation === "openToVerify" && path.includes("/Blue/Kestrel Cliffs/"))
          order.push(path.slice(-8, -4));
      },
    }),
  }));
  await away("Slate", "Rust");
  await evening("ONE", [5, 6]);
  await back("Slate");
  await away("Slate");
  await evening("TWO", [1, 2, 7, 8]);
  order.length = 0;
  // 5 and 6 had two copies by then, the others one.
  await back("Rust");
  expect(order).toEqual(["0001", "0002", "0007", "0008", "0005", "0006"]);
});

async function withFaults(faults: Faults): Promise<{ on: boolean }> {
  const switched = { on: false };
  await ready((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: (operation, path) => (switched.on ? faults.before?.(operation, path) : undefined),
    }),
  }));
  return switched;
}

test("a source that is pulled in the middle: another one goes on, nothing is blamed", async () => {
  let reads = 0;
  const faults = await withFaults({
    before: (operation, path) => {
      if (operation !== "openToRead" || !path.includes("practice/Blue")) return;
      reads += 1;
      if (reads === 2) bench.takeOut("Blue");
    },
  });
  await away("Rust");
  await evening("ONE", [1, 2, 3]);
  faults.on = true;
  await back("Rust");
  await bench.idle();
  expect(held("Rust")).toEqual(pictures(1, 2, 3));
  expect(alerts().map((alert) => alert.code)).toEqual([]);
});

test("a copy that can't be read stops counting, and the others are used", async () => {
  const faults = await withFaults({
    before: (operation, path) => {
      const reads = operation === "read" || operation === "verify";
      if (reads && path.includes("practice/Blue") && path.includes("X0001")) throw new FileFault("io", path);
    },
  });
  await away("Rust");
  await evening("ONE", [1, 2]);
  faults.on = true;
  await back("Rust");
  expect(held("Rust")).toEqual(pictures(1, 2));
  expect(bench.notices.some((notice) => notice.body.includes("1 copy on Blue is damaged"))).toBe(true);
});

test("a copy that can't be read once and can the next time goes on counting", async () => {
  let failed = 0;
  const faults = await withFaults({
    before: (operation, path) => {
      if (operation !== "verify" || !path.includes("practice/Blue") || !path.includes("X0001")) return;
      failed += 1;
      if (failed <= 3) throw new FileFault("io", path);
    },
  });
  await away("Rust");
  await evening("ONE", [1, 2]);
  faults.on = true;
  await back("Rust");
  expect(failed).toBeGreaterThan(3);
  expect(held("Rust")).toEqual(pictures(1, 2));
  expect(bench.notices.some((notice) => notice.body.includes("damaged"))).toBe(false);
  expect(owed()).toEqual([0, 0, 0]);
});

test("a file that someone removed from a drive comes back from another", async () => {
  await ready();
  await evening("ONE", [1, 2]);
  await away("Slate");
  const folder = join(bench.aside, "Slate/Kestrel Cliffs/2027-06-05");
  const [first = ""] = readdirSync(folder).sort();
  unlinkSync(join(folder, first));
  await back("Slate");
  expect(held("Slate")).toEqual(pictures(1, 2));
  expect(owed()).toEqual([0, 0, 0]);
  expect(alerts()).toEqual([]);
});

test("a drive that has no room for what it owes says so, with no card in", async () => {
  let full = false;
  await ready((ports) => {
    const files = new FaultyFiles(ports.files, {});
    const traits = files.traits.bind(files);
    files.traits = async (root) => {
      const real = await traits(root);
      return full && root.endsWith("Rust") ? { ...real, freeBytes: real.blockBytes } : real;
    };
    return { ...ports, files };
  });
  await away("Rust");
  await evening("ONE", [1, 2]);
  full = true;
  await back("Rust");
  expect(held("Blue")).toEqual(pictures(1, 2));
  expect(alerts()).toMatchObject([{ code: "drive-full", happened: "Rust is full. 2 files didn't fit." }]);
  full = false;
  for (let tries = 0; tries < 50 && owed()[2] !== 0; tries += 1) {
    await new Promise((resolve) => setTimeout(resolve, 100));
    await bench.idle();
  }
  expect(held("Rust")).toEqual(pictures(1, 2));
  expect(alerts()).toEqual([]);
});
