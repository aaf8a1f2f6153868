/**
 * What follows from facts about work files, and the tables that hold it. Applied in any order, the same facts give the
 * same rows.
 */

import type { EditCopyFact, EditFact, EditSeenFact } from "../../shared/facts.ts";
import { nameKey } from "../../shared/identity.ts";
import { storePath } from "./rows.ts";
import type { Statements } from "./statements.ts";

/** A part of the ledger's fourth shape. `head`: no version that is known follows it. */
export const editTables = `
  CREATE TABLE edits (
    id TEXT PRIMARY KEY,
    trip TEXT NOT NULL,
    path TEXT NOT NULL,
    path_key TEXT NOT NULL,
    hash TEXT NOT NULL,
    size INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    at INTEGER NOT NULL,
    drive TEXT NOT NULL,
    head INTEGER NOT NULL
  ) STRICT, WITHOUT ROWID;
  CREATE INDEX edits_of_path ON edits (trip, path_key);
  CREATE INDEX edit_heads ON edits (trip, path_key) WHERE head = 1;

  CREATE TABLE edit_follows (
    before TEXT NOT NULL,
    edit TEXT NOT NULL,
    PRIMARY KEY (before, edit)
  ) STRICT, WITHOUT ROWID;
  CREATE INDEX edit_follows_of ON edit_follows (edit);

  CREATE TABLE edit_copies (
    edit TEXT NOT NULL,
    drive TEXT NOT NULL,
    trip TEXT NOT NULL,
    PRIMARY KEY (edit, drive)
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE edit_seen (edit TEXT PRIMARY KEY) STRICT, WITHOUT ROWID;

  CREATE TABLE edit_looks (
    drive TEXT NOT NULL,
    trip TEXT NOT NULL,
    path_key TEXT NOT NULL,
    path TEXT NOT NULL,
    size INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    hash TEXT NOT NULL,
    PRIMARY KEY (drive, trip, path_key)
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE edit_swaps (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    drive TEXT NOT NULL,
    trip TEXT NOT NULL,
    path TEXT NOT NULL,
    earlier TEXT,
    temp TEXT,
    size INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    unit TEXT NOT NULL
  ) STRICT;
`;

/** @param id the fact's own name */
export function takeEditFact(
  sql: Statements,
  id: string,
  fact: EditFact | EditCopyFact | EditSeenFact,
): void {
  switch (fact.kind) {
    case "edit":
      sql.run(
        `INSERT OR IGNORE INTO edits (id, trip, path, path_key, hash, size, modified, at, drive, head)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, NOT EXISTS (SELECT 1 FROM edit_follows WHERE before = ?))`,
        id,
        fact.trip,
        storePath(fact.path),
        storePath(nameKey(fact.path)),
        fact.hash,
        fact.size,
        fact.modified,
        fact.at,
        fact.drive,
        id,
      );
      for (const before of fact.after) {
        sql.run("INSERT OR IGNORE INTO edit_follows (before, edit) VALUES (?, ?)", before, id);
        sql.run("UPDATE edits SET head = 0 WHERE id = ? AND head = 1", before);
      }
      return;
    case "edit-copy":
      // What a lost drive held counts no more, whatever is learnt of it later.
      sql.run(
        `INSERT OR IGNORE INTO edit_copies (edit, drive, trip)
         SELECT ?, ?, ? WHERE NOT EXISTS (SELECT 1 FROM lost_drives WHERE trip = ? AND drive = ?)`,
        fact.edit,
        fact.drive,
        fact.trip,
        fact.trip,
        fact.drive,
      );
      return;
    case "edit-seen":
      sql.run("INSERT OR IGNORE INTO edit_seen (edit) VALUES (?)", fact.edit);
      return;
  }
}
