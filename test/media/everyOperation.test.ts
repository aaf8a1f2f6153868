/**
 * Every file operation fails once: the first, the second, and so on, until a run meets no fault. Whatever fails, no
 * copy is claimed that isn't there whole, no journal lacks a copy that the ledger claims, the card stays as it was, and
 * once the fault has passed everything ends complete.
 *
 * In one process on practice folders, so that each run is short; the operations are those of the real file adapter.
 */

import { existsSync, mkdirSync, readFileSync, utimesSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { cardsJson } from "../../daemon/engine/cardBoard.ts";
import type { EnginePorts } from "../../daemon/engine/ports.ts";
import type { EncodedFact } from "../../daemon/ports/ledger.ts";
import type { OriginalId, TripId } from "../../shared/identity.ts";
import { FileFault, type FileFaultCode } from "../../shared/problems.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Bench, makeBench, tree } from "../engine/bench.ts";
import { FaultyFiles, type Operation } from "../engine/faultyFiles.ts";
import { firstMoment, momentStep } from "../support/moments.ts";
import { quickPorts } from "../support/quickPorts.ts";

const drives = ["Blue", "Slate"];
const trip = "kc-2027-06-03-test" as TripId;
const onCard: Readonly<Record<string, string>> = {
  "DCIM/100ALDIN/ALD_0001.PNG": "a picture",
  "DCIM/100ALDIN/ALD_0001.MP3": "its voice memo",
  "MISC/NOTE.TXT": "an extra",
};
/** What a full file system refuses; it still reads. */
const needsSpace: ReadonlySet<Operation> = new Set([
  "createToWrite",
  "write",
  "finish",
  "makeFolder",
  "moveNoReplace",
  "flushFolder",
  "appendOwn",
  "replaceOwn",
]);
/** More runs than this would mean that the work never ends. */
const runsMost = 500;

for (const { code, where } of [
  { code: "io", where: "drives" },
  { code: "no-space", where: "drives" },
  { code: "io", where: "card" },
] as const) {
  test(`each operation on the ${where} fails once with ${code}: no false claim, and all ends complete`, async () => {
    const told: string[] = [];
    let nth: number = firstMoment;
    for (; nth <= runsMost; nth += momentStep) {
      const failed = await oneRun(nth, code, where);
      if (failed === undefined) break;
      told.push(failed);
    }
    expect(nth, "a run without a fault comes at last").toBeLessThanOrEqual(runsMost);
    expect(told.length * momentStep, "operations were met at all").toBeGreaterThan(10);
    console.log(`${code} on the ${where}: ${told.length} operations failed once each, of about ${nth}`);
  }, 180_000);
}

/** @returns the operation that failed; undefined where the run ended before the `nth`. */
async function oneRun(
  nth: number,
  code: FileFaultCode,
  where: "drives" | "card",
): Promise<string | undefined> {
  let seen = 0;
  let failed: string | undefined;
  const quick = quickPorts();
  const bench = await makeBench(quick.wrap);
  const failing = (ports: EnginePorts): EnginePorts => ({
    ...quick.wrap(ports),
    ledger: checkedLedger(bench, ports),
    files: new FaultyFiles(ports.files, {
      before: (operation: Operation, path) => {
        const inside = path.slice(bench.practice.length + 1);
        const counts = where === "card" ? inside.startsWith("CARD") : /^(Blue|Slate)/.test(inside);
        if (!counts || (code === "no-space" && !needsSpace.has(operation))) return;
        seen += 1;
        if (seen !== nth) return;
        failed = `${operation} ${inside}`;
        throw new FileFault(code, path);
      },
    }),
  });
  try {
    bench.trip(profileText({ drives, copies: 2 }));
    for (const drive of drives) await bench.drive(drive);
    writeCard(join(bench.practice, "CARD"));
    const before = tree(join(bench.practice, "CARD"));
    // From here on, as at any start: looking at drives and records may fail as well.
    await bench.restart(failing);
    await bench.idle();
    for (let again = 0; again < 3 && !isDone(bench); again += 1) {
      quick.passRetryTime();
      await bench.idle();
    }
    const why = `fault ${nth}, ${failed}: ${JSON.stringify(statusJson(bench.engine).alerts)}`;
    if (where === "card" && !isDone(bench)) {
      // What couldn't be read is kept for the next time the card is put in, and until then the card isn't clear.
      expect(cardsJson(bench.engine)[0]?.clear ?? false, why).toBe(false);
      bench.takeOut("CARD");
      await bench.idle();
      bench.plugIn("CARD");
      await bench.idle();
    }
    expect(isDone(bench), why).toBe(true);
    expect(tree(join(bench.practice, "CARD")), why).toEqual(before);
    holdsEverything(bench, why);
    return failed;
  } finally {
    await bench.end();
  }
}

function writeCard(card: string): void {
  for (const [path, content] of Object.entries(onCard)) {
    mkdirSync(join(card, path, ".."), { recursive: true });
    writeFileSync(join(card, path), content);
    utimesSync(join(card, path), new Date("2027-06-05T12:00:00Z"), new Date("2027-06-05T12:00:00Z"));
  }
}

function isDone(bench: Bench): boolean {
  const { cards, drives: all, alerts } = statusJson(bench.engine);
  return cards[0]?.clear === true && all.every((drive) => drive.owed.files === 0) && alerts.length === 0;
}

/** Both drives hold the card's files and nothing else, journal and checksum list name each. */
function holdsEverything(bench: Bench, why: string): void {
  const { ledger } = bench.engine.ports;
  for (const drive of ledger.drives()) {
    const folder = join(bench.practice, drive.name, "Kestrel Cliffs");
    const held = tree(folder);
    const list = held.get("checksums.xxh64")?.toString("utf8") ?? "";
    held.delete("checksums.xxh64");
    expect([...held.values()].map(String).sort(), why).toEqual(Object.values(onCard).sort());
    const copies = ledger.copiesOn(drive.id, trip);
    expect(copies.length, why).toBe(3);
    for (const copy of copies) {
      claimHolds(bench, ledger.original(copy.original)?.size, { ...copy, driveName: drive.name });
      expect(list, why).toContain(`${ledger.original(copy.original)?.hash}  ${copy.path}\n`);
    }
  }
}

/** The real ledger; at each claim it takes in, drive and journal are looked at first. */
function checkedLedger(bench: Bench, ports: EnginePorts): EnginePorts["ledger"] {
  const { ledger } = ports;
  const check = ({ fact }: EncodedFact): void => {
    if (fact.kind !== "copy") return;
    const driveName = ledger.drives().find((drive) => drive.id === fact.drive)?.name ?? "";
    claimHolds(bench, ledger.original(fact.original)?.size, { ...fact, driveName });
  };
  return new Proxy(ledger, {
    get: (target, name) => {
      const value: unknown = Reflect.get(target, name, target);
      if (typeof value !== "function") return value;
      return (...args: unknown[]) => {
        if (name === "apply") for (const fact of args[0] as readonly EncodedFact[]) check(fact);
        return Reflect.apply(value, target, args);
      };
    },
  });
}

interface Claim {
  readonly original: OriginalId;
  readonly drive: string;
  readonly driveName: string;
  readonly path: string;
}

/** Throws unless the copy stands there with bytes of the card, and the drive's own journal says so. */
function claimHolds(bench: Bench, size: number | undefined, claim: Claim): void {
  const root = join(bench.practice, claim.driveName);
  const file = join(root, "Kestrel Cliffs", claim.path);
  const content = existsSync(file) ? readFileSync(file, "utf8") : undefined;
  const journal = readFileSync(join(root, `.scrubjay/trips/${trip}/journal.jsonl`), "utf8").split("\n");
  const told = journal.some(
    (line) =>
      line.includes('"kind":"copy"') && line.includes(claim.original) && line.includes(`"${claim.drive}"`),
  );
  const whole = content !== undefined && content.length === size && Object.values(onCard).includes(content);
  if (!whole || !told) throw new Error(`claimed and not so: ${JSON.stringify({ ...claim, content, told })}`);
}
