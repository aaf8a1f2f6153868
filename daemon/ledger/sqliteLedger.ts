/**
 * The ledger in SQLite. WAL with synchronous=FULL: what a method has returned from survives a power cut (SQLite,
 * PRAGMA synchronous; better-sqlite3 would choose NORMAL in WAL, which may lose the last commits).
 *
 * Not its job: deciding anything. It stores facts, keeps what follows from them in tables, and answers questions.
 */

import Database from "better-sqlite3";
import { z } from "zod";
import { assert } from "../../shared/brand.ts";
import type { Fact } from "../../shared/facts.ts";
import type { CardId, DriveId, FrameId, OriginalId, TripId } from "../../shared/identity.ts";
import { nameKey } from "../../shared/identity.ts";
import type { Alert } from "../../shared/problems.ts";
import { bytes, count, type Instant, instant } from "../../shared/units.ts";
import type {
  AlertRow,
  CardFile,
  CardFileState,
  CardRow,
  CopyRow,
  DriveRow,
  DriveShare,
  EncodedFact,
  Fault,
  LackingOriginal,
  Ledger,
  OriginalRow,
  Sighting,
  TripRow,
} from "../ports/ledger.ts";
import { migrations } from "./migrations.ts";
import {
  alertRow,
  cardFileRow,
  copiesOfRow,
  copyRow,
  driveRow,
  faultRow,
  originalRow,
  sightingRow,
  storePath,
} from "./rows.ts";

const columnsOfOriginal = `o.id, o.trip, o.hash, o.size, o.path, o.role, o.frame,
  f.stem, f.key, f.count, f.letter, f.serial, f.model, f.taken`;
const fromOriginals = "FROM originals o LEFT JOIN frames f ON f.id = o.frame";
const originalColumns = `${columnsOfOriginal} ${fromOriginals}`;

/** files. Cards whose files are kept in memory, so that asking how things stand takes no longer with each card: some 30 MB. */
const cachedFilesMost = 100_000;

export class SqliteLedger implements Ledger {
  readonly #db: Database.Database;
  readonly #statements = new Map<string, Database.Statement>();
  /** Files of cards as last asked, forgotten as soon as anything about one of them changes. */
  readonly #cardFiles = new Map<CardId, readonly CardFileState[]>();

  /**
   * Opens or makes the ledger and brings it to the newest shape.
   * @throws when the file isn't a ledger or is from a later Scrubjay.
   */
  constructor(file: string) {
    this.#db = new Database(file);
    this.#db.pragma("journal_mode = WAL");
    this.#db.pragma("synchronous = FULL");
    this.#db.pragma("foreign_keys = ON");
    this.#migrate();
  }

  /** The settings that durability rests on, read back from the connection. */
  durability(): { readonly journalMode: string; readonly synchronous: number } {
    return {
      journalMode: String(this.#db.pragma("journal_mode", { simple: true })),
      synchronous: Number(this.#db.pragma("synchronous", { simple: true })),
    };
  }

  apply(facts: readonly EncodedFact[]): void {
    this.#db.transaction(() => {
      for (const { id, json, fact } of facts) {
        const added = this.#run(
          "INSERT OR IGNORE INTO facts (id, trip, json) VALUES (?, ?, ?)",
          id,
          fact.trip,
          json,
        );
        if (added > 0) this.#project(fact);
      }
    })();
  }

  *factsOf(trip: TripId): Iterable<{ readonly id: string; readonly json: string }> {
    // In pages, so that no statement stays open while the caller writes.
    let after = 0;
    for (;;) {
      const page = this.#all(
        z.object({ seq: z.number(), id: z.string(), json: z.string() }),
        "SELECT seq, id, json FROM facts WHERE trip = ? AND seq > ? ORDER BY seq LIMIT 5000",
        trip,
        after,
      );
      yield* page;
      const last = page.at(-1);
      if (last === undefined) return;
      after = last.seq;
    }
  }

  trips(): readonly TripRow[] {
    return this.#all(
      z.object({ id: z.string(), folder: z.string(), profile: z.string() }),
      "SELECT id, folder, profile FROM trips ORDER BY id",
    ).map((row) => ({ ...row, id: row.id as TripId }));
  }

  drives(): readonly DriveRow[] {
    return this.#all(driveRow, "SELECT id, name, fs_id, last_seen FROM drives ORDER BY name");
  }

  nameInTrip(drive: DriveId, trip: TripId): string | undefined {
    return this.#all(
      z.object({ name: z.string() }),
      "SELECT name FROM trip_drives WHERE trip = ? AND drive = ?",
      trip,
      drive,
    )[0]?.name;
  }

  addDrive(drive: DriveRow): void {
    this.#run(
      `INSERT INTO drives (id, name, fs_id, last_seen) VALUES (?, ?, ?, ?)
       ON CONFLICT (id) DO UPDATE SET name = excluded.name, fs_id = excluded.fs_id, last_seen = excluded.last_seen`,
      drive.id,
      drive.name,
      drive.fsId,
      drive.lastSeen,
    );
  }

  driveSeen(drive: DriveId, at: Instant): void {
    this.#run("UPDATE drives SET last_seen = ? WHERE id = ?", at, drive);
  }

  cards(): readonly CardRow[] {
    return this.#cards("", []);
  }

  card(card: CardId): CardRow | undefined {
    return this.#cards("WHERE c.id = ?", [card])[0];
  }

  cardSeen(card: CardId, label: string, at: Instant): void {
    this.#db.transaction(() => {
      this.#run(
        `INSERT INTO cards (id, label, first_seen, last_seen) VALUES (?, ?, ?, ?)
         ON CONFLICT (id) DO UPDATE
           SET label = excluded.label, last_seen = excluded.last_seen, surveyed = NULL, dismissed = NULL`,
        card,
        label,
        at,
        at,
      );
      this.#run("INSERT OR IGNORE INTO visits (card, at) VALUES (?, ?)", card, at);
    })();
  }

  dismissCard(card: CardId, at: Instant): void {
    this.#run("UPDATE cards SET dismissed = ? WHERE id = ?", at, card);
  }

  assignCard(card: CardId, trip: TripId): void {
    this.#run("UPDATE cards SET assigned = ? WHERE id = ?", trip, card);
  }

  highestCardNumber(trip: TripId): number {
    return this.#number("SELECT coalesce(max(number), 0) FROM card_trips WHERE trip = ?", trip);
  }

  setCardFiles(card: CardId, files: readonly CardFile[], at: Instant): void {
    this.#cardFiles.delete(card);
    this.#db.transaction(() => {
      this.#run("DELETE FROM card_files WHERE card = ?", card);
      for (const file of files)
        this.#run(
          "INSERT INTO card_files (card, path, size, modified, role, frame, why) VALUES (?, ?, ?, ?, ?, ?, ?)",
          card,
          storePath(file.path),
          file.size,
          file.modified,
          file.role,
          file.frame,
          file.why,
        );
      this.#run("UPDATE cards SET surveyed = ? WHERE id = ?", at, card);
    })();
  }

  cardFiles(card: CardId): readonly CardFileState[] {
    const before = this.#cardFiles.get(card);
    if (before !== undefined) return before;
    const files = this.#readCardFiles(card);
    let kept = files.length;
    for (const [other, theirs] of this.#cardFiles) {
      kept += theirs.length;
      if (kept > cachedFilesMost) this.#cardFiles.delete(other);
    }
    this.#cardFiles.set(card, files);
    return files;
  }

  #readCardFiles(card: CardId): readonly CardFileState[] {
    const rows = this.#raw(
      `SELECT cf.path, cf.size, cf.modified, cf.role, cf.frame, cf.why, s.original, o.trip,
         (SELECT group_concat(c.drive) FROM copies c WHERE c.original = s.original) AS drives,
         (SELECT group_concat(c.drive) FROM copies c
           WHERE c.original = s.original AND c.read_back = 'cache') AS unsure
       FROM card_files cf
       LEFT JOIN sightings s ON s.card = cf.card AND s.path = cf.path
         AND s.size = cf.size AND s.modified = cf.modified
       LEFT JOIN originals o ON o.id = s.original
       WHERE cf.card = ? ORDER BY cf.path`,
      card,
    );
    const known = z.object({
      original: z.string().nullable(),
      trip: z.string().nullable(),
      drives: z.string().nullable(),
      unsure: z.string().nullable(),
    });
    const list = (ids: string | null): DriveId[] => (ids === null ? [] : (ids.split(",") as DriveId[]));
    return rows.map((row) => {
      const { original, trip, drives, unsure } = known.parse(row);
      return {
        ...cardFileRow.parse(row),
        original: original === null ? undefined : (original as OriginalId),
        trip: trip === null ? undefined : (trip as TripId),
        drives: list(drives),
        unsure: list(unsure),
      };
    });
  }

  sightings(card: CardId): readonly Sighting[] {
    return this.#all(
      sightingRow,
      "SELECT path, size, modified, ends, original FROM sightings WHERE card = ?",
      card,
    );
  }

  forgetSighting(card: CardId, path: string): void {
    this.#cardFiles.delete(card);
    this.#run("DELETE FROM sightings WHERE card = ? AND path = ?", card, storePath(path));
  }

  original(id: OriginalId): OriginalRow | undefined {
    return this.#all(originalRow, `SELECT ${originalColumns} WHERE o.id = ?`, id)[0];
  }

  originalAt(trip: TripId, pathKey: string): OriginalRow | undefined {
    return this.#all(
      originalRow,
      `SELECT ${originalColumns} WHERE o.trip = ? AND o.path_key = ?`,
      trip,
      storePath(pathKey),
    )[0];
  }

  frameFilesByContent(trip: TripId, hash: string, size: number): readonly OriginalRow[] {
    return this.#all(
      originalRow,
      `SELECT ${originalColumns} WHERE o.trip = ? AND o.hash = ? AND o.size = ? AND o.role = 'frame' ORDER BY o.rowid`,
      trip,
      hash,
      size,
    );
  }

  frameFiles(trip: TripId, frame: FrameId): readonly OriginalRow[] {
    return this.#all(
      originalRow,
      `SELECT ${originalColumns} WHERE o.trip = ? AND o.frame = ? ORDER BY o.path_key`,
      trip,
      frame,
    );
  }

  framesByKey(trip: TripId, key: string): readonly FrameId[] {
    return this.#all(
      z.object({ id: z.string() }),
      "SELECT id FROM frames WHERE trip = ? AND key = ? ORDER BY rowid",
      trip,
      key,
    ).map((row) => row.id as FrameId);
  }

  frameByStem(trip: TripId, stemKey: string): FrameId | undefined {
    return this.#all(
      z.object({ id: z.string() }),
      "SELECT id FROM frames WHERE trip = ? AND stem_key = ?",
      trip,
      storePath(stemKey),
    )[0]?.id as FrameId | undefined;
  }

  letters(trip: TripId): ReadonlyMap<string, string> {
    const rows = this.#all(
      z.object({ serial: z.string(), letter: z.string() }),
      "SELECT serial, letter, min(rowid) FROM frames WHERE trip = ? GROUP BY serial",
      trip,
    );
    return new Map(rows.map((row) => [row.serial, row.letter]));
  }

  countsByDay(trip: TripId): ReadonlyMap<string, number> {
    const rows = this.#all(
      z.object({ day: z.string(), highest: z.number() }),
      "SELECT day, max(count) AS highest FROM frames WHERE trip = ? GROUP BY day",
      trip,
    );
    return new Map(rows.map((row) => [row.day, row.highest]));
  }

  copiesOn(drive: DriveId, trip: TripId): readonly CopyRow[] {
    return this.#all(
      copyRow,
      "SELECT original, drive, path, read_back, at FROM copies WHERE drive = ? AND trip = ? ORDER BY path",
      drive,
      trip,
    );
  }

  forgetCopy(original: OriginalId, drive: DriveId): void {
    this.#forgetCardsWith(original);
    this.#run("DELETE FROM copies WHERE original = ? AND drive = ?", original, drive);
  }

  hasCopy(original: OriginalId, drive: DriveId): boolean {
    return this.#number("SELECT count(*) FROM copies WHERE original = ? AND drive = ?", original, drive) > 0;
  }

  copyAt(drive: DriveId, trip: TripId, pathKey: string): OriginalId | undefined {
    return this.#all(
      z.object({ original: z.string() }),
      "SELECT original FROM copies WHERE drive = ? AND trip = ? AND path_key = ?",
      drive,
      trip,
      storePath(pathKey),
    )[0]?.original as OriginalId | undefined;
  }

  lackingOnSome(trip: TripId, drives: readonly DriveId[]): readonly LackingOriginal[] {
    const wanted = JSON.stringify(drives);
    const rows = this.#raw(
      `SELECT ${columnsOfOriginal},
         (SELECT json_group_array(json_array(c.drive, c.path)) FROM copies c WHERE c.original = o.id) AS copies
       ${fromOriginals}
       WHERE o.trip = ?
         AND EXISTS (SELECT 1 FROM copies c WHERE c.original = o.id)
         AND EXISTS (SELECT 1 FROM json_each(?) d
           WHERE NOT EXISTS (SELECT 1 FROM copies c WHERE c.original = o.id AND c.drive = d.value))
       ORDER BY (SELECT count(*) FROM copies c WHERE c.original = o.id), o.path_key`,
      trip,
      wanted,
    );
    return rows.map((row) => ({ original: originalRow.parse(row), copies: copiesOfRow.parse(row).copies }));
  }

  share(trip: TripId, drive: DriveId): DriveShare {
    const whole = z.number().int();
    const row = z
      .object({
        files: whole,
        size: whole,
        held: whole,
        held_size: whole,
        direct: whole,
        remount: whole,
        cache: whole,
        latest: whole.nullable(),
      })
      .parse(
        this.#raw(
          `SELECT count(*) AS files, coalesce(sum(o.size), 0) AS size,
             count(c.original) AS held,
             coalesce(sum(CASE WHEN c.original IS NULL THEN 0 ELSE o.size END), 0) AS held_size,
             coalesce(sum(c.read_back = 'direct'), 0) AS direct,
             coalesce(sum(c.read_back = 'remount'), 0) AS remount,
             coalesce(sum(c.read_back = 'cache'), 0) AS cache,
             max(c.at) AS latest
           FROM originals o LEFT JOIN copies c ON c.original = o.id AND c.drive = ?
           WHERE o.trip = ?`,
          drive,
          trip,
        )[0],
      );
    return {
      holdsFiles: count(row.held),
      holdsBytes: bytes(row.held_size),
      owedFiles: count(row.files - row.held),
      owedBytes: bytes(row.size - row.held_size),
      direct: count(row.direct),
      remount: count(row.remount),
      cache: count(row.cache),
      lastVerified: row.latest === null ? undefined : instant(row.latest),
    };
  }

  totals(trip: TripId, goal: number) {
    const whole = z.number().int();
    const row = z.object({ frames: whole, files: whole, at_goal: whole, files_at_goal: whole }).parse(
      this.#raw(
        `WITH reached AS (
           SELECT o.frame AS frame,
             (SELECT count(*) FROM copies c WHERE c.original = o.id) >= ? AS ok
           FROM originals o WHERE o.trip = ?
         )
         SELECT count(DISTINCT frame) AS frames, count(*) AS files,
           (SELECT count(*) FROM (SELECT frame FROM reached WHERE frame IS NOT NULL
             GROUP BY frame HAVING min(ok) = 1)) AS at_goal,
           coalesce(sum(ok), 0) AS files_at_goal
         FROM reached`,
        goal,
        trip,
      )[0],
    );
    return {
      frames: count(row.frames),
      files: count(row.files),
      atGoal: count(row.at_goal),
      filesAtGoal: count(row.files_at_goal),
    };
  }

  latestTripWithOriginals(): TripId | undefined {
    return this.#all(
      z.object({ trip: z.string() }),
      "SELECT trip FROM originals ORDER BY rowid DESC LIMIT 1",
    )[0]?.trip as TripId | undefined;
  }

  faults(): readonly Fault[] {
    return this.#all(faultRow, "SELECT medium, path, code, detail, at FROM faults ORDER BY medium, path");
  }

  setFault(fault: Fault): void {
    this.#run(
      "INSERT OR REPLACE INTO faults (medium, path, code, detail, at) VALUES (?, ?, ?, ?, ?)",
      fault.medium,
      storePath(fault.path),
      fault.code,
      fault.detail,
      fault.at,
    );
  }

  clearFaults(medium: CardId | DriveId, path?: string): void {
    if (path === undefined) this.#run("DELETE FROM faults WHERE medium = ?", medium);
    else this.#run("DELETE FROM faults WHERE medium = ? AND path = ?", medium, storePath(path));
  }

  alerts(): readonly AlertRow[] {
    return this.#all(
      alertRow,
      "SELECT code, about, severity, happened, safe, next, since FROM alerts ORDER BY since, code, about",
    );
  }

  setAlerts(alerts: readonly Alert[], at: Instant): readonly AlertRow[] {
    return this.#db.transaction(() => {
      const before = new Map(this.alerts().map((alert) => [`${alert.code} ${alert.about}`, alert]));
      const fresh: AlertRow[] = [];
      const unchanged = (old: AlertRow | undefined, alert: Alert): boolean =>
        old !== undefined &&
        old.happened === alert.happened &&
        old.safe === alert.safe &&
        old.next === alert.next &&
        old.severity === alert.severity;
      for (const alert of alerts) {
        const key = `${alert.code} ${alert.about}`;
        const old = before.get(key);
        before.delete(key);
        if (unchanged(old, alert)) continue;
        const row: AlertRow = { ...alert, since: old?.since ?? at };
        if (old === undefined) fresh.push(row);
        this.#run(
          `INSERT OR REPLACE INTO alerts (code, about, severity, happened, safe, next, since)
           VALUES (?, ?, ?, ?, ?, ?, ?)`,
          row.code,
          row.about,
          row.severity,
          row.happened,
          row.safe,
          row.next,
          row.since,
        );
      }
      for (const gone of before.values()) {
        this.#run("DELETE FROM alerts WHERE code = ? AND about = ?", gone.code, gone.about);
        // Should it come again, it is said again.
        this.#run("DELETE FROM said WHERE key = ?", `alert ${gone.code} ${gone.about}`);
      }
      return fresh;
    })();
  }

  sayOnce(key: string, at: Instant): boolean {
    return this.#run("INSERT OR IGNORE INTO said (key, at) VALUES (?, ?)", key, at) > 0;
  }

  note(kind: string, about: string, text: string, at: Instant): void {
    this.#run("INSERT INTO events (at, kind, about, text) VALUES (?, ?, ?, ?)", at, kind, about, text);
  }

  close(): void {
    this.#db.close();
  }

  #project(fact: Fact): void {
    switch (fact.kind) {
      case "trip":
        this.#run(
          `INSERT INTO trips (id, folder, profile, at) VALUES (?, ?, ?, ?)
           ON CONFLICT (id) DO UPDATE SET profile = excluded.profile, at = excluded.at`,
          fact.trip,
          fact.folder,
          fact.profile,
          fact.at,
        );
        return;
      case "drive":
        this.#run(
          "INSERT OR REPLACE INTO trip_drives (trip, drive, name) VALUES (?, ?, ?)",
          fact.trip,
          fact.drive,
          fact.name,
        );
        return;
      case "card":
        this.#run(
          "INSERT OR IGNORE INTO cards (id, label, first_seen, last_seen) VALUES (?, ?, ?, ?)",
          fact.card,
          fact.label,
          fact.at,
          fact.at,
        );
        this.#run(
          // The row that came last is the card's trip: clocks go back at times, row numbers don't.
          "INSERT OR REPLACE INTO card_trips (card, trip, number, at) VALUES (?, ?, ?, ?)",
          fact.card,
          fact.trip,
          fact.number,
          fact.at,
        );
        return;
      case "original":
        this.#projectOriginal(fact);
        return;
      case "sighting":
        this.#cardFiles.delete(fact.card);
        this.#run(
          `INSERT OR REPLACE INTO sightings (card, path, size, modified, ends, original, at)
           VALUES (?, ?, ?, ?, ?, ?, ?)`,
          fact.card,
          storePath(fact.path),
          fact.fingerprint.size,
          fact.fingerprint.modified,
          fact.fingerprint.ends,
          fact.original,
          fact.at,
        );
        return;
      case "copy":
        assert(
          this.#number("SELECT count(*) FROM originals WHERE id = ?", fact.original) === 1,
          "a copy is of an original that is known",
        );
        this.#forgetCardsWith(fact.original);
        this.#run(
          `INSERT OR REPLACE INTO copies (original, drive, trip, path, path_key, read_back, at)
           VALUES (?, ?, ?, ?, ?, ?, ?)`,
          fact.original,
          fact.drive,
          fact.trip,
          storePath(fact.path),
          storePath(nameKey(fact.path)),
          fact.readBack,
          fact.at,
        );
        return;
    }
  }

  #projectOriginal(fact: Extract<Fact, { kind: "original" }>): void {
    const { frame } = fact;
    if (frame !== undefined)
      this.#run(
        `INSERT OR IGNORE INTO frames (id, trip, stem, stem_key, key, count, day, letter, serial, model, taken)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
        frame.id,
        fact.trip,
        storePath(frame.stem),
        storePath(nameKey(frame.stem)),
        frame.key,
        frame.count,
        frame.taken.day,
        frame.letter,
        frame.serial,
        frame.model,
        JSON.stringify(frame.taken),
      );
    this.#run(
      `INSERT OR IGNORE INTO originals (id, trip, hash, size, path, path_key, role, frame, at)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
      fact.original,
      fact.trip,
      fact.hash,
      fact.size,
      storePath(fact.path),
      storePath(nameKey(fact.path)),
      fact.role,
      frame?.id ?? null,
      fact.at,
    );
  }

  /** What is known of a copy changes what is known of each card that showed its original. */
  #forgetCardsWith(original: OriginalId): void {
    if (this.#cardFiles.size === 0) return;
    const rows = this.#all(
      z.object({ card: z.string() }),
      "SELECT DISTINCT card FROM sightings WHERE original = ?",
      original,
    );
    for (const { card } of rows) this.#cardFiles.delete(card as CardId);
  }

  #cards(where: string, parameters: readonly string[]): CardRow[] {
    const shape = z.object({
      id: z.string(),
      label: z.string(),
      first_seen: z.number(),
      last_seen: z.number(),
      surveyed: z.number().nullable(),
      assigned: z.string().nullable(),
      dismissed: z.number().nullable(),
      trip: z.string().nullable(),
      number: z.number().nullable(),
    });
    return this.#all(
      shape,
      `SELECT c.id, c.label, c.first_seen, c.last_seen, c.surveyed, c.assigned, c.dismissed, t.trip, t.number
       FROM cards c LEFT JOIN card_trips t ON t.card = c.id
         AND t.rowid = (SELECT max(rowid) FROM card_trips WHERE card = c.id)
       ${where} GROUP BY c.id ORDER BY c.first_seen, c.id`,
      ...parameters,
    ).map((row) => ({
      id: row.id as CardId,
      label: row.label,
      firstSeen: instant(row.first_seen),
      lastSeen: instant(row.last_seen),
      surveyed: row.surveyed === null ? undefined : instant(row.surveyed),
      assigned: row.assigned === null ? undefined : (row.assigned as TripId),
      dismissed: row.dismissed !== null,
      trip: row.trip === null ? undefined : (row.trip as TripId),
      number: row.number ?? 0,
    }));
  }

  #migrate(): void {
    const taken = Number(this.#db.pragma("user_version", { simple: true }));
    if (taken > migrations.length)
      throw new Error(`the ledger is from a later version (step ${taken}, known ${migrations.length})`);
    migrations.slice(taken).forEach((step, index) => {
      this.#db.transaction(() => {
        this.#db.exec(step);
        this.#db.pragma(`user_version = ${taken + index + 1}`);
      })();
    });
  }

  #statement(sql: string): Database.Statement {
    let statement = this.#statements.get(sql);
    if (statement === undefined) {
      statement = this.#db.prepare(sql);
      this.#statements.set(sql, statement);
    }
    return statement;
  }

  #run(sql: string, ...parameters: (string | number | null)[]): number {
    return this.#statement(sql).run(...parameters).changes;
  }

  #raw(sql: string, ...parameters: (string | number)[]): unknown[] {
    return this.#statement(sql).all(...parameters);
  }

  #all<Shape extends z.ZodType>(
    shape: Shape,
    sql: string,
    ...parameters: (string | number)[]
  ): z.output<Shape>[] {
    return this.#raw(sql, ...parameters).map((row) => shape.parse(row));
  }

  #number(sql: string, ...parameters: (string | number)[]): number {
    const value: unknown = this.#statement(sql)
      .pluck()
      .get(...parameters);
    return z.number().parse(value);
  }
}
