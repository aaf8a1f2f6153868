/**
 * Work files that a program has open, told by what stands beside them: SQLite's own files (SQLite, File Format 4 and
 * WAL-mode File Format: `-wal`, `-shm`, `-journal`) and lock files (`.lock`: common practice, no source).
 */

import { nameKey, type RelativePath } from "../../shared/identity.ts";

const beside = /(?:-wal|-shm|-journal|\.lock)$/i;

/** Whether a file is there only while a program works on another one. */
export const isBeside = (path: string): boolean => beside.test(path);

/** Of these files those that are open, each with what shows it. */
export function openFiles(paths: readonly RelativePath[]): ReadonlyMap<RelativePath, RelativePath> {
  const held = new Map(
    paths.filter(isBeside).map((path) => [nameKey(path.replace(beside, "")), path] as const),
  );
  const open = new Map<RelativePath, RelativePath>();
  for (const path of paths) {
    const by = isBeside(path) ? undefined : held.get(nameKey(path));
    if (by !== undefined) open.set(path, by);
  }
  return open;
}
