/**
 * What follows from a fact: the one place where facts become rows. Applied in any order that tells an original before
 * what concerns it, the same facts give the same rows, but for values that are simply the latest (a profile, a name).
 */

import { z } from "zod";
import { assert } from "../../shared/brand.ts";
import type {
  ArchivedFact,
  CheckedFact,
  CopyFact,
  Fact,
  LookFact,
  LossFact,
  OriginalFact,
} from "../../shared/facts.ts";
import type { CardId, DriveId, OriginalId } from "../../shared/identity.ts";
import { nameKey } from "../../shared/identity.ts";
import { takeArchiveFact } from "./archiveFacts.ts";
import { takeEditFact } from "./editFacts.ts";
import { loadPath, storePath } from "./rows.ts";
import type { Statements } from "./statements.ts";

/** Whoever keeps something in memory hears of what changes. */
export interface Changes {
  /** @param path on the card, as stored */
  ofSighting(card: CardId, path: string): void;
  ofOriginal(original: OriginalId): void;
  ofEdits(): void;
  /** A drive's copies went all at once. */
  ofEverything(): void;
}

export class Projection {
  readonly #sql: Statements;
  readonly #changes: Changes;

  constructor(sql: Statements, changes: Changes) {
    this.#sql = sql;
    this.#changes = changes;
  }

  /** Whether what this fact is about is known, so that it can be taken in. */
  fits(fact: Fact): boolean {
    if (fact.kind === "copy" || fact.kind === "sighting" || fact.kind === "accepted")
      return this.#knows(fact.original);
    if (fact.kind !== "original") return true;
    const [there] = this.#sql.all(
      z.object({ id: z.string() }),
      "SELECT id FROM originals WHERE trip = ? AND path_key = ?",
      fact.trip,
      storePath(nameKey(fact.path)),
    );
    return there === undefined || there.id === fact.original;
  }

  /**
   * @param id the fact's own name
   * @param asItHappens false for facts that others wrote down: then only moments tell what came after what
   */
  take(id: string, fact: Fact, asItHappens: boolean): void {
    switch (fact.kind) {
      case "trip":
        this.#sql.run(
          `INSERT INTO trips (id, folder, profile, at) VALUES (?, ?, ?, ?)
           ON CONFLICT (id) DO UPDATE SET profile = excluded.profile, at = excluded.at`,
          fact.trip,
          fact.folder,
          fact.profile,
          fact.at,
        );
        return;
      case "drive":
        this.#sql.run(
          "INSERT OR REPLACE INTO trip_drives (trip, drive, name) VALUES (?, ?, ?)",
          fact.trip,
          fact.drive,
          fact.name,
        );
        return;
      case "card":
        this.#takeCard(fact);
        return;
      case "original":
        this.#takeOriginal(fact);
        return;
      case "sighting":
        this.#changes.ofSighting(fact.card, storePath(fact.path));
        this.#sql.run(
          `INSERT OR REPLACE INTO sightings (card, path, size, modified, ends, original, at, damage)
           VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
          fact.card,
          storePath(fact.path),
          fact.fingerprint.size,
          fact.fingerprint.modified,
          fact.fingerprint.ends,
          fact.original,
          fact.at,
          fact.damage ?? "",
        );
        return;
      case "copy":
        this.#takeCopy(id, fact);
        return;
      case "loss":
        this.#takeLoss(fact);
        return;
      case "checked":
        this.#takeChecked(fact, asItHappens);
        return;
      case "drive-lost":
        this.#takeLostDrive(fact.trip, fact.drive, fact.at);
        return;
      case "accepted":
        this.#changes.ofSighting(fact.card, storePath(fact.path));
        this.#sql.run(
          "UPDATE sightings SET accepted = 1 WHERE card = ? AND path = ? AND original = ? AND damage = ?",
          fact.card,
          storePath(fact.path),
          fact.original,
          fact.damage,
        );
        return;
      case "look":
        this.#takeLook(fact);
        return;
      case "edit":
      case "edit-copy":
      case "edit-seen":
        this.#changes.ofEdits();
        takeEditFact(this.#sql, id, fact);
        return;
      case "archived":
      case "home":
      case "drive-retired":
        takeArchiveFact(this.#sql, fact);
        if (fact.kind === "drive-retired") this.#changes.ofEverything();
        if (fact.kind === "archived") this.#nowArchived(fact);
        return;
      case "dismissed":
        this.#sql.run("DELETE FROM vanished WHERE card = ? AND at <= ?", fact.card, fact.at);
        return;
      case "vanished":
        this.#sql.run(
          "INSERT OR IGNORE INTO vanished (card, path, size, modified, at) VALUES (?, ?, ?, ?, ?)",
          fact.card,
          storePath(fact.path),
          fact.size,
          fact.modified,
          fact.at,
        );
        return;
    }
  }

  #knows(original: OriginalId): boolean {
    return this.#sql.number("SELECT count(*) FROM originals WHERE id = ?", original) === 1;
  }

  #takeCard(fact: Extract<Fact, { kind: "card" }>): void {
    this.#sql.run(
      "INSERT OR IGNORE INTO cards (id, label, first_seen, last_seen) VALUES (?, ?, ?, ?)",
      fact.card,
      fact.label,
      fact.at,
      fact.at,
    );
    this.#sql.run(
      // The row that came last is the card's trip: clocks go back at times, row numbers don't.
      "INSERT OR REPLACE INTO card_trips (card, trip, number, at) VALUES (?, ?, ?, ?)",
      fact.card,
      fact.trip,
      fact.number,
      fact.at,
    );
  }

  /** What an archive holds counts for the cards that gave it; only those files are asked for anew. */
  #nowArchived({ trip, files }: ArchivedFact): void {
    for (const { hash, size } of files)
      for (const { id } of this.#sql.all(
        z.object({ id: z.string() }),
        "SELECT id FROM originals WHERE trip = ? AND hash = ? AND size = ?",
        trip,
        hash,
        size,
      ))
        this.#changes.ofOriginal(id as OriginalId);
  }

  /** The latest look holds; of two at one moment the doubt, whatever the order they are learnt in. */
  #takeLook({ frame, trip, fine, at }: LookFact): void {
    this.#sql.run(
      `INSERT INTO looks (frame, trip, fine, at) VALUES (?, ?, ?, ?)
       ON CONFLICT (frame) DO UPDATE SET fine = excluded.fine, at = excluded.at, trip = excluded.trip
         WHERE excluded.at > at OR (excluded.at = at AND excluded.fine < fine)`,
      frame,
      trip,
      fine ? 1 : 0,
      at,
    );
    const originals = this.#sql.all(
      z.object({ id: z.string() }),
      "SELECT id FROM originals WHERE trip = ? AND frame = ?",
      trip,
      frame,
    );
    for (const { id } of originals) this.#changes.ofOriginal(id as OriginalId);
  }

  #takeOriginal(fact: OriginalFact): void {
    const { frame } = fact;
    let freshFrame = false;
    if (frame !== undefined)
      freshFrame =
        this.#sql.run(
          `INSERT OR IGNORE INTO frames
           (id, trip, stem, stem_key, key, count, day, letter, serial, model, taken, moment)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
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
          Math.trunc(frame.taken.instant),
        ) > 0;
    const freshFile =
      this.#sql.run(
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
      ) > 0;
    if (freshFile) this.#changes.ofOriginal(fact.original);
    if (frame !== undefined && (freshFrame || freshFile))
      this.#countInDay(fact.trip, frame.id, freshFrame ? 1 : 0, freshFile ? 1 : 0, freshFile ? fact.size : 0);
  }

  /** Days are counted as they grow, so that the outline of a large trip is told at once. Nothing ever leaves one. */
  #countInDay(trip: string, frame: string, frames: number, files: number, size: number): void {
    this.#sql.run(
      `INSERT INTO days (trip, day, frames, files, size)
         SELECT trip, day, ?, ?, ? FROM frames WHERE id = ? AND trip = ?
       ON CONFLICT (trip, day) DO UPDATE SET frames = frames + excluded.frames, files = files + excluded.files,
         size = size + excluded.size`,
      frames,
      files,
      size,
      frame,
      trip,
    );
  }

  #takeCopy(id: string, fact: CopyFact): void {
    assert(this.#knows(fact.original), "a copy is of an original that is known");
    const { trip, drive } = fact;
    const named = this.#sql.number("SELECT count(*) FROM lost_facts WHERE id = ?", id) > 0;
    const lost = named || this.#isLost(trip, drive);
    this.#sql.run(
      `INSERT OR IGNORE INTO copy_facts (id, original, drive, trip, path, read_back, at, lost)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
      id,
      fact.original,
      drive,
      trip,
      storePath(fact.path),
      fact.readBack,
      fact.at,
      lost ? 1 : 0,
    );
    if (lost) return;
    this.#standOnAtLeast(fact);
    this.#sql.run(
      "DELETE FROM losses WHERE drive = ? AND trip = ? AND (path_key = ? OR original = ?)",
      drive,
      trip,
      storePath(nameKey(fact.path)),
      fact.original,
    );
  }

  #isLost(trip: string, drive: DriveId): boolean {
    const rows = "SELECT count(*) FROM lost_drives WHERE trip = ? AND drive = ?";
    return this.#sql.number(rows, trip, drive) > 0;
  }

  #takeLoss(fact: LossFact): void {
    const { original, drive, trip, path } = fact;
    for (const copy of fact.copies) {
      this.#sql.run("INSERT OR IGNORE INTO lost_facts (id) VALUES (?)", copy);
      this.#sql.run("UPDATE copy_facts SET lost = 1 WHERE id = ?", copy);
    }
    this.#standOn(original, drive);
    const holds = "SELECT count(*) FROM copies WHERE original = ? AND drive = ?";
    if (fact.why === "moved" || this.#sql.number(holds, original, drive) > 0) return;
    if (this.#isLost(trip, drive)) return;
    this.#sql.run(
      `INSERT OR REPLACE INTO losses (drive, trip, path, path_key, original, why, found_hash, found_size, at)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
      drive,
      trip,
      storePath(path),
      storePath(nameKey(path)),
      original,
      fact.why,
      fact.found?.hash ?? null,
      fact.found?.size ?? null,
      fact.at,
    );
  }

  /** A later fact takes the place of an earlier one without looking through all of them: there may be many. */
  #standOnAtLeast({ original, drive, at }: CopyFact): void {
    const [row] = this.#sql.all(
      z.object({ at: z.number() }),
      "SELECT at FROM copies WHERE original = ? AND drive = ?",
      original,
      drive,
    );
    if (row === undefined || row.at <= at) this.#standOn(original, drive);
  }

  /** A drive holds an original if a fact says so that no loss names; the latest says where. */
  #standOn(original: OriginalId, drive: DriveId): void {
    this.#changes.ofOriginal(original);
    const [fact] = this.#sql.all(
      z.object({
        trip: z.string(),
        path: z.string(),
        read_back: z.string(),
        at: z.number(),
      }),
      `SELECT trip, path, read_back, at FROM copy_facts WHERE original = ? AND drive = ? AND lost = 0
       ORDER BY at DESC, id LIMIT 1`,
      original,
      drive,
    );
    if (fact === undefined) {
      this.#sql.run("DELETE FROM copies WHERE original = ? AND drive = ?", original, drive);
      return;
    }
    this.#sql.run(
      `INSERT INTO copies (original, drive, trip, path, path_key, read_back, at, checked)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?)
       ON CONFLICT (original, drive) DO UPDATE SET path = excluded.path, path_key = excluded.path_key,
         read_back = excluded.read_back, at = excluded.at, checked = excluded.checked
         WHERE at <> excluded.at OR path <> excluded.path`,
      original,
      drive,
      fact.trip,
      fact.path,
      keyOf(fact.path),
      fact.read_back,
      fact.at,
      fact.at,
    );
  }

  #takeChecked(fact: CheckedFact, asItHappens: boolean): void {
    // A copy that was made after it was checked is another one. As it happens there is no doubt, whatever the clock says.
    const since = asItHappens ? Number.MAX_SAFE_INTEGER : fact.at;
    for (const original of fact.originals) {
      this.#changes.ofOriginal(original);
      this.#sql.run(
        "UPDATE copies SET checked = ?, read_back = ? WHERE original = ? AND drive = ? AND at <= ?",
        fact.at,
        fact.readBack,
        original,
        fact.drive,
        since,
      );
    }
  }

  #takeLostDrive(trip: string, drive: DriveId, at: number): void {
    this.#changes.ofEverything();
    this.#sql.run("INSERT OR IGNORE INTO lost_drives (trip, drive) VALUES (?, ?)", trip, drive);
    this.#sql.run("UPDATE drives SET lost = ? WHERE id = ? AND lost IS NULL", at, drive);
    this.#sql.run("UPDATE copy_facts SET lost = 1 WHERE trip = ? AND drive = ?", trip, drive);
    for (const table of ["copies", "losses", "edit_copies", "edit_looks"])
      this.#sql.run(`DELETE FROM ${table} WHERE trip = ? AND drive = ?`, trip, drive);
  }
}

function keyOf(storedPath: string): string {
  return storePath(nameKey(loadPath(storedPath)));
}
