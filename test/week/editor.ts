/**
 * What an editor does to a trip's folder on the road, done by general tools: sidecars by Debian's exiftool, a catalogue
 * in SQLite that a process of its own writes all the time. None of the project's code.
 */

import { execFileSync, spawn } from "node:child_process";
import { existsSync, mkdirSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

/** Values of one sidecar, as exiftool names them. */
export interface SidecarValues {
  readonly Rating?: number;
  readonly Label?: string;
  readonly Subject?: string;
}

const exiftool = "/usr/bin/exiftool";
/** Where packages are found, whether this is compiled or not. */
const checkout = fileURLToPath(
  new URL(import.meta.url.includes("/dist/") ? "../../.." : "../..", import.meta.url),
);

/** Makes the sidecar or changes it; properties that aren't named stay. */
export function writeSidecar(path: string, values: SidecarValues): void {
  const tags = Object.entries(values).map(([name, value]) => `-XMP:${name}=${value}`);
  const over = existsSync(path) ? ["-overwrite_original"] : [];
  execFileSync(exiftool, ["-q", ...over, ...tags, path], { stdio: ["ignore", "ignore", "pipe"] });
}

/** Writes metadata into a picture itself. */
export function writeInto(picture: string, artist: string): void {
  execFileSync(exiftool, ["-q", "-overwrite_original", `-Artist=${artist}`, picture], { stdio: "ignore" });
}

/** What a sidecar says, by exiftool. */
export function readSidecar(path: string): SidecarValues {
  const said = execFileSync(exiftool, ["-j", "-XMP:Rating", "-XMP:Label", "-XMP:Subject", path], {
    encoding: "utf8",
  });
  const [{ SourceFile: _, ...values } = {}] = JSON.parse(said) as [Record<string, unknown>?];
  return values as SidecarValues;
}

/**
 * A catalogue's database: each transaction adds to two tables and keeps their sum, so that a copy taken in the middle
 * of one is seen by its contents as well as by its pages.
 */
const writer = `
import Database from "better-sqlite3";
const [path, seconds, blob] = process.argv.slice(1);
const pause = (ms) => Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, ms);
const base = new Database(path);
base.pragma("journal_mode = DELETE");
base.exec("CREATE TABLE IF NOT EXISTS left_side (n INTEGER PRIMARY KEY, v BLOB)");
base.exec("CREATE TABLE IF NOT EXISTS right_side (n INTEGER PRIMARY KEY, v BLOB)");
const end = performance.now() + Number(seconds) * 1000;
do {
  base.exec("BEGIN IMMEDIATE");
  base.exec("INSERT INTO left_side (v) VALUES (randomblob(" + Number(blob) + "))");
  pause(20);
  base.exec("INSERT INTO right_side (v) VALUES (randomblob(" + Number(blob) + "))");
  base.exec("COMMIT");
  pause(50);
} while (performance.now() < end);
base.close();
`;

/** Writes to the catalogue for so long, and ends by itself. @returns when it has ended */
export function writeCatalogue(database: string, seconds: number): Promise<void> {
  mkdirSync(dirname(database), { recursive: true });
  const words = ["--input-type=module", "-e", writer, database, String(seconds), "20000"];
  const child = spawn(process.execPath, words, { cwd: checkout, stdio: ["ignore", "ignore", "inherit"] });
  return new Promise((resolve, reject) => {
    child.once("error", reject);
    child.once("exit", (code) =>
      code === 0 ? resolve() : reject(new Error(`the writer ended with ${code}`)),
    );
  });
}

/** Something large that a catalogue keeps beside its database. */
export function writePreview(catalogue: string, name: string, bytes: number): void {
  const path = join(catalogue, name);
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, Buffer.alloc(bytes, name));
}

/** What a database holds by the sqlite3 tool; throws where it isn't whole. */
export function rowsOf(database: string): number {
  const ask = (sql: string) =>
    execFileSync("sqlite3", ["-readonly", database, sql], { encoding: "utf8" }).trim();
  const whole = ask("PRAGMA integrity_check");
  if (whole !== "ok") throw new Error(`${database} is torn: ${whole}`);
  const [left, right] = ask("SELECT count(*) FROM left_side UNION ALL SELECT count(*) FROM right_side").split(
    "\n",
  );
  if (left !== right)
    throw new Error(`${database} was taken in the middle of a change: ${left} and ${right}`);
  return Number(left);
}
