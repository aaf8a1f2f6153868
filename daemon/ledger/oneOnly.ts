/**
 * One daemon at a time for one home, since two would write to the same drives, and one tray. The lock is an exclusive transaction on a
 * small database of its own, so the operating system lets it go when the process ends, however it ends.
 */

import Database from "better-sqlite3";

export interface HeldLock {
  release(): void;
}

/** @returns undefined when another process holds it. */
export function holdLock(file: string): HeldLock | undefined {
  const db = new Database(file, { timeout: 500 });
  try {
    db.exec("BEGIN EXCLUSIVE");
  } catch (error) {
    db.close();
    if (error instanceof Database.SqliteError && error.code.startsWith("SQLITE_BUSY")) return undefined;
    throw error;
  }
  return { release: () => db.close() };
}
