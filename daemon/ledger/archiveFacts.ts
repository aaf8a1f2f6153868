/**
 * What follows from facts about archives, homecomings and drives that were freed, and the tables that hold it. Applied
 * in any order, the same facts give the same rows.
 */

import type { ArchivedFact, DriveRetiredFact, HomeFact } from "../../shared/facts.ts";
import { storePath } from "./rows.ts";
import type { Statements } from "./statements.ts";

/** A part of the ledger's fourth shape. */
export const archiveTables = `
  -- From facts.
  CREATE TABLE archive_files (
    archive TEXT NOT NULL,
    trip TEXT NOT NULL,
    path TEXT NOT NULL,
    hash TEXT NOT NULL,
    size INTEGER NOT NULL,
    at INTEGER NOT NULL,
    PRIMARY KEY (archive, trip, path, hash, size)
  ) STRICT, WITHOUT ROWID;
  CREATE INDEX archive_files_by_content ON archive_files (trip, hash, size);
  CREATE TABLE homecomings (
    trip TEXT NOT NULL,
    at INTEGER NOT NULL,
    complete INTEGER NOT NULL,
    archives TEXT NOT NULL,
    PRIMARY KEY (trip, at, complete, archives)
  ) STRICT, WITHOUT ROWID;
  CREATE TABLE retired_drives (
    trip TEXT NOT NULL,
    drive TEXT NOT NULL,
    PRIMARY KEY (trip, drive)
  ) STRICT, WITHOUT ROWID;
  -- Of this computer alone.
  CREATE TABLE archive_places (
    folder TEXT NOT NULL PRIMARY KEY,
    archive TEXT NOT NULL,
    fs_id TEXT NOT NULL
  ) STRICT;
  CREATE TABLE archive_trees (
    archive TEXT NOT NULL,
    trip TEXT NOT NULL,
    tree TEXT NOT NULL,
    PRIMARY KEY (archive, trip)
  ) STRICT, WITHOUT ROWID;
  CREATE TABLE archive_seen (
    archive TEXT NOT NULL,
    trip TEXT NOT NULL,
    path TEXT NOT NULL,
    hash TEXT NOT NULL,
    size INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    at INTEGER NOT NULL,
    PRIMARY KEY (archive, trip, path)
  ) STRICT, WITHOUT ROWID;
  CREATE TABLE receipts (
    trip TEXT NOT NULL PRIMARY KEY,
    at INTEGER NOT NULL,
    json TEXT NOT NULL
  ) STRICT;
  CREATE TABLE reusable_drives (
    trip TEXT NOT NULL,
    drive TEXT NOT NULL,
    mark TEXT NOT NULL,
    PRIMARY KEY (trip, drive)
  ) STRICT, WITHOUT ROWID;
`;

export function takeArchiveFact(sql: Statements, fact: ArchivedFact | HomeFact | DriveRetiredFact): void {
  switch (fact.kind) {
    case "archived":
      for (const { path, hash, size } of fact.files)
        sql.run(
          `INSERT INTO archive_files (archive, trip, path, hash, size, at) VALUES (?, ?, ?, ?, ?, ?)
           ON CONFLICT (archive, trip, path, hash, size) DO UPDATE SET at = max(at, excluded.at)`,
          fact.archive,
          fact.trip,
          storePath(path),
          hash,
          size,
          fact.at,
        );
      return;
    case "home":
      sql.run(
        "INSERT OR IGNORE INTO homecomings (trip, at, complete, archives) VALUES (?, ?, ?, ?)",
        fact.trip,
        fact.at,
        fact.complete ? 1 : 0,
        JSON.stringify(fact.archives),
      );
      return;
    case "drive-retired":
      sql.run("INSERT OR IGNORE INTO retired_drives (trip, drive) VALUES (?, ?)", fact.trip, fact.drive);
      // What it held of this trip counts no more, whatever is still learnt of it: for this trip it is as a lost one.
      sql.run("INSERT OR IGNORE INTO lost_drives (trip, drive) VALUES (?, ?)", fact.trip, fact.drive);
      sql.run("UPDATE copy_facts SET lost = 1 WHERE trip = ? AND drive = ?", fact.trip, fact.drive);
      for (const table of ["copies", "losses"])
        sql.run(`DELETE FROM ${table} WHERE trip = ? AND drive = ?`, fact.trip, fact.drive);
      return;
  }
}
