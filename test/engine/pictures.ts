/** Cards of plain pictures for engine tests, of a kind whose structure isn't checked, and what drives hold of them. */

import { mkdirSync, readFileSync, rmSync, statSync, utimesSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { cardsJson, statusJson } from "../../daemon/engine/board.ts";
import { type Bench, tree } from "./bench.ts";

const noon = new Date("2027-06-05T12:00:00Z");

/** Where the picture of this number stands on each drive, below the trip's folder. */
export const filedAs = (nth: number): string => `2027-06-05/KC-20270605-X000${nth}.PNG`;

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
export function held(bench: Bench, drive: string): Readonly<Record<string, string>> {
  const files = tree(join(bench.practice, drive, "Kestrel Cliffs"));
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

export const alertCodes = (bench: Bench): readonly string[] =>
  statusJson(bench.engine).alerts.map((alert) => alert.code);

export const owed = (bench: Bench): readonly number[] =>
  statusJson(bench.engine).drives.map((drive) => drive.owed.files);

export function cardOf(bench: Bench, label: string) {
  const found = cardsJson(bench.engine).find((card) => card.label === label);
  if (found === undefined) throw new Error(`no card ${label}`);
  return found;
}
