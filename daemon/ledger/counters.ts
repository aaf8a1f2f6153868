/**
 * Counts that are kept as copies come and go, so that how a trip stands is told at once, however many files it has. A part
 * of a migration step (`migrations.ts`): once released it is never changed.
 *
 * Invariant: every count equals what counting anew gives, after each statement. SQLite itself keeps them, whoever
 * writes: triggers see every insert, update and delete, and those of REPLACE too as long as `recursive_triggers` is on
 * (SQLite, "CREATE TRIGGER" and "PRAGMA recursive_triggers"). What no count could follow is refused: an original or a
 * copy that becomes another one, an original that goes.
 *
 * A drive counts when it was plugged in here at least once and isn't lost.
 */

const counts = (row: "NEW" | "OLD" | "d"): string => `(${row}.seen = 1 AND ${row}.lost IS NULL)`;

/** 1 if the copy's drive counts, else 0. */
const holds = (row: "NEW" | "OLD"): string =>
  `EXISTS (SELECT 1 FROM drives d WHERE d.id = ${row}.drive AND ${counts("d")})`;

/** Adds to a trip's originals that so many drives hold. `values` are trip, holders, files, size and frames. */
const addHeld = (values: string): string => `
    INSERT INTO held (trip, holders, files, size, frames) ${values}
    ON CONFLICT (trip, holders) DO UPDATE
      SET files = files + excluded.files, size = size + excluded.size, frames = frames + excluded.frames;`;

/** The fewest holders among the other files of the original's frame; NULL if it has no other. */
const ofOthers =
  "(SELECT min(o.holders) FROM originals o WHERE o.trip = NEW.trip AND o.frame = NEW.frame AND o.id <> NEW.id)";

/** The shooting day of an original's frame, which never becomes another one; "" for what is none. */
const dayOf = "coalesce((SELECT f.day FROM frames f WHERE f.id = o.frame), '')";

/** Adds to what a drive holds of a day of a trip. A copy's trip is that of its original. */
const addShare = (row: "NEW" | "OLD", sign: "" | "-"): string => `
    INSERT INTO shares (trip, drive, day, files, size, direct, remount, cache)
      SELECT o.trip, ${row}.drive, ${dayOf}, ${sign}1, ${sign}o.size, ${sign}(${row}.read_back = 'direct'),
        ${sign}(${row}.read_back = 'remount'), ${sign}(${row}.read_back = 'cache')
      FROM originals o WHERE o.id = ${row}.original
    ON CONFLICT (trip, drive, day) DO UPDATE
      SET files = files + excluded.files, size = size + excluded.size, direct = direct + excluded.direct,
        remount = remount + excluded.remount, cache = cache + excluded.cache;`;

const ofDrive = (row: "NEW" | "OLD"): string =>
  `id IN (SELECT c.original FROM copies c WHERE c.drive = ${row}.id)`;

export const countersStep = `
  -- On how many drives an original has a copy, and on how many of those that count.
  ALTER TABLE originals ADD COLUMN copies INTEGER NOT NULL DEFAULT 0;
  ALTER TABLE originals ADD COLUMN holders INTEGER NOT NULL DEFAULT 0;
  UPDATE originals SET
    copies = (SELECT count(*) FROM copies c WHERE c.original = originals.id),
    holders = (SELECT count(*) FROM copies c JOIN drives d ON d.id = c.drive
      WHERE c.original = originals.id AND ${counts("d")});
  CREATE INDEX originals_nowhere ON originals (trip) WHERE copies = 0;

  -- Files of a trip by how many drives that count hold them; a frame stands where the file stands that the fewest hold.
  CREATE TABLE held (
    trip TEXT NOT NULL,
    holders INTEGER NOT NULL,
    files INTEGER NOT NULL,
    size INTEGER NOT NULL,
    frames INTEGER NOT NULL,
    PRIMARY KEY (trip, holders)
  ) STRICT, WITHOUT ROWID;
  INSERT INTO held (trip, holders, files, size, frames)
    SELECT trip, holders, sum(files), sum(size), sum(frames) FROM (
      SELECT trip, holders, 1 AS files, size, 0 AS frames FROM originals
      UNION ALL
      SELECT trip, min(holders), 0, 0, 1 FROM originals WHERE frame IS NOT NULL GROUP BY trip, frame
    ) GROUP BY trip, holders;

  -- What each drive holds of a trip's days, whether it counts or not.
  CREATE TABLE shares (
    trip TEXT NOT NULL,
    drive TEXT NOT NULL,
    day TEXT NOT NULL,
    files INTEGER NOT NULL,
    size INTEGER NOT NULL,
    direct INTEGER NOT NULL,
    remount INTEGER NOT NULL,
    cache INTEGER NOT NULL,
    PRIMARY KEY (trip, drive, day)
  ) STRICT, WITHOUT ROWID;
  INSERT INTO shares (trip, drive, day, files, size, direct, remount, cache)
    SELECT o.trip, c.drive, ${dayOf}, count(*), sum(o.size), sum(c.read_back = 'direct'), sum(c.read_back = 'remount'),
      sum(c.read_back = 'cache')
    FROM copies c JOIN originals o ON o.id = c.original GROUP BY o.trip, c.drive, 3;

  CREATE TRIGGER original_comes AFTER INSERT ON originals BEGIN
    ${addHeld("VALUES (NEW.trip, NEW.holders, 1, NEW.size, 0)")}
    ${addHeld(`SELECT NEW.trip, ${ofOthers}, 0, 0, -1 WHERE NEW.frame IS NOT NULL AND ${ofOthers} IS NOT NULL`)}
    ${addHeld(`SELECT NEW.trip, min(NEW.holders, coalesce(${ofOthers}, NEW.holders)), 0, 0, 1
      WHERE NEW.frame IS NOT NULL`)}
  END;
  CREATE TRIGGER original_is_held AFTER UPDATE OF holders ON originals WHEN OLD.holders <> NEW.holders BEGIN
    ${addHeld("VALUES (NEW.trip, OLD.holders, -1, -NEW.size, 0)")}
    ${addHeld("VALUES (NEW.trip, NEW.holders, 1, NEW.size, 0)")}
    ${addHeld(`SELECT NEW.trip, min(OLD.holders, coalesce(${ofOthers}, OLD.holders)), 0, 0, -1
      WHERE NEW.frame IS NOT NULL`)}
    ${addHeld(`SELECT NEW.trip, min(NEW.holders, coalesce(${ofOthers}, NEW.holders)), 0, 0, 1
      WHERE NEW.frame IS NOT NULL`)}
  END;
  CREATE TRIGGER original_stays BEFORE DELETE ON originals BEGIN
    SELECT RAISE(ABORT, 'an original never goes');
  END;
  CREATE TRIGGER original_stays_itself BEFORE UPDATE OF id, trip, size, frame ON originals BEGIN
    SELECT RAISE(ABORT, 'an original never becomes another one');
  END;

  CREATE TRIGGER copy_comes AFTER INSERT ON copies BEGIN
    ${addShare("NEW", "")}
    UPDATE originals SET copies = copies + 1, holders = holders + ${holds("NEW")} WHERE id = NEW.original;
  END;
  CREATE TRIGGER copy_goes AFTER DELETE ON copies BEGIN
    ${addShare("OLD", "-")}
    UPDATE originals SET copies = copies - 1, holders = holders - ${holds("OLD")} WHERE id = OLD.original;
  END;
  CREATE TRIGGER copy_is_read_back AFTER UPDATE OF read_back ON copies WHEN OLD.read_back <> NEW.read_back BEGIN
    ${addShare("OLD", "-")}
    ${addShare("NEW", "")}
  END;
  CREATE TRIGGER copy_stays_itself BEFORE UPDATE OF original, drive ON copies BEGIN
    SELECT RAISE(ABORT, 'a copy never becomes another one');
  END;

  CREATE TRIGGER drive_comes AFTER INSERT ON drives WHEN ${counts("NEW")} BEGIN
    UPDATE originals SET holders = holders + 1 WHERE ${ofDrive("NEW")};
  END;
  CREATE TRIGGER drive_counts_or_not AFTER UPDATE OF seen, lost ON drives WHEN ${counts("OLD")} <> ${counts("NEW")} BEGIN
    UPDATE originals SET holders = holders + ${counts("NEW")} - ${counts("OLD")} WHERE ${ofDrive("NEW")};
  END;
  CREATE TRIGGER drive_goes AFTER DELETE ON drives WHEN ${counts("OLD")} BEGIN
    UPDATE originals SET holders = holders - 1 WHERE ${ofDrive("OLD")};
  END;
  CREATE TRIGGER drive_stays_itself BEFORE UPDATE OF id ON drives BEGIN
    SELECT RAISE(ABORT, 'a drive never becomes another one');
  END;
`;
