/**
 * The ledger's shape, in numbered steps. A step that has been released is never changed; a new shape is a new step.
 * `PRAGMA user_version` says how many were taken.
 *
 * Paths are text. One with bytes that aren't UTF-8 is stored as JSON (see `rows.ts`), so every name survives.
 */

import { archiveTables } from "./archiveFacts.ts";
import { countersStep } from "./counters.ts";
import { editTables } from "./editFacts.ts";

export const migrations: readonly string[] = [
  `
  CREATE TABLE facts (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    trip TEXT NOT NULL,
    json TEXT NOT NULL
  ) STRICT;
  CREATE INDEX facts_of_trip ON facts (trip, seq);

  CREATE TABLE trips (
    id TEXT PRIMARY KEY,
    folder TEXT NOT NULL,
    profile TEXT NOT NULL,
    at INTEGER NOT NULL
  ) STRICT;

  CREATE TABLE drives (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    fs_id TEXT NOT NULL,
    last_seen INTEGER NOT NULL
  ) STRICT;

  CREATE TABLE trip_drives (
    trip TEXT NOT NULL,
    drive TEXT NOT NULL,
    name TEXT NOT NULL,
    PRIMARY KEY (trip, drive)
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE cards (
    id TEXT PRIMARY KEY,
    label TEXT NOT NULL,
    first_seen INTEGER NOT NULL,
    last_seen INTEGER NOT NULL,
    surveyed INTEGER,
    assigned TEXT,
    dismissed INTEGER
  ) STRICT;

  CREATE TABLE card_trips (
    card TEXT NOT NULL,
    trip TEXT NOT NULL,
    number INTEGER NOT NULL,
    at INTEGER NOT NULL,
    PRIMARY KEY (card, trip)
  ) STRICT;

  CREATE TABLE visits (
    card TEXT NOT NULL,
    at INTEGER NOT NULL,
    PRIMARY KEY (card, at)
  ) STRICT;

  CREATE TABLE card_files (
    card TEXT NOT NULL,
    path TEXT NOT NULL,
    size INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    role TEXT NOT NULL,
    frame TEXT NOT NULL,
    why TEXT NOT NULL,
    PRIMARY KEY (card, path)
  ) STRICT;

  CREATE TABLE originals (
    id TEXT PRIMARY KEY,
    trip TEXT NOT NULL,
    hash TEXT NOT NULL,
    size INTEGER NOT NULL,
    path TEXT NOT NULL,
    path_key TEXT NOT NULL,
    role TEXT NOT NULL,
    frame TEXT,
    at INTEGER NOT NULL,
    UNIQUE (trip, path_key)
  ) STRICT;
  CREATE INDEX originals_by_content ON originals (trip, hash, size);
  CREATE INDEX originals_of_frame ON originals (trip, frame);

  CREATE TABLE frames (
    id TEXT PRIMARY KEY,
    trip TEXT NOT NULL,
    stem TEXT NOT NULL,
    stem_key TEXT NOT NULL,
    key TEXT NOT NULL,
    count INTEGER NOT NULL,
    day TEXT NOT NULL,
    letter TEXT NOT NULL,
    serial TEXT NOT NULL,
    model TEXT NOT NULL,
    taken TEXT NOT NULL,
    UNIQUE (trip, stem_key)
  ) STRICT;
  CREATE INDEX frames_by_key ON frames (trip, key);

  CREATE TABLE sightings (
    card TEXT NOT NULL,
    path TEXT NOT NULL,
    size INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    ends TEXT NOT NULL,
    original TEXT NOT NULL,
    at INTEGER NOT NULL,
    PRIMARY KEY (card, path)
  ) STRICT;
  CREATE INDEX sightings_of_original ON sightings (original);

  CREATE TABLE copies (
    original TEXT NOT NULL,
    drive TEXT NOT NULL,
    trip TEXT NOT NULL,
    path TEXT NOT NULL,
    path_key TEXT NOT NULL,
    read_back TEXT NOT NULL,
    at INTEGER NOT NULL,
    PRIMARY KEY (original, drive)
  ) STRICT, WITHOUT ROWID;
  CREATE INDEX copies_on_drive ON copies (drive, trip, path_key);

  CREATE TABLE faults (
    medium TEXT NOT NULL,
    path TEXT NOT NULL,
    code TEXT NOT NULL,
    detail TEXT NOT NULL,
    at INTEGER NOT NULL,
    PRIMARY KEY (medium, path, code)
  ) STRICT;

  CREATE TABLE alerts (
    code TEXT NOT NULL,
    about TEXT NOT NULL,
    severity TEXT NOT NULL,
    happened TEXT NOT NULL,
    safe TEXT NOT NULL,
    next TEXT NOT NULL,
    since INTEGER NOT NULL,
    PRIMARY KEY (code, about)
  ) STRICT;

  CREATE TABLE said (key TEXT PRIMARY KEY, at INTEGER NOT NULL) STRICT;

  CREATE TABLE events (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    at INTEGER NOT NULL,
    kind TEXT NOT NULL,
    about TEXT NOT NULL,
    text TEXT NOT NULL
  ) STRICT;
  `,
  // Copies are lost by naming their facts; they are checked again; drives are lost; what a card gave may be damaged.
  `
  ALTER TABLE sightings ADD COLUMN damage TEXT NOT NULL DEFAULT '';
  ALTER TABLE sightings ADD COLUMN accepted INTEGER NOT NULL DEFAULT 0;

  ALTER TABLE cards ADD COLUMN total_bytes INTEGER NOT NULL DEFAULT 0;
  ALTER TABLE cards ADD COLUMN cleared INTEGER;
  CREATE TABLE vanished (
    card TEXT NOT NULL,
    path TEXT NOT NULL,
    size INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    at INTEGER NOT NULL,
    PRIMARY KEY (card, path, size, modified)
  ) STRICT, WITHOUT ROWID;

  ALTER TABLE drives ADD COLUMN lost INTEGER;
  ALTER TABLE drives ADD COLUMN seen INTEGER NOT NULL DEFAULT 1;
  CREATE TABLE lost_drives (
    trip TEXT NOT NULL,
    drive TEXT NOT NULL,
    PRIMARY KEY (trip, drive)
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE copy_facts (
    id TEXT PRIMARY KEY,
    original TEXT NOT NULL,
    drive TEXT NOT NULL,
    trip TEXT NOT NULL,
    path TEXT NOT NULL,
    read_back TEXT NOT NULL,
    at INTEGER NOT NULL,
    lost INTEGER NOT NULL DEFAULT 0
  ) STRICT, WITHOUT ROWID;
  CREATE INDEX copy_facts_of ON copy_facts (original, drive, lost, at DESC, id);
  INSERT INTO copy_facts (id, original, drive, trip, path, read_back, at, lost)
    SELECT f.id, f.json ->> '$.original', f.json ->> '$.drive', f.trip, coalesce(c.path, f.json ->> '$.path'),
      f.json ->> '$.readBack', f.json ->> '$.at', c.original IS NULL OR c.at > f.json ->> '$.at'
    FROM facts f LEFT JOIN copies c ON c.original = f.json ->> '$.original' AND c.drive = f.json ->> '$.drive'
    WHERE f.json ->> '$.kind' = 'copy';
  CREATE TABLE lost_facts (id TEXT PRIMARY KEY) STRICT, WITHOUT ROWID;

  CREATE TABLE losses (
    drive TEXT NOT NULL,
    trip TEXT NOT NULL,
    path TEXT NOT NULL,
    path_key TEXT NOT NULL,
    original TEXT NOT NULL,
    why TEXT NOT NULL,
    found_hash TEXT,
    found_size INTEGER,
    at INTEGER NOT NULL,
    PRIMARY KEY (drive, trip, path_key)
  ) STRICT, WITHOUT ROWID;

  ALTER TABLE copies ADD COLUMN checked INTEGER NOT NULL DEFAULT 0;
  UPDATE copies SET checked = at;
  CREATE INDEX copies_by_check ON copies (drive, trip, checked);

  CREATE TABLE owner (id TEXT NOT NULL) STRICT;
  `,
  // Frames are shown in order, looked at and rated; files are counted as their copies come and go.
  `
  ALTER TABLE frames ADD COLUMN moment INTEGER NOT NULL DEFAULT 0;
  UPDATE frames SET moment = CAST(taken ->> '$.instant' AS INTEGER);
  CREATE INDEX frames_in_order ON frames (trip, day, moment, stem_key, id);

  CREATE TABLE days (
    trip TEXT NOT NULL,
    day TEXT NOT NULL,
    frames INTEGER NOT NULL,
    files INTEGER NOT NULL,
    size INTEGER NOT NULL,
    PRIMARY KEY (trip, day)
  ) STRICT, WITHOUT ROWID;
  INSERT INTO days (trip, day, frames, files, size)
    SELECT f.trip, f.day, count(DISTINCT f.id), count(o.id), coalesce(sum(o.size), 0)
    FROM frames f LEFT JOIN originals o ON o.trip = f.trip AND o.frame = f.id GROUP BY f.trip, f.day;

  CREATE TABLE looks (
    frame TEXT PRIMARY KEY,
    trip TEXT NOT NULL,
    fine INTEGER NOT NULL,
    at INTEGER NOT NULL
  ) STRICT, WITHOUT ROWID;
  CREATE INDEX looks_in_doubt ON looks (frame) WHERE fine = 0;

  CREATE TABLE sidecars (
    frame TEXT PRIMARY KEY,
    path TEXT NOT NULL,
    size INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    hash TEXT NOT NULL,
    rating REAL
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE rating_intents (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    drive TEXT NOT NULL,
    trip TEXT NOT NULL,
    path TEXT NOT NULL,
    earlier TEXT,
    temp TEXT NOT NULL
  ) STRICT;
  ${countersStep}
  `,
  // Work files with their versions; archives, and what they hold.
  `${editTables}${archiveTables}`,
];
