/**
 * The ledger in SQLite. WAL with synchronous=FULL: what a method has returned from survives a power cut (SQLite,
 * PRAGMA synchronous; better-sqlite3 would choose NORMAL in WAL, which may lose the last commits).
 *
 * Not its job: deciding anything. It stores facts, keeps what follows from them in tables, and answers questions.
 */

import Database from "better-sqlite3";
import { z } from "zod";
import type { Fact } from "../../shared/facts.ts";
import type { CardId, DriveId, FrameId, OriginalId, TripId } from "../../shared/identity.ts";
import type { Alert } from "../../shared/problems.ts";
import {
  type Bytes,
  bytes,
  type Count,
  count,
  type Instant,
  instant,
  type Millis,
} from "../../shared/units.ts";
import type {
  AlertRow,
  CardFile,
  CardFileState,
  CardRow,
  CopyRow,
  DriveRow,
  DriveShare,
  EncodedFact,
  EventRow,
  Fault,
  LackingOriginal,
  Ledger,
  LossRow,
  NowhereRow,
  OriginalRow,
  Sighting,
  TripRow,
  VanishedFile,
} from "../ports/ledger.ts";
import { ArchiveQueries } from "./archiveQueries.ts";
import { CardFiles } from "./cardFiles.ts";
import { EditQueries } from "./editQueries.ts";
import { FrameQueries } from "./frameQueries.ts";
import { migrations } from "./migrations.ts";
import { Projection } from "./projection.ts";
import {
  alertRow,
  copiesOfRow,
  copyRow,
  driveRow,
  faultRow,
  lossRow,
  nowhereRow,
  originalRow,
  sightingRow,
  storePath,
  vanishedRow,
} from "./rows.ts";
import { Statements } from "./statements.ts";

const columnsOfOriginal = `o.id, o.trip, o.hash, o.size, o.path, o.role, o.frame,
  f.stem, f.key, f.count, f.letter, f.serial, f.model, f.taken`;
const fromOriginals = "FROM originals o LEFT JOIN frames f ON f.id = o.frame";
const originalColumns = `${columnsOfOriginal} ${fromOriginals}`;

const whole = z.number().int();

export class SqliteLedger implements Ledger {
  readonly #db: Database.Database;
  readonly #sql: Statements;
  readonly #projection: Projection;
  readonly frames: FrameQueries;
  readonly edits: EditQueries;
  readonly archives: ArchiveQueries;
  readonly #cardFiles: CardFiles;

  /**
   * Opens or makes the ledger and brings it to the newest shape.
   * @throws when the file isn't a ledger or is from a later Scrubjay.
   */
  constructor(file: string) {
    this.#db = new Database(file);
    this.#db.pragma("journal_mode = WAL");
    this.#db.pragma("synchronous = FULL");
    this.#db.pragma("foreign_keys = ON");
    // So that what REPLACE takes away is counted as well (`counters.ts`).
    this.#db.pragma("recursive_triggers = ON");
    this.#sql = new Statements(this.#db);
    this.#migrate();
    this.frames = new FrameQueries(this.#sql);
    this.edits = new EditQueries(this.#sql);
    this.archives = new ArchiveQueries(this.#sql);
    this.#cardFiles = new CardFiles(this.#sql);
    this.#projection = new Projection(this.#sql, {
      ofSighting: (card, path) => this.#cardFiles.changed(card, path),
      ofOriginal: (original) => this.#cardFiles.changedOriginal(original),
      ofEdits: () => this.edits.changed(),
      ofEverything: () => {
        this.#cardFiles.forgetAll();
        this.edits.forgetAll();
      },
    });
  }

  /** The settings that durability rests on, read back from the connection. */
  durability(): { readonly journalMode: string; readonly synchronous: number } {
    return {
      journalMode: String(this.#db.pragma("journal_mode", { simple: true })),
      synchronous: Number(this.#db.pragma("synchronous", { simple: true })),
    };
  }

  apply(facts: readonly EncodedFact[]): void {
    this.#sql.together(() => {
      for (const { id, json, fact } of facts)
        if (this.#addFact(id, json, fact)) this.#projection.take(id, fact, true);
    });
  }

  learn(facts: readonly EncodedFact[]): Count {
    // What concerns an original comes after it, and what takes away after what it takes from.
    const ordered = [...facts].sort((a, b) => order(a.fact) - order(b.fact) || a.fact.at - b.fact.at);
    return this.#sql.together(() => {
      let contradicting = 0;
      for (const { id, json, fact } of ordered) {
        if (!this.#projection.fits(fact)) contradicting += 1;
        else if (this.#addFact(id, json, fact)) this.#projection.take(id, fact, false);
      }
      return count(contradicting);
    });
  }

  #addFact(id: string, json: string, fact: Fact): boolean {
    return (
      this.#sql.run("INSERT OR IGNORE INTO facts (id, trip, json) VALUES (?, ?, ?)", id, fact.trip, json) > 0
    );
  }

  owner(): string | undefined {
    return this.#sql.all(z.object({ id: z.string() }), "SELECT id FROM owner")[0]?.id;
  }

  setOwner(owner: string): void {
    this.#sql.together(() => {
      this.#sql.run("DELETE FROM owner");
      this.#sql.run("INSERT INTO owner (id) VALUES (?)", owner);
    });
  }

  *factsOf(trip: TripId): Iterable<{ readonly id: string; readonly json: string }> {
    // In pages, so that no statement stays open while the caller writes.
    let after = 0;
    for (;;) {
      const page = this.#sql.all(
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
    return this.#sql
      .all(
        z.object({ id: z.string(), folder: z.string(), profile: z.string() }),
        "SELECT id, folder, profile FROM trips ORDER BY id",
      )
      .map((row) => ({ ...row, id: row.id as TripId }));
  }

  drives(): readonly DriveRow[] {
    return this.#sql.all(
      driveRow,
      "SELECT id, name, fs_id, last_seen FROM drives WHERE lost IS NULL ORDER BY name",
    );
  }

  lostDrives(): readonly DriveRow[] {
    return this.#sql.all(
      driveRow,
      "SELECT id, name, fs_id, last_seen FROM drives WHERE lost IS NOT NULL ORDER BY lost, name",
    );
  }

  loseDrive(drive: DriveId, at: Instant): void {
    this.#sql.run("UPDATE drives SET lost = ? WHERE id = ? AND lost IS NULL", at, drive);
    // Its copies count no more.
    this.#cardFiles.forgetAll();
  }

  nameInTrip(drive: DriveId, trip: TripId): string | undefined {
    return this.#sql.all(
      z.object({ name: z.string() }),
      "SELECT name FROM trip_drives WHERE trip = ? AND drive = ?",
      trip,
      drive,
    )[0]?.name;
  }

  addDrive(drive: DriveRow): void {
    // Records may have told of copies on it before it was known: from now on they count.
    const known = this.#sql.number("SELECT count(*) FROM drives WHERE id = ?", drive.id) > 0;
    if (!known) this.#cardFiles.forgetAll();
    this.#sql.run(
      `INSERT INTO drives (id, name, fs_id, last_seen) VALUES (?, ?, ?, ?)
       ON CONFLICT (id) DO UPDATE SET name = excluded.name, fs_id = excluded.fs_id, last_seen = excluded.last_seen`,
      drive.id,
      drive.name,
      drive.fsId,
      drive.lastSeen,
    );
  }

  driveSeen(drive: DriveId, at: Instant): void {
    const [row] = this.#sql.all(
      z.object({ seen: z.number() }),
      "SELECT seen FROM drives WHERE id = ?",
      drive,
    );
    this.#sql.run("UPDATE drives SET last_seen = ?, seen = 1 WHERE id = ?", at, drive);
    // From now on its copies count.
    if (row?.seen === 0) this.#cardFiles.forgetAll();
  }

  hearOfDrive(drive: DriveRow): void {
    this.#sql.run(
      "INSERT OR IGNORE INTO drives (id, name, fs_id, last_seen, seen) VALUES (?, ?, ?, ?, 0)",
      drive.id,
      drive.name,
      drive.fsId,
      drive.lastSeen,
    );
    this.#cardFiles.forgetAll();
  }

  cards(): readonly CardRow[] {
    return this.#cards("", []);
  }

  card(card: CardId): CardRow | undefined {
    return this.#cards("WHERE c.id = ?", [card])[0];
  }

  cardSeen(card: CardId, label: string, totalBytes: Bytes, at: Instant): void {
    this.#sql.together(() => {
      this.#sql.run(
        `INSERT INTO cards (id, label, total_bytes, first_seen, last_seen) VALUES (?, ?, ?, ?, ?)
         ON CONFLICT (id) DO UPDATE
           SET label = excluded.label, total_bytes = excluded.total_bytes, last_seen = excluded.last_seen,
             surveyed = NULL, dismissed = NULL, cleared = NULL`,
        card,
        label,
        totalBytes,
        at,
        at,
      );
      this.#sql.run("INSERT OR IGNORE INTO visits (card, at) VALUES (?, ?)", card, at);
    });
  }

  dismissCard(card: CardId, at: Instant): void {
    this.#sql.together(() => {
      this.#sql.run("UPDATE cards SET dismissed = ? WHERE id = ?", at, card);
      this.forgetVanished(card);
    });
  }

  cardCleared(card: CardId, at: Instant): void {
    this.#sql.run("UPDATE cards SET cleared = ? WHERE id = ?", at, card);
  }

  forgetVanished(card: CardId): void {
    this.#sql.run("DELETE FROM vanished WHERE card = ?", card);
  }

  vanished(): readonly VanishedFile[] {
    return this.#sql.all(
      vanishedRow,
      `SELECT v.card, v.path, v.size FROM vanished v
       WHERE NOT EXISTS (SELECT 1 FROM card_files f
         WHERE f.card = v.card AND f.path = v.path AND f.size = v.size AND f.modified = v.modified)
       AND NOT EXISTS (SELECT 1 FROM sightings s JOIN copies c ON c.original = s.original
         WHERE s.path = v.path AND s.size = v.size AND s.modified = v.modified)
       ORDER BY v.card, v.path`,
    );
  }

  assignCard(card: CardId, trip: TripId): void {
    this.#sql.run("UPDATE cards SET assigned = ? WHERE id = ?", trip, card);
  }

  highestCardNumber(trip: TripId): number {
    return this.#sql.number("SELECT coalesce(max(number), 0) FROM card_trips WHERE trip = ?", trip);
  }

  setCardFiles(card: CardId, files: readonly CardFile[], at: Instant): void {
    this.#cardFiles.forget(card);
    this.#sql.together(() => {
      this.#sql.run("DELETE FROM card_files WHERE card = ?", card);
      for (const file of files)
        this.#sql.run(
          "INSERT INTO card_files (card, path, size, modified, role, frame, why) VALUES (?, ?, ?, ?, ?, ?, ?)",
          card,
          storePath(file.path),
          file.size,
          file.modified,
          file.role,
          file.frame,
          file.why,
        );
      this.#sql.run("UPDATE cards SET surveyed = ? WHERE id = ?", at, card);
    });
  }

  cardFiles(card: CardId): readonly CardFileState[] {
    return this.#cardFiles.of(card);
  }

  cardMark(card: CardId): object {
    return this.#cardFiles.mark(card);
  }

  sightings(card: CardId): readonly Sighting[] {
    return this.#sql.all(
      sightingRow,
      "SELECT path, size, modified, ends, original, damage, accepted FROM sightings WHERE card = ?",
      card,
    );
  }

  forgetSighting(card: CardId, path: string): void {
    this.#cardFiles.changed(card, storePath(path));
    this.#sql.run("DELETE FROM sightings WHERE card = ? AND path = ?", card, storePath(path));
  }

  original(id: OriginalId): OriginalRow | undefined {
    return this.#sql.all(originalRow, `SELECT ${originalColumns} WHERE o.id = ?`, id)[0];
  }

  originalAt(trip: TripId, pathKey: string): OriginalRow | undefined {
    return this.#sql.all(
      originalRow,
      `SELECT ${originalColumns} WHERE o.trip = ? AND o.path_key = ?`,
      trip,
      storePath(pathKey),
    )[0];
  }

  frameFilesByContent(trip: TripId, hash: string, size: number): readonly OriginalRow[] {
    return this.#sql.all(
      originalRow,
      `SELECT ${originalColumns} WHERE o.trip = ? AND o.hash = ? AND o.size = ? AND o.role = 'frame' ORDER BY o.rowid`,
      trip,
      hash,
      size,
    );
  }

  frameFiles(trip: TripId, frame: FrameId): readonly OriginalRow[] {
    return this.#sql.all(
      originalRow,
      `SELECT ${originalColumns} WHERE o.trip = ? AND o.frame = ? ORDER BY o.path_key`,
      trip,
      frame,
    );
  }

  framesByKey(trip: TripId, key: string): readonly FrameId[] {
    return this.#sql
      .all(
        z.object({ id: z.string() }),
        "SELECT id FROM frames WHERE trip = ? AND key = ? ORDER BY rowid",
        trip,
        key,
      )
      .map((row) => row.id as FrameId);
  }

  frameByStem(trip: TripId, stemKey: string): FrameId | undefined {
    return this.#sql.all(
      z.object({ id: z.string() }),
      "SELECT id FROM frames WHERE trip = ? AND stem_key = ?",
      trip,
      storePath(stemKey),
    )[0]?.id as FrameId | undefined;
  }

  letters(trip: TripId): ReadonlyMap<string, string> {
    const rows = this.#sql.all(
      z.object({ serial: z.string(), letter: z.string() }),
      "SELECT serial, letter, min(rowid) FROM frames WHERE trip = ? GROUP BY serial",
      trip,
    );
    return new Map(rows.map((row) => [row.serial, row.letter]));
  }

  countsByDay(trip: TripId): ReadonlyMap<string, number> {
    const rows = this.#sql.all(
      z.object({ day: z.string(), highest: z.number() }),
      "SELECT day, max(count) AS highest FROM frames WHERE trip = ? GROUP BY day",
      trip,
    );
    return new Map(rows.map((row) => [row.day, row.highest]));
  }

  copiesOn(drive: DriveId, trip: TripId): readonly CopyRow[] {
    return this.#sql.all(
      copyRow,
      "SELECT original, drive, path, read_back, at, checked FROM copies WHERE drive = ? AND trip = ? ORDER BY path",
      drive,
      trip,
    );
  }

  copyOf(original: OriginalId, drive: DriveId): CopyRow | undefined {
    return this.#sql.all(
      copyRow,
      "SELECT original, drive, path, read_back, at, checked FROM copies WHERE original = ? AND drive = ?",
      original,
      drive,
    )[0];
  }

  copiesDue(drive: DriveId, trip: TripId, before: Instant, now: Instant, most: Count): readonly CopyRow[] {
    return this.#sql.all(
      copyRow,
      `SELECT original, drive, path, read_back, at, checked FROM copies
       WHERE drive = ? AND trip = ? AND (checked < ? OR checked > ?) ORDER BY checked, path LIMIT ?`,
      drive,
      trip,
      before,
      now,
      most,
    );
  }

  copyFacts(original: OriginalId, drive: DriveId): readonly string[] {
    return this.#sql
      .all(
        z.object({ id: z.string() }),
        "SELECT id FROM copy_facts WHERE original = ? AND drive = ? ORDER BY id",
        original,
        drive,
      )
      .map((row) => row.id);
  }

  timesOf(original: OriginalId): readonly Instant[] {
    return this.#sql
      .all(
        z.object({ modified: z.number() }),
        "SELECT DISTINCT modified FROM sightings WHERE original = ?",
        original,
      )
      .map((row) => instant(row.modified));
  }

  losses(drive: DriveId, trip: TripId): readonly LossRow[] {
    return this.#sql.all(
      lossRow,
      "SELECT original, path, why, found_hash, found_size FROM losses WHERE drive = ? AND trip = ? ORDER BY path",
      drive,
      trip,
    );
  }

  lossOf(drive: DriveId, original: OriginalId): LossRow | undefined {
    return this.#sql.all(
      lossRow,
      "SELECT original, path, why, found_hash, found_size FROM losses WHERE drive = ? AND original = ?",
      drive,
      original,
    )[0];
  }

  lossAt(drive: DriveId, trip: TripId, pathKey: string): LossRow | undefined {
    return this.#sql.all(
      lossRow,
      `SELECT original, path, why, found_hash, found_size FROM losses
       WHERE drive = ? AND trip = ? AND path_key = ?`,
      drive,
      trip,
      storePath(pathKey),
    )[0];
  }

  originalsByContent(trip: TripId, hash: string, size: number): readonly OriginalRow[] {
    return this.#sql.all(
      originalRow,
      `SELECT ${originalColumns} WHERE o.trip = ? AND o.hash = ? AND o.size = ? ORDER BY o.rowid`,
      trip,
      hash,
      size,
    );
  }

  tripsHeld(drive: DriveId): readonly TripId[] {
    return this.#sql
      .all(z.object({ trip: z.string() }), "SELECT DISTINCT trip FROM copies WHERE drive = ?", drive)
      .map((row) => row.trip as TripId);
  }

  nowhere(): readonly NowhereRow[] {
    return this.#sql.all(
      nowhereRow,
      `SELECT o.trip, o.path, f.day, o.size,
         (SELECT s.card FROM sightings s WHERE s.original = o.id ORDER BY s.at DESC LIMIT 1) AS card
       FROM originals o LEFT JOIN frames f ON f.id = o.frame
       WHERE o.copies = 0 AND NOT EXISTS (SELECT 1 FROM archive_files a
         WHERE a.trip = o.trip AND a.hash = o.hash AND a.size = o.size)
       ORDER BY o.trip, f.day, o.path_key`,
    );
  }

  heldOnlyBeside(drives: readonly DriveId[]): ReadonlyMap<DriveId, Count> {
    const rows = this.#sql.all(
      z.object({ drive: z.string(), files: z.number() }),
      `SELECT c.drive, count(*) AS files FROM copies c
       WHERE NOT EXISTS (SELECT 1 FROM copies h JOIN json_each(?) d ON d.value = h.drive
         WHERE h.original = c.original)
       GROUP BY c.drive`,
      JSON.stringify(drives),
    );
    return new Map(rows.map((row) => [row.drive as DriveId, count(row.files)]));
  }

  hasCopy(original: OriginalId, drive: DriveId): boolean {
    return (
      this.#sql.number("SELECT count(*) FROM copies WHERE original = ? AND drive = ?", original, drive) > 0
    );
  }

  copyAt(drive: DriveId, trip: TripId, pathKey: string): OriginalId | undefined {
    return this.#sql.all(
      z.object({ original: z.string() }),
      "SELECT original FROM copies WHERE drive = ? AND trip = ? AND path_key = ?",
      drive,
      trip,
      storePath(pathKey),
    )[0]?.original as OriginalId | undefined;
  }

  lackingOnSome(trip: TripId, drives: readonly DriveId[]): readonly LackingOriginal[] {
    const wanted = JSON.stringify(drives);
    const rows = this.#sql.raw(
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
    const all = z
      .object({ files: whole, size: whole })
      .parse(
        this.#sql.raw(
          "SELECT coalesce(sum(files), 0) AS files, coalesce(sum(size), 0) AS size FROM held WHERE trip = ?",
          trip,
        )[0],
      );
    const [share] = this.#sql.all(
      z.object({ files: whole, size: whole, direct: whole, remount: whole, cache: whole }),
      `SELECT coalesce(sum(files), 0) AS files, coalesce(sum(size), 0) AS size, coalesce(sum(direct), 0) AS direct,
         coalesce(sum(remount), 0) AS remount, coalesce(sum(cache), 0) AS cache
       FROM shares WHERE trip = ? AND drive = ?`,
      trip,
      drive,
    );
    const [checked] = this.#sql.all(
      z.object({ latest: whole.nullable() }),
      "SELECT max(checked) AS latest FROM copies WHERE drive = ? AND trip = ?",
      drive,
      trip,
    );
    const latest = checked?.latest ?? undefined;
    return {
      holdsFiles: count(share?.files ?? 0),
      holdsBytes: bytes(share?.size ?? 0),
      owedFiles: count(all.files - (share?.files ?? 0)),
      owedBytes: bytes(all.size - (share?.size ?? 0)),
      direct: count(share?.direct ?? 0),
      remount: count(share?.remount ?? 0),
      cache: count(share?.cache ?? 0),
      lastVerified: latest === undefined ? undefined : instant(latest),
    };
  }

  totals(trip: TripId, goal: number) {
    const row = z.object({ frames: whole, files: whole, at_goal: whole, files_at_goal: whole }).parse(
      this.#sql.raw(
        `SELECT coalesce(sum(frames), 0) AS frames, coalesce(sum(files), 0) AS files,
           coalesce(sum(frames) FILTER (WHERE holders >= ?), 0) AS at_goal,
           coalesce(sum(files) FILTER (WHERE holders >= ?), 0) AS files_at_goal
         FROM held WHERE trip = ?`,
        goal,
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
    return this.#sql.all(
      z.object({ trip: z.string() }),
      "SELECT trip FROM originals ORDER BY rowid DESC LIMIT 1",
    )[0]?.trip as TripId | undefined;
  }

  faults(): readonly Fault[] {
    return this.#sql.all(faultRow, "SELECT medium, path, code, detail, at FROM faults ORDER BY medium, path");
  }

  setFault(fault: Fault): void {
    this.#sql.run(
      "INSERT OR REPLACE INTO faults (medium, path, code, detail, at) VALUES (?, ?, ?, ?, ?)",
      fault.medium,
      storePath(fault.path),
      fault.code,
      fault.detail,
      fault.at,
    );
  }

  clearFaults(medium: CardId | DriveId, path?: string): void {
    if (path === undefined) this.#sql.run("DELETE FROM faults WHERE medium = ?", medium);
    else this.#sql.run("DELETE FROM faults WHERE medium = ? AND path = ?", medium, storePath(path));
  }

  alerts(): readonly AlertRow[] {
    return this.#sql.all(
      alertRow,
      "SELECT code, about, severity, happened, safe, next, since FROM alerts ORDER BY since, code, about",
    );
  }

  setAlerts(alerts: readonly Alert[], at: Instant): readonly AlertRow[] {
    return this.#sql.together(() => {
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
        this.#sql.run(
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
        this.#sql.run("DELETE FROM alerts WHERE code = ? AND about = ?", gone.code, gone.about);
        // Should it come again, it is said again.
        this.#sql.run("DELETE FROM said WHERE key = ?", `alert ${gone.code} ${gone.about}`);
      }
      return fresh;
    });
  }

  sayOnce(key: string, at: Instant): boolean {
    return this.#sql.run("INSERT OR IGNORE INTO said (key, at) VALUES (?, ?)", key, at) > 0;
  }

  sayAgain(key: string, at: Instant, every: Millis): boolean {
    const [said] = this.#sql.all(z.object({ at: z.number() }), "SELECT at FROM said WHERE key = ?", key);
    if (said !== undefined && at - said.at < every) return false;
    this.#sql.run("INSERT OR REPLACE INTO said (key, at) VALUES (?, ?)", key, at);
    return true;
  }

  events(before: number | undefined, most: Count): readonly EventRow[] {
    return this.#sql
      .all(
        z.object({ seq: z.number(), at: z.number(), kind: z.string(), about: z.string(), text: z.string() }),
        "SELECT seq, at, kind, about, text FROM events WHERE seq < ? ORDER BY seq DESC LIMIT ?",
        before ?? Number.MAX_SAFE_INTEGER,
        most,
      )
      .map(({ seq, at, ...event }) => ({ ...event, number: seq, at: instant(at) }));
  }

  note(kind: string, about: string, text: string, at: Instant): void {
    this.#sql.run("INSERT INTO events (at, kind, about, text) VALUES (?, ?, ?, ?)", at, kind, about, text);
  }

  close(): void {
    this.#db.close();
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
      total_bytes: z.number(),
      cleared: z.number().nullable(),
      trip: z.string().nullable(),
      number: z.number().nullable(),
    });
    return this.#sql
      .all(
        shape,
        `SELECT c.id, c.label, c.first_seen, c.last_seen, c.surveyed, c.assigned, c.dismissed,
         c.total_bytes, c.cleared, t.trip, t.number
       FROM cards c LEFT JOIN card_trips t ON t.card = c.id
         AND t.rowid = (SELECT max(rowid) FROM card_trips WHERE card = c.id)
       ${where} GROUP BY c.id ORDER BY c.first_seen, c.id`,
        ...parameters,
      )
      .map((row) => ({
        id: row.id as CardId,
        label: row.label,
        firstSeen: instant(row.first_seen),
        lastSeen: instant(row.last_seen),
        surveyed: row.surveyed === null ? undefined : instant(row.surveyed),
        assigned: row.assigned === null ? undefined : (row.assigned as TripId),
        dismissed: row.dismissed !== null,
        trip: row.trip === null ? undefined : (row.trip as TripId),
        number: row.number ?? 0,
        totalBytes: bytes(row.total_bytes),
        cleared: row.cleared === null ? undefined : instant(row.cleared),
      }));
  }

  #migrate(): void {
    const taken = Number(this.#db.pragma("user_version", { simple: true }));
    if (taken > migrations.length)
      throw new Error(`the ledger is from a later version (step ${taken}, known ${migrations.length})`);
    migrations.slice(taken).forEach((step, index) => {
      this.#sql.together(() => {
        this.#db.exec(step);
        this.#db.pragma(`user_version = ${taken + index + 1}`);
      });
    });
  }
}

const kindsInOrder: readonly Fact["kind"][] = [
  "trip",
  "drive",
  "card",
  "original",
  "sighting",
  "copy",
  "loss",
  "checked",
  "drive-lost",
  "accepted",
  "look",
  "vanished",
  "dismissed",
  "edit",
  "edit-copy",
  "edit-seen",
  "archived",
  "home",
  "drive-retired",
];

function order(fact: Fact): number {
  return kindsInOrder.indexOf(fact.kind);
}
