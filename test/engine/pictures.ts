/** Cards of plain pictures for engine tests, of a kind whose structure isn't checked, and what drives hold of them. */

import {
  appendFileSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { dirname, join } from "node:path";
import { onTestFinished } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { cardsJson } from "../../daemon/engine/cardBoard.ts";
import { rebuildFrom } from "../../daemon/engine/rebuild.ts";
import { scrubDrives } from "../../daemon/engine/scrubRequest.ts";
import type { EncodedFact } from "../../daemon/ports/ledger.ts";
import { encodeFact, journalLine, readJournal } from "../../daemon/record/journal.ts";
import type { Fact } from "../../shared/facts.ts";
import type { TripId } from "../../shared/identity.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Bench, makeBench, tree, type Wrap } from "./bench.ts";
import { type Faults, FaultyFiles } from "./faultyFiles.ts";

const noon = new Date("2027-06-05T12:00:00Z");

/** Where the picture of this number stands on each drive, below the trip's folder. */
export const filedAs = (nth: number): string => `2027-06-05/KC-20270605-X000${nth}.PNG`;

export const tripId = "kc-2027-06-03-test" as TripId;

/** A bench with the trip and its drives; it ends with the test. */
export async function tripBench(drives: readonly string[], copies: number, wrap?: Wrap): Promise<Bench> {
  const bench = await makeBench(wrap);
  onTestFinished(() => bench.end());
  bench.trip(profileText({ drives, copies }));
  for (const drive of drives) await bench.drive(drive);
  return bench;
}

export const withFaults =
  (faults: Faults): Wrap =>
  (ports) => ({ ...ports, files: new FaultyFiles(ports.files, faults) });

/**
 * The power goes at the first moment that `goesAt` fits, `OPERATION PATH` or `fact KIND`: from then on nothing is
 * touched or written down, until a restart without it.
 */
export class Power {
  goesAt: RegExp | undefined;
  gone = false;

  readonly wrap: Wrap = (ports) => {
    const apply = ports.ledger.apply.bind(ports.ledger);
    ports.ledger.apply = (facts) => {
      for (const { fact } of facts) this.#happens(`fact ${fact.kind}`);
      apply(facts);
    };
    return withFaults({ before: (operation, path) => this.#happens(`${operation} ${path}`) })(ports);
  };

  #happens(what: string): void {
    this.gone ||= this.goesAt?.test(what) ?? false;
    if (this.gone) throw new Error("the power is gone");
  }
}

/** Lays a card aside with `picture N` for each number, or with these contents by path. */
export function layCard(
  bench: Bench,
  name: string,
  content: readonly number[] | Readonly<Record<string, string | Uint8Array>>,
): void {
  const files = Array.isArray(content)
    ? Object.fromEntries(content.map((nth) => [`DCIM/100ABCDE/ABCD000${nth}.PNG`, `picture ${nth}`]))
    : content;
  for (const [path, bytes] of Object.entries(files)) {
    const at = join(bench.aside, name, path);
    mkdirSync(dirname(at), { recursive: true });
    writeFileSync(at, bytes);
    utimesSync(at, noon, noon);
  }
}

/** The card goes in, is copied and is taken out. */
export async function evening(
  bench: Bench,
  name: string,
  content: readonly number[] | Readonly<Record<string, string | Uint8Array>>,
): Promise<void> {
  layCard(bench, name, content);
  bench.plugIn(name);
  await bench.idle();
  bench.takeOut(name);
  await bench.idle();
}

export async function away(bench: Bench, ...drives: readonly string[]): Promise<void> {
  for (const drive of drives) bench.takeOut(drive);
  await bench.idle();
}

export async function back(bench: Bench, ...drives: readonly string[]): Promise<void> {
  for (const drive of drives) bench.plugIn(drive);
  await bench.idle();
}

/** Where a picture stands on a drive that is plugged in. */
export function copyOn(bench: Bench, drive: string, nth: number): string {
  return join(bench.practice, drive, "Kestrel Cliffs", filedAs(nth));
}

/** What a drive holds of the trip, without our own list. */
export function held(bench: Bench, drive: string, trip = "Kestrel Cliffs"): Readonly<Record<string, string>> {
  const files = tree(join(bench.practice, drive, trip));
  files.delete("checksums.xxh64");
  return Object.fromEntries([...files].map(([path, content]) => [path, String(content)]));
}

/** What was set aside on a drive, by where it stood. */
export function setAside(bench: Bench, drive: string): Readonly<Record<string, string>> {
  const folder = join(bench.practice, drive, ".scrubjay/trips/kc-2027-06-03-test/aside");
  mkdirSync(folder, { recursive: true });
  return Object.fromEntries([...tree(folder)].map(([path, content]) => [path, String(content)]));
}

/** Other bytes and nothing else changed: what a failing medium does. */
export function spoil(path: string): void {
  const { mtime } = statSync(path);
  writeFileSync(path, readFileSync(path, "utf8").replace("picture", "pixture"));
  utimesSync(path, mtime, mtime);
}

/** The computer is gone: what it knew is nowhere but on the drives. */
export async function loseLedger(bench: Bench): Promise<void> {
  await bench.restart(undefined, () => {
    for (const end of ["", "-wal", "-shm"])
      rmSync(join(bench.folder, `ledger.sqlite${end}`), { force: true });
  });
}

/** Everything is taken out, the computer is gone with what it knew and its profiles; these come to a new one. */
export async function newComputer(bench: Bench, ...drives: readonly string[]): Promise<void> {
  for (const name of readdirSync(bench.practice)) bench.takeOut(name);
  await bench.idle();
  bench.forgetTrips();
  await loseLedger(bench);
  await back(bench, ...drives);
}

export function rebuild(bench: Bench, drives: readonly string[], owner?: string) {
  const mounts = drives.map((drive) => join(bench.practice, drive));
  return bench.engine.between(() => rebuildFrom(bench.engine, mounts, owner));
}

export function scrub(bench: Bench, drive?: string) {
  return scrubDrives(bench.engine, drive, new AbortController().signal);
}

/** The record of a trip on a drive that is plugged in. */
export function journalOf(bench: Bench, drive: string, trip: string = tripId): string {
  return join(bench.practice, drive, `.scrubjay/trips/${trip}/journal.jsonl`);
}

export function recordOf(bench: Bench, drive: string): readonly EncodedFact[] {
  return readJournal(readFileSync(journalOf(bench, drive)), bench.engine.ports.hashing).facts;
}

/** The first fact of a kind in a drive's record. */
export function factOf<Kind extends Fact["kind"]>(
  bench: Bench,
  drive: string,
  kind: Kind,
): Extract<Fact, { kind: Kind }> {
  const ofKind = (fact: Fact): fact is Extract<Fact, { kind: Kind }> => fact.kind === kind;
  const found = recordOf(bench, drive)
    .map(({ fact }) => fact)
    .find(ofKind);
  if (found === undefined) throw new Error(`the record tells of no ${kind}`);
  return found;
}

/** Someone else writes into a drive's record, each line whole. */
export function forge(bench: Bench, drive: string, facts: readonly Fact[], trip: string = tripId): void {
  const path = journalOf(bench, drive, trip);
  mkdirSync(dirname(path), { recursive: true });
  appendFileSync(
    path,
    facts.map((fact) => journalLine(encodeFact(fact, bench.engine.ports.hashing))).join(""),
  );
}

/** What the drive's checksum list names. */
export function listed(bench: Bench, drive: string): readonly string[] {
  const list = readFileSync(join(bench.practice, drive, "Kestrel Cliffs/checksums.xxh64"), "utf8");
  const hashAndBlanks = 18;
  return list
    .trim()
    .split("\n")
    .map((line) => line.slice(hashAndBlanks))
    .sort();
}

export async function until(holds: () => boolean): Promise<void> {
  for (let nth = 0; nth < 400; nth += 1) {
    if (holds()) return;
    await new Promise((resolve) => setTimeout(resolve, 25));
  }
  throw new Error("it never came to hold");
}

export const alertCodes = (bench: Bench): readonly string[] =>
  statusJson(bench.engine).alerts.map((alert) => alert.code);

export const owed = (bench: Bench): readonly number[] =>
  statusJson(bench.engine).drives.map((drive) => drive.owed.files);

export function cardOf(bench: Bench, label: string) {
  const found = cardsJson(bench.engine).find((card) => card.label === label);
  if (found === undefined) throw new Error(`no card ${label}`);
  return found;
}
