/**
 * Work files in trouble: broken off at any moment, refused by a drive, left out later, changed apart while the power goes.
 * Whatever happens, no content vanishes, and what is left to do is done by itself.
 */

import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, utimesSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import Database from "better-sqlite3";
import { expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { FileFault } from "../../shared/problems.ts";
import { profileText } from "../cards/generate/card.ts";
import { firstMoment, momentStep } from "../support/moments.ts";
import { type Bench, tree, type Wrap } from "./bench.ts";
import type { Operation } from "./faultyFiles.ts";
import { evening, filedAs, tripBench, tripId, withFaults } from "./pictures.ts";

const drives = ["Blue", "Slate", "Rust"];
const folder = "Kestrel Cliffs";
const sidecar = filedAs(1).replace(".PNG", ".xmp");
const early = new Date("2027-06-05T20:00:00Z");
const late = new Date("2027-06-06T20:00:00Z");

const at = (bench: Bench, drive: string, path: string): string => join(bench.practice, drive, folder, path);
const away = (bench: Bench, drive: string, path: string): string => join(bench.aside, drive, folder, path);

function put(path: string, content: string, modified?: Date): void {
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, content);
  if (modified !== undefined) utimesSync(path, modified, modified);
}

const read = (path: string): string => (existsSync(path) ? readFileSync(path, "utf8") : "");

function history(bench: Bench, drive: string, path: string): readonly string[] {
  const kept = join(bench.practice, drive, ".scrubjay/trips", tripId, "earlier", path);
  if (!existsSync(kept)) return [];
  return readdirSync(kept).map((name) => readFileSync(join(kept, name), "utf8"));
}

/** Until everything was looked at once more, and nothing is left to do. */
async function settled(bench: Bench): Promise<void> {
  for (const drive of bench.engine.presence.drives) bench.engine.edits.lookAgain(drive.id);
  await bench.idle();
}

async function ready(wrap?: Wrap): Promise<Bench> {
  const bench = await tripBench(drives, 2, wrap);
  await evening(bench, "CARD", [1, 2]);
  return bench;
}

test("a pattern that is added to the profile later takes nothing away anywhere", async () => {
  const bench = await ready();
  put(at(bench, "Blue", "Exports/best.txt"), "export");
  await settled(bench);
  expect(read(at(bench, "Slate", "Exports/best.txt"))).toBe("export");
  const text = profileText({ drives, copies: 2 });
  bench.trip(`${text}edits: { leave-out: ["Exports/**"] }\n`);
  bench.engine.refresh();
  await settled(bench);
  // An absence is believed when it lasts.
  await sleep(bench.engine.ports.limits.editsQuiet + 100);
  await settled(bench);
  expect(statusJson(bench.engine).edits?.deleted).toBe(0);
  for (const drive of drives) expect(read(at(bench, drive, "Exports/best.txt")), drive).toBe("export");
});

test("mirroring that is broken off before its first file goes on by itself", async () => {
  let brokenOff = false;
  let refresh = (): void => undefined;
  const bench = await ready(
    withFaults({
      before: (operation, path) => {
        if (brokenOff || operation !== "verify" || !path.endsWith(".xmp")) return;
        brokenOff = true;
        refresh();
      },
    }),
  );
  refresh = () => bench.engine.refresh();
  put(at(bench, "Blue", sidecar), "rating 1");
  await settled(bench);
  expect(brokenOff).toBe(true);
  expect(read(at(bench, "Slate", sidecar))).toBe("rating 1");
});

test.each<[string, Operation, "bad-name" | "too-large"]>([
  ["a name that one drive can't hold", "moveNoReplace", "bad-name"],
  ["a file that is too large for one drive", "write", "too-large"],
])("%s is said, goes to the others, and isn't tried again and again", async (_, refused, code) => {
  let tries = 0;
  let armed = false;
  const bench = await ready(
    withFaults({
      before: (operation, path) => {
        if (!armed || operation !== refused || !path.includes("/Rust/")) return;
        tries += 1;
        throw new FileFault(code, path);
      },
    }),
  );
  armed = true;
  put(at(bench, "Blue", "2027-06-05/Notes: day 1.txt"), "puffins");
  await settled(bench);
  await settled(bench);
  expect(tries).toBeLessThan(3);
  expect(read(at(bench, "Slate", "2027-06-05/Notes: day 1.txt"))).toBe("puffins");
  expect(statusJson(bench.engine).edits?.waitingFor[0]?.why).toContain("Rust");
});

test("a catalogue to which another drive added a file of its own is whole on all drives", async () => {
  const bench = await ready();
  mkdirSync(at(bench, "Blue", "Catalogue"));
  const base = new Database(at(bench, "Blue", "Catalogue/frames.db"));
  base.exec("CREATE TABLE t (n); INSERT INTO t VALUES (1)");
  base.close();
  put(at(bench, "Slate", "Catalogue/note.txt"), "on Slate alone");
  await settled(bench);
  const whole = read(at(bench, "Blue", "Catalogue/frames.db"));
  for (const drive of drives) {
    expect(read(at(bench, drive, "Catalogue/frames.db")), drive).toBe(whole);
    expect(read(at(bench, drive, "Catalogue/note.txt")), drive).toBe("on Slate alone");
  }
});

test("deleted on the primary while it was changed elsewhere: the change holds on all, and that is said", async () => {
  const bench = await ready();
  put(at(bench, "Blue", sidecar), "rating 1", early);
  await settled(bench);
  bench.takeOut("Rust");
  await bench.idle();
  put(away(bench, "Rust", sidecar), "in the car", late);
  rmSync(at(bench, "Blue", sidecar));
  await settled(bench);
  expect(statusJson(bench.engine).edits?.deleted).toBe(1);
  bench.plugIn("Rust");
  await settled(bench);
  for (const drive of drives) expect(read(at(bench, drive, sidecar)), drive).toBe("in the car");
  expect(statusJson(bench.engine).edits?.conflicts).toBe(1);
});

test("the other side of a conflict is kept on every drive, though all failed right after it was written down", async () => {
  const bench = await ready();
  put(at(bench, "Blue", sidecar), "rating 1", early);
  await settled(bench);
  bench.takeOut("Rust");
  await bench.idle();
  put(at(bench, "Blue", sidecar), "by the window", late);
  await settled(bench);
  put(away(bench, "Rust", sidecar), "in the car", early);
  let writtenDown = false;
  let failed = false;
  await bench.restart((ports) => {
    const apply = ports.ledger.apply.bind(ports.ledger);
    ports.ledger.apply = (facts) => {
      apply(facts);
      writtenDown ||= facts.some(({ fact }) => fact.kind === "edit" && fact.after.length > 1);
    };
    return withFaults({
      before: (operation, path) => {
        failed ||= writtenDown && operation === "createToWrite";
        if (failed) throw new FileFault("io", path);
      },
    })(ports);
  });
  bench.plugIn("Rust");
  await bench.engine.untilIdle(AbortSignal.timeout(3_000));
  expect(failed).toBe(true);
  await bench.restart();
  await settled(bench);
  for (const drive of drives) {
    expect(read(at(bench, drive, sidecar)), drive).toBe("by the window");
    expect(history(bench, drive, sidecar), drive).toContain("in the car");
  }
});

/** What each drive holds of these contents, wherever. */
function contentsOn(bench: Bench, drive: string): ReadonlySet<string> {
  return new Set([...tree(join(bench.practice, drive)).values()].map(String));
}

test("all failing between any two operations of a mirroring: at every moment one version stands, and none is lost", async () => {
  const bench = await ready();
  const unit = ["Catalogue/frames.db", "Catalogue/list.txt"];
  const write = (version: number): readonly string[] => {
    // The first bytes of a database (SQLite, Database File Format, section 1.3) make a catalogue of it.
    const contents = [`SQLite format 3\0 version ${version}`, `list ${version}`];
    for (const [nth, path] of unit.entries()) put(at(bench, "Blue", path), contents[nth] ?? "");
    return contents;
  };
  let before = write(0);
  await settled(bench);
  let moments = 0;
  for (let failsAt: number = firstMoment; ; failsAt += momentStep) {
    const after = write(failsAt);
    let done = 0;
    const touches: readonly Operation[] = [
      "createToWrite",
      "write",
      "finish",
      "moveNoReplace",
      "flushFolder",
    ];
    await bench.restart(
      withFaults({
        before: (operation, path) => {
          if (!path.includes("/Slate/") || !touches.includes(operation) || path.endsWith(".scrubjay")) return;
          done += 1;
          if (done >= failsAt) throw new FileFault("io", path);
        },
      }),
    );
    await bench.engine.untilIdle(AbortSignal.timeout(2_500));
    const failed = done >= failsAt;
    const held = contentsOn(bench, "Slate");
    for (const content of before) expect(held.has(content), `${content} at ${failsAt}`).toBe(true);
    await bench.restart();
    await settled(bench);
    for (const drive of drives)
      for (const [nth, path] of unit.entries())
        expect(read(at(bench, drive, path)), `${drive} after ${failsAt}`).toBe(after[nth]);
    for (const content of before) expect(contentsOn(bench, "Slate").has(content)).toBe(true);
    before = after;
    if (!failed) break;
    moments += 1;
  }
  expect(moments * momentStep).toBeGreaterThan(10);
}, 240_000);
