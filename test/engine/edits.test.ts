/**
 * Work files on a whole engine and real folders: mirrored when they are quiet, with their history; changed apart, both
 * sides are kept; a catalogue goes whole or not at all; what a program does to originals is told apart.
 */

import { spawn, spawnSync } from "node:child_process";
import {
  appendFileSync,
  copyFileSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { dirname, join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import Database from "better-sqlite3";
import { expect, test } from "vitest";
import { happenedJson, statusJson } from "../../daemon/engine/board.ts";
import { declareLost } from "../../daemon/engine/declare.ts";
import { editsFace } from "../../daemon/faces/editsFace.ts";
import type { Bench } from "./bench.ts";
import { evening, filedAs, tripBench, tripId } from "./pictures.ts";

const folder = "Kestrel Cliffs";
const sidecar = filedAs(1).replace(".PNG", ".xmp");

const at = (bench: Bench, drive: string, path: string): string => join(bench.practice, drive, folder, path);
const away = (bench: Bench, drive: string, path: string): string => join(bench.aside, drive, folder, path);

function put(path: string, content: string, modified?: Date): void {
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, content);
  if (modified !== undefined) utimesSync(path, modified, modified);
}

const read = (path: string): string => (existsSync(path) ? readFileSync(path, "utf8") : "");

/** Contents of the earlier versions that a drive keeps of a work file. */
function history(bench: Bench, drive: string, path: string): readonly string[] {
  const kept = join(bench.practice, drive, ".scrubjay/trips", tripId, "earlier", path);
  if (!existsSync(kept)) return [];
  return readdirSync(kept)
    .sort()
    .map((name) => readFileSync(join(kept, name), "utf8"));
}

/** Until the listing has seen what was just written, and nothing is left to do. */
async function settled(bench: Bench): Promise<void> {
  for (const drive of bench.engine.presence.drives) bench.engine.edits.lookAgain(drive.id);
  await bench.idle();
}

async function threeDrives(): Promise<Bench> {
  const bench = await tripBench(["Blue", "Slate", "Rust"], 2);
  await evening(bench, "CARD", [1, 2, 3]);
  // Until folders are watched; nothing tells when a hint would come.
  await sleep(300);
  return bench;
}

const status = (bench: Bench) => statusJson(bench.engine);

test("a sidecar goes to every drive that is in; changed again, the earlier version is kept where it stood", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", sidecar), "rating 1");
  await settled(bench);
  for (const drive of ["Slate", "Rust"]) expect(read(at(bench, drive, sidecar)), drive).toBe("rating 1");
  put(at(bench, "Blue", sidecar), "rating 2");
  await settled(bench);
  for (const drive of ["Slate", "Rust"]) {
    expect(read(at(bench, drive, sidecar)), drive).toBe("rating 2");
    expect(history(bench, drive, sidecar), drive).toEqual(["rating 1"]);
  }
  expect(status(bench).edits).toMatchObject({
    files: 1,
    conflicts: 0,
    drives: [
      { drive: "Blue", files: 1, behind: 0 },
      { drive: "Slate", files: 1, behind: 0 },
      { drive: "Rust", files: 1, behind: 0 },
    ],
  });
});

test("hints alone are enough: nobody asks for a look", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", sidecar), "rating 1");
  await settled(bench);
  put(at(bench, "Blue", "2027-06-05/notes.txt"), "puffins");
  await expect
    .poll(() => read(at(bench, "Rust", "2027-06-05/notes.txt")), { timeout: 10_000 })
    .toBe("puffins");
});

test("a drive that was away gets the newest version, and what it held before goes to its history", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", sidecar), "rating 1");
  await settled(bench);
  bench.takeOut("Rust");
  await bench.idle();
  put(at(bench, "Blue", sidecar), "rating 2");
  await settled(bench);
  put(at(bench, "Blue", sidecar), "rating 3");
  await settled(bench);
  expect(status(bench).edits?.drives.at(-1)).toEqual({ drive: "Rust", files: 0, behind: 1 });
  bench.plugIn("Rust");
  await settled(bench);
  expect(read(at(bench, "Rust", sidecar))).toBe("rating 3");
  expect(history(bench, "Rust", sidecar)).toEqual(["rating 1"]);
  expect(status(bench).edits?.conflicts).toBe(0);
});

test("changed on two drives apart: the newer stands everywhere, the other is in every history, and it is said", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", sidecar), "rating 1", new Date("2027-06-05T20:00:00Z"));
  await settled(bench);
  bench.takeOut("Rust");
  await bench.idle();
  put(at(bench, "Blue", sidecar), "by the window", new Date("2027-06-06T20:00:00Z"));
  await settled(bench);
  put(away(bench, "Rust", sidecar), "in the car", new Date("2027-06-06T22:00:00Z"));
  bench.plugIn("Rust");
  await settled(bench);
  for (const drive of ["Blue", "Slate", "Rust"]) {
    expect(read(at(bench, drive, sidecar)), drive).toBe("in the car");
    expect(history(bench, drive, sidecar), drive).toContain("by the window");
  }
  const now = status(bench);
  expect(now.edits?.conflicts).toBe(1);
  expect(now.alerts.map(({ code }) => code)).toContain("work-conflict");
  const face = editsFace(bench.engine);
  const [conflict] = face.edits(undefined, 0, 10).conflicts;
  expect(conflict).toMatchObject({
    path: sidecar,
    kept: { drive: "Rust" },
    other: { drive: "Blue", deleted: false },
  });
  face.seen(conflict?.id ?? "");
  await bench.idle();
  expect(status(bench).edits?.conflicts).toBe(0);
  expect(status(bench).alerts.map(({ code }) => code)).not.toContain("work-conflict");
});

test("changed on two drives apart, and the one that comes is the older: it is kept and doesn't stand", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", sidecar), "rating 1", new Date("2027-06-05T20:00:00Z"));
  await settled(bench);
  bench.takeOut("Rust");
  await bench.idle();
  put(away(bench, "Rust", sidecar), "in the car", new Date("2027-06-06T18:00:00Z"));
  put(at(bench, "Blue", sidecar), "by the window", new Date("2027-06-06T20:00:00Z"));
  await settled(bench);
  bench.plugIn("Rust");
  await settled(bench);
  for (const drive of ["Blue", "Slate", "Rust"]) {
    expect(read(at(bench, drive, sidecar)), drive).toBe("by the window");
    expect(history(bench, drive, sidecar), drive).toContain("in the car");
  }
  expect(status(bench).edits?.conflicts).toBe(1);
});

test("deleted on the primary, the others keep it in their history; deleted elsewhere, it comes back", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", sidecar), "rating 1");
  put(at(bench, "Blue", "Exports/best.txt"), "best");
  await settled(bench);
  rmSync(at(bench, "Slate", "Exports/best.txt"));
  await settled(bench);
  expect(read(at(bench, "Slate", "Exports/best.txt"))).toBe("best");
  rmSync(at(bench, "Blue", sidecar));
  await settled(bench);
  for (const drive of ["Slate", "Rust"]) {
    expect(existsSync(at(bench, drive, sidecar)), drive).toBe(false);
    expect(history(bench, drive, sidecar), drive).toEqual(["rating 1"]);
  }
  expect(status(bench).edits).toMatchObject({ files: 1, deleted: 1, conflicts: 0 });
});

test("deleted on the only drive that ever held it, nobody waits for it", async () => {
  const bench = await threeDrives();
  for (const drive of ["Blue", "Rust"]) bench.takeOut(drive);
  await bench.idle();
  put(at(bench, "Slate", "Notes/day.txt"), "puffins");
  await settled(bench);
  expect(status(bench).edits?.files).toBe(1);
  rmSync(at(bench, "Slate", "Notes/day.txt"));
  await settled(bench);
  for (const drive of ["Blue", "Rust"]) bench.plugIn(drive);
  await settled(bench);
  expect(status(bench).edits).toMatchObject({ files: 0, deleted: 1 });
  expect(status(bench).safe).toBe(true);
});

test("what is written for long isn't waited for, and is taken as soon as it pauses", async () => {
  const bench = await tripBench(["Blue", "Slate"], 2, (ports) => ({
    ...ports,
    limits: { ...ports.limits, editsPatience: 300 },
  }));
  await evening(bench, "CARD", [1, 2, 3]);
  await sleep(300);
  let times = 0;
  const writing = setInterval(() => {
    times += 1;
    put(at(bench, "Blue", "Notes/log.txt"), "x".repeat(times));
  }, 40);
  await sleep(800);
  await settled(bench);
  expect(existsSync(at(bench, "Slate", "Notes/log.txt")), "it never paused").toBe(false);
  clearInterval(writing);
  await expect.poll(() => read(at(bench, "Slate", "Notes/log.txt")).length, { timeout: 10_000 }).toBe(times);
});

test("a trip folder that is gone deletes nothing", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", sidecar), "rating 1");
  await settled(bench);
  renameSync(join(bench.practice, "Blue", folder), join(bench.practice, "Blue", "elsewhere"));
  await settled(bench);
  expect(read(at(bench, "Slate", sidecar))).toBe("rating 1");
});

test("an earlier version is put in place again as a new one, and goes to the other drives", async () => {
  const bench = await threeDrives();
  for (const rating of ["rating 1", "rating 2"]) {
    put(at(bench, "Blue", sidecar), rating);
    await settled(bench);
  }
  const face = editsFace(bench.engine);
  const { versions } = await face.versions(undefined, sidecar);
  expect(versions.map(({ inPlace }) => inPlace)).toEqual([true, false]);
  const earlier = versions[1];
  expect(earlier?.drives.toSorted()).toEqual(["Rust", "Slate"]);
  await face.restore(undefined, sidecar, earlier?.at ?? "");
  await settled(bench);
  for (const drive of ["Blue", "Slate", "Rust"]) {
    expect(read(at(bench, drive, sidecar)), drive).toBe("rating 1");
    expect(history(bench, drive, sidecar), drive).toContain("rating 2");
  }
  expect((await face.versions(undefined, sidecar)).versions).toHaveLength(2);
});

test("a catalogue with its journal beside it waits, and goes whole when that is gone", async () => {
  const bench = await threeDrives();
  const base = new Database(ready(at(bench, "Blue", "Catalogue/frames.db")));
  base.pragma("journal_mode = WAL");
  base.exec("CREATE TABLE t (n)");
  put(at(bench, "Blue", "Catalogue/settings.txt"), "columns 3");
  await settled(bench);
  expect(existsSync(at(bench, "Slate", "Catalogue"))).toBe(false);
  expect(status(bench).edits?.waitingFor).toEqual([{ path: "Catalogue", why: "is open in a program" }]);
  base.close();
  await settled(bench);
  for (const drive of ["Slate", "Rust"]) {
    expect(rows(at(bench, drive, "Catalogue/frames.db"), "t"), drive).toBe(0);
    expect(read(at(bench, drive, "Catalogue/settings.txt")), drive).toBe("columns 3");
  }
});

test("a catalogue that is written all the time is never mirrored torn", async () => {
  const bench = await threeDrives();
  const path = ready(at(bench, "Blue", "Catalogue/frames.db"));
  let looks = 0;
  const mirrored = at(bench, "Slate", "Catalogue/frames.db");
  const look = join(bench.folder, "look.db");
  // On a computer that has much else to do no pause may be long enough the first time.
  for (let run = 0; run < 5 && looks === 0; run += 1) {
    const writer = spawn(process.execPath, ["--input-type=module", "-e", writing, path], {
      stdio: ["ignore", "ignore", "inherit"],
    });
    const ended = new Promise((resolve) => writer.once("exit", resolve));
    while (writer.exitCode === null) {
      await Promise.race([ended, sleep(20)]);
      if (!copied(mirrored, look)) continue;
      looks += 1;
      expect(sameRows(look)).toBe(true);
    }
  }
  await settled(bench);
  expect(sameRows(mirrored)).toBe(true);
  expect(rows(mirrored, "a")).toBe(rows(path, "a"));
  const kept = join(bench.practice, "Slate/.scrubjay/trips", tripId, "earlier/Catalogue/frames.db");
  for (const version of existsSync(kept) ? readdirSync(kept) : [])
    expect(sameRows(join(kept, version)), version).toBe(true);
  expect(looks, "it was mirrored while it was written").toBeGreaterThan(0);
}, 180_000);

test("a catalogue that was changed on two drives apart is one side's, whole", async () => {
  const bench = await threeDrives();
  const then = new Date("2027-06-05T20:00:00Z");
  const base = new Database(ready(at(bench, "Blue", "Catalogue/frames.db")));
  base.exec("CREATE TABLE t (n)");
  base.close();
  for (const name of ["one", "two"]) put(at(bench, "Blue", `Catalogue/${name}.txt`), "before", then);
  await settled(bench);
  bench.takeOut("Rust");
  await bench.idle();
  put(at(bench, "Blue", "Catalogue/one.txt"), "blue", new Date("2027-06-06T20:00:00Z"));
  await settled(bench);
  put(away(bench, "Rust", "Catalogue/two.txt"), "rust", new Date("2027-06-06T21:00:00Z"));
  bench.plugIn("Rust");
  await settled(bench);
  for (const drive of ["Blue", "Slate", "Rust"]) {
    const both = ["one", "two"].map((name) => read(at(bench, drive, `Catalogue/${name}.txt`)));
    expect(both, drive).toEqual(["before", "rust"]);
    expect(history(bench, drive, "Catalogue/one.txt"), drive).toContain("blue");
  }
  expect(status(bench).edits?.conflicts).toBeGreaterThan(0);
});

test("what the profile leaves out stays where it is, and how much that is is said", async () => {
  const bench = await threeDrives();
  const [trip] = bench.trips();
  bench.trip(`${trip?.text ?? ""}edits: { leave-out: "Catalogue/Previews/**" }\n`);
  bench.engine.refresh();
  await bench.idle();
  put(at(bench, "Blue", "Catalogue/Previews/large.bin"), "x".repeat(5_000));
  put(at(bench, "Blue", "Catalogue/small.txt"), "small");
  await settled(bench);
  expect(existsSync(at(bench, "Slate", "Catalogue/Previews"))).toBe(false);
  expect(read(at(bench, "Slate", "Catalogue/small.txt"))).toBe("small");
  expect(status(bench).edits?.leftOut).toEqual({ files: 1, bytes: 5_000 });
});

test("an original that a program wrote into is a work file of its frame; the untouched copy stays", async () => {
  const bench = await threeDrives();
  const original = readFileSync(at(bench, "Slate", filedAs(2)));
  appendFileSync(at(bench, "Blue", filedAs(2)), "metadata");
  const changed = filedAs(2).replace(".PNG", "-changed.PNG");
  await settled(bench);
  expect(read(at(bench, "Slate", changed)).endsWith("metadata")).toBe(true);
  expect(readFileSync(at(bench, "Slate", filedAs(2)))).toEqual(original);
  expect(
    happenedJson(bench.engine, undefined)
      .map(({ text }) => text)
      .join("\n"),
  ).toMatch(/changed by another program|rewritten|changed/);
});

test("an original that is renamed or moved is followed, and nothing is copied for it", async () => {
  const bench = await threeDrives();
  renameSync(at(bench, "Blue", filedAs(2)), at(bench, "Blue", "2027-06-05/puffin.PNG"));
  mkdirSync(at(bench, "Blue", "Choice"));
  renameSync(at(bench, "Blue", filedAs(3)), at(bench, "Blue", "Choice/third.PNG"));
  const where = () =>
    bench.engine.ports.ledger
      .copiesOn(bench.engine.presence.drives.find(({ name }) => name === "Blue")?.id ?? ("" as never), tripId)
      .map(({ path }) => path)
      .sort();
  await settled(bench);
  expect(where()).toEqual([filedAs(1), "2027-06-05/puffin.PNG", "Choice/third.PNG"].sort());
  expect(existsSync(at(bench, "Blue", filedAs(2))), "it isn't copied again").toBe(false);
  expect(existsSync(at(bench, "Slate", "2027-06-05/puffin.PNG")), "it is no work file").toBe(false);
  expect(status(bench).edits).toBeUndefined();
});

test("names that some drive can't tell apart, or that no list can hold, are said and keep nobody else waiting", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", "Notes/Day.txt"), "upper");
  put(at(bench, "Blue", "Notes/day.txt"), "lower");
  put(at(bench, "Blue", "Notes/two\nlines.txt"), "lines");
  put(at(bench, "Blue", "Notes/plain.txt"), "plain");
  await settled(bench);
  expect(read(at(bench, "Slate", "Notes/plain.txt"))).toBe("plain");
  expect(status(bench).edits?.waiting).toBe(2);
});

test("a version that a lost drive alone held gives way to the newest that another one holds, and it is written down", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", sidecar), "rating 1");
  await settled(bench);
  for (const drive of ["Slate", "Rust"]) bench.takeOut(drive);
  await bench.idle();
  put(at(bench, "Blue", sidecar), "rating 2");
  await settled(bench);
  bench.takeOut("Blue");
  await bench.idle();
  await bench.engine.between(async () => declareLost(bench.engine, "Blue"));
  for (const drive of ["Slate", "Rust"]) bench.plugIn(drive);
  await settled(bench);
  expect(status(bench).edits?.drives.map(({ drive, behind }) => [drive, behind])).toEqual([
    ["Slate", 0],
    ["Rust", 0],
  ]);
  expect(read(at(bench, "Slate", sidecar))).toBe("rating 1");
  expect(
    happenedJson(bench.engine, undefined)
      .map(({ text }) => text)
      .join("\n"),
  ).toContain("was on Blue alone");
});

test("modification times come along", async () => {
  const bench = await threeDrives();
  put(at(bench, "Blue", sidecar), "rating 1", new Date("2027-06-05T21:15:00Z"));
  await settled(bench);
  expect(statSync(at(bench, "Rust", sidecar)).mtime).toEqual(new Date("2027-06-05T21:15:00Z"));
});

function ready(path: string): string {
  mkdirSync(dirname(path), { recursive: true });
  return path;
}

/** Two tables that are always equal, in bursts with pauses of about the time that counts as quiet. */
const writing = `
import Database from "better-sqlite3";
const base = new Database(process.argv[1]);
const pause = (ms) => Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, ms);
base.exec("CREATE TABLE IF NOT EXISTS a (n INTEGER PRIMARY KEY, v BLOB); CREATE TABLE IF NOT EXISTS b (n INTEGER PRIMARY KEY, v BLOB)");
for (let burst = 0; burst < 30; burst += 1) {
  for (let nth = 0; nth < 5; nth += 1) {
    base.exec("BEGIN IMMEDIATE; INSERT INTO a (v) VALUES (randomblob(50000))");
    pause(5);
    base.exec("INSERT INTO b (v) VALUES (randomblob(50000)); COMMIT");
  }
  pause(120 + (burst % 6) * 60);
}
base.close();
`;

/** As it is at one moment; false where no file has the name, as between two versions. */
function copied(path: string, to: string): boolean {
  try {
    copyFileSync(path, to);
    return true;
  } catch (error) {
    if (error instanceof Error && "code" in error && error.code === "ENOENT") return false;
    throw error;
  }
}

/** By the sqlite3 tool, where it is: whole, and both tables equal. */
function sameRows(path: string): boolean {
  const sql = "PRAGMA integrity_check; SELECT (SELECT count(*) FROM a) = (SELECT count(*) FROM b)";
  const { stdout, error } = spawnSync("sqlite3", ["-readonly", path, sql], { encoding: "utf8" });
  if (error === undefined) return stdout === "ok\n1\n";
  const base = new Database(path, { readonly: true });
  try {
    return base.pragma("integrity_check", { simple: true }) === "ok" && rows(path, "a") === rows(path, "b");
  } finally {
    base.close();
  }
}

function rows(path: string, table: "a" | "b" | "t"): number {
  const base = new Database(path, { readonly: true });
  try {
    return Number(base.prepare(`SELECT count(*) FROM ${table}`).pluck().get());
  } finally {
    base.close();
  }
}
