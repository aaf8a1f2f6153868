/** Work files on the bench's drives: put there as a program does, and what is made of them. */

import { existsSync, mkdirSync, readdirSync, readFileSync, utimesSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import type { Bench, Wrap } from "./bench.ts";
import { evening, tripBench, tripId } from "./pictures.ts";

const folder = "Kestrel Cliffs";

/** Where a work file stands on a drive that is plugged in. */
export const onDrive = (bench: Bench, drive: string, path: string): string =>
  join(bench.practice, drive, folder, path);

/** The same on a drive that is away. */
export const onAway = (bench: Bench, drive: string, path: string): string =>
  join(bench.aside, drive, folder, path);

/** Where a drive keeps the earlier versions of a work file. */
export const earlierOf = (bench: Bench, drive: string, path: string): string =>
  join(bench.practice, drive, ".scrubjay/trips", tripId, "earlier", path);

export function put(path: string, content: string, modified?: Date): void {
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, content);
  if (modified !== undefined) utimesSync(path, modified, modified);
}

/** "" where nothing stands. */
export const contentOf = (path: string): string => (existsSync(path) ? readFileSync(path, "utf8") : "");

/** Contents of the earlier versions that a drive keeps of a work file, in the order of their names. */
export function historyOf(bench: Bench, drive: string, path: string): readonly string[] {
  const kept = earlierOf(bench, drive, path);
  if (!existsSync(kept)) return [];
  return readdirSync(kept)
    .sort()
    .map((name) => readFileSync(join(kept, name), "utf8"));
}

/** Until what was just written is seen, and nothing is left to do. */
export async function settled(bench: Bench): Promise<void> {
  for (const drive of bench.engine.presence.drives) bench.engine.edits.lookAgain(drive.id);
  await bench.idle();
}

/** Blue, Slate and Rust are in, and hold three pictures. */
export async function threeDrives(wrap?: Wrap): Promise<Bench> {
  const bench = await tripBench(["Blue", "Slate", "Rust"], 2, wrap);
  await evening(bench, "CARD", [1, 2, 3]);
  return bench;
}
