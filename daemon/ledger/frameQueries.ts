/**
 * The ledger's answers about frames. A page of 500 of 50,000 frames is found by one index and read with its files and
 * copies in three statements. Not its job: facts (`projection.ts`).
 */

import { z } from "zod";
import type { CardId, ContentHash, DriveId, FrameId, OriginalId, TripId } from "../../shared/identity.ts";
import { bytes, type Count, count, type Instant, instant } from "../../shared/units.ts";
import type {
  DayFrameRow,
  DayRow,
  DoubtedRow,
  FrameCopyRow,
  FrameFileRow,
  FrameLedger,
  FrameRow,
  FrameSighting,
  HeldRow,
  RatingIntent,
  ShotRow,
  SidecarRow,
} from "../ports/frameLedger.ts";
import { heldByDay, shotByDay } from "./holdingQueries.ts";
import { loadPath, storePath, takenShape } from "./rows.ts";
import type { Statements } from "./statements.ts";

const text = z.string();
const whole = z.number().int();

const frameShape = z.object({
  id: text,
  trip: text,
  stem: text,
  day: text,
  taken: text,
  letter: text,
  serial: text,
  model: text,
  rating: z.number().nullable(),
  fine: whole.nullable(),
});
const fileShape = z.object({
  frame: text,
  id: text,
  hash: text,
  size: whole,
  path: text,
  role: z.enum(["frame", "companion", "extra"]),
});
const copyShape = z.object({
  original: text,
  drive: text,
  path: text,
  read_back: z.enum(["direct", "remount", "cache"]),
  checked: whole,
});
const idShape = z.object({ id: text });

const frameColumns = `f.id, f.trip, f.stem, f.day, f.taken, f.letter, f.serial, f.model, s.rating, l.fine`;
const beside = "LEFT JOIN sidecars s ON s.frame = f.id LEFT JOIN looks l ON l.frame = f.id";
const inOrder = "ORDER BY day, moment, stem_key";

export class FrameQueries implements FrameLedger {
  readonly #sql: Statements;

  constructor(sql: Statements) {
    this.#sql = sql;
  }

  days(trip: TripId): readonly DayRow[] {
    return this.#sql
      .all(
        z.object({ day: text, frames: whole, files: whole, size: whole }),
        "SELECT day, frames, files, size FROM days WHERE trip = ? ORDER BY day",
        trip,
      )
      .map(({ day, frames, files, size }) => ({
        day,
        frames: count(frames),
        files: count(files),
        bytes: bytes(size),
      }));
  }

  shotByDay(trip: TripId): readonly ShotRow[] {
    return shotByDay(this.#sql, trip);
  }

  heldByDay(trip: TripId): readonly HeldRow[] {
    return heldByDay(this.#sql, trip);
  }

  trips(): readonly TripId[] {
    return this.#sql
      .all(z.object({ trip: text }), "SELECT DISTINCT trip FROM days ORDER BY trip")
      .map((row) => row.trip as TripId);
  }

  count(trip: TripId, day: string | undefined): Count {
    const total = "SELECT coalesce(sum(frames), 0) FROM days WHERE trip = ?";
    return count(
      day === undefined ? this.#sql.number(total, trip) : this.#sql.number(`${total} AND day = ?`, trip, day),
    );
  }

  page(trip: TripId, day: string | undefined, from: Count, most: Count): readonly FrameRow[] {
    const rows =
      day === undefined
        ? this.#sql.all(
            idShape,
            `SELECT id FROM frames WHERE trip = ? ${inOrder} LIMIT ? OFFSET ?`,
            trip,
            most,
            from,
          )
        : this.#sql.all(
            idShape,
            `SELECT id FROM frames WHERE trip = ? AND day = ? ${inOrder} LIMIT ? OFFSET ?`,
            trip,
            day,
            most,
            from,
          );
    const ids = rows.map(({ id }) => id as FrameId);
    const found = new Map(this.byId(ids).map((frame) => [frame.id, frame]));
    return ids.flatMap((id) => found.get(id) ?? []);
  }

  byId(frames: readonly FrameId[]): readonly FrameRow[] {
    const ids = JSON.stringify(frames);
    const rows = this.#sql.all(
      frameShape,
      `SELECT ${frameColumns} FROM json_each(?) j JOIN frames f ON f.id = j.value ${beside}`,
      ids,
    );
    const files = this.#filesOf(ids);
    return rows.map(
      ({ id, trip, stem, day, taken, letter, serial, model, rating, fine }): FrameRow => ({
        id: id as FrameId,
        trip: trip as TripId,
        stem: loadPath(stem),
        day,
        taken: takenShape.parse(JSON.parse(taken)),
        letter,
        serial,
        model,
        rating: rating ?? undefined,
        fine: fine === null ? undefined : fine === 1,
        files: files.get(id) ?? [],
      }),
    );
  }

  /** @param frames ids as a JSON list */
  #filesOf(frames: string): ReadonlyMap<string, readonly FrameFileRow[]> {
    const rows = this.#sql.all(
      fileShape,
      `SELECT o.frame, o.id, o.hash, o.size, o.path, o.role FROM json_each(?) j
       JOIN frames f ON f.id = j.value JOIN originals o ON o.trip = f.trip AND o.frame = f.id
       ORDER BY o.path_key`,
      frames,
    );
    const copies = this.#copiesOf(rows.map(({ id }) => id));
    const files = new Map<string, FrameFileRow[]>();
    for (const { frame, id, hash, size, path, role } of rows) {
      const ofFrame = files.get(frame) ?? [];
      files.set(frame, ofFrame);
      ofFrame.push({
        original: id as OriginalId,
        hash: hash as ContentHash,
        size: bytes(size),
        path: loadPath(path),
        role,
        copies: copies.get(id) ?? [],
      });
    }
    return files;
  }

  #copiesOf(originals: readonly string[]): ReadonlyMap<string, readonly FrameCopyRow[]> {
    const copies = new Map<string, FrameCopyRow[]>();
    const rows = this.#sql.all(
      copyShape,
      `SELECT c.original, c.drive, c.path, c.read_back, c.checked FROM json_each(?) j
       JOIN copies c ON c.original = j.value`,
      JSON.stringify(originals),
    );
    for (const { original, drive, path, read_back, checked } of rows) {
      const ofOriginal = copies.get(original) ?? [];
      copies.set(original, ofOriginal);
      ofOriginal.push({
        drive: drive as DriveId,
        path: loadPath(path),
        readBack: read_back,
        checked: instant(checked),
      });
    }
    return copies;
  }

  latestFirst(trip: TripId, from: Count, most: Count): readonly FrameId[] {
    return this.#sql
      .all(
        idShape,
        `SELECT id FROM frames WHERE trip = ? ORDER BY day DESC, moment DESC, stem_key DESC LIMIT ? OFFSET ?`,
        trip,
        most,
        from,
      )
      .map(({ id }) => id as FrameId);
  }

  sightings(frame: FrameId): readonly FrameSighting[] {
    return this.#sql
      .all(
        z.object({ original: text, card: text, path: text, damage: text }),
        `SELECT s.original, s.card, s.path, s.damage FROM frames f
         JOIN originals o ON o.trip = f.trip AND o.frame = f.id JOIN sightings s ON s.original = o.id
         WHERE f.id = ? ORDER BY s.at, s.card, s.path`,
        frame,
      )
      .map((row) => ({
        original: row.original as OriginalId,
        card: row.card as CardId,
        path: loadPath(row.path),
        damage: row.damage,
      }));
  }

  ofDay(trip: TripId, day: string): readonly DayFrameRow[] {
    return this.#sql
      .all(
        z.object({ id: text, letter: text, local: text.nullable(), cards: text.nullable() }),
        `SELECT f.id, f.letter, f.taken ->> '$.local' AS local,
           (SELECT json_group_array(DISTINCT s.card) FROM originals o JOIN sightings s ON s.original = o.id
             WHERE o.trip = f.trip AND o.frame = f.id) AS cards
         FROM frames f WHERE f.trip = ? AND f.day = ? ORDER BY f.moment, f.stem_key`,
        trip,
        day,
      )
      .map(({ id, letter, local, cards }) => ({
        id: id as FrameId,
        letter,
        local: local ?? "",
        cards: listOf(cards) as CardId[],
      }));
  }

  doubted(): readonly DoubtedRow[] {
    return this.#sql
      .all(
        z.object({ frame: text, trip: text, stem: text, cards: text.nullable() }),
        `SELECT l.frame, f.trip, f.stem,
           (SELECT json_group_array(DISTINCT s.card) FROM originals o JOIN sightings s ON s.original = o.id
             WHERE o.trip = f.trip AND o.frame = f.id) AS cards
         FROM looks l JOIN frames f ON f.id = l.frame WHERE l.fine = 0 ORDER BY f.trip, f.day, f.moment, f.stem_key`,
      )
      .map(({ frame, trip, stem, cards }) => ({
        frame: frame as FrameId,
        trip: trip as TripId,
        stem: loadPath(stem),
        cards: listOf(cards) as CardId[],
      }));
  }

  lastLook(frame: FrameId): Instant | undefined {
    const [row] = this.#sql.all(z.object({ at: whole }), "SELECT at FROM looks WHERE frame = ?", frame);
    return row === undefined ? undefined : instant(row.at);
  }

  sidecars(frames: readonly FrameId[]): ReadonlyMap<FrameId, SidecarRow> {
    const rows = this.#sql.all(
      z.object({
        frame: text,
        path: text,
        size: whole,
        modified: whole,
        hash: text,
        rating: z.number().nullable(),
      }),
      `SELECT s.frame, s.path, s.size, s.modified, s.hash, s.rating FROM json_each(?) j
       JOIN sidecars s ON s.frame = j.value`,
      JSON.stringify(frames),
    );
    return new Map(
      rows.map(({ frame, path, size, modified, hash, rating }) => [
        frame as FrameId,
        {
          path: loadPath(path),
          size: bytes(size),
          modified: instant(modified),
          hash: hash as ContentHash,
          rating: rating ?? undefined,
        },
      ]),
    );
  }

  setSidecars(sidecars: ReadonlyMap<FrameId, SidecarRow | undefined>): void {
    if (sidecars.size === 0) return;
    this.#sql.together(() => {
      for (const [frame, row] of sidecars) {
        if (row === undefined) this.#sql.run("DELETE FROM sidecars WHERE frame = ?", frame);
        else
          this.#sql.run(
            "INSERT OR REPLACE INTO sidecars (frame, path, size, modified, hash, rating) VALUES (?, ?, ?, ?, ?, ?)",
            frame,
            storePath(row.path),
            row.size,
            row.modified,
            row.hash,
            row.rating ?? null,
          );
      }
    });
  }

  intendRating({ drive, trip, path, earlier, temp }: Omit<RatingIntent, "number">): number {
    const [row] = this.#sql.all(
      z.object({ number: whole }),
      "INSERT INTO rating_intents (drive, trip, path, earlier, temp) VALUES (?, ?, ?, ?, ?) RETURNING number",
      drive,
      trip,
      storePath(path),
      earlier === undefined ? null : storePath(earlier),
      storePath(temp),
    );
    return row?.number ?? 0;
  }

  endRating(intent: number): void {
    this.#sql.run("DELETE FROM rating_intents WHERE number = ?", intent);
  }

  ratingIntents(drive: DriveId): readonly RatingIntent[] {
    return this.#sql
      .all(
        z.object({ number: whole, trip: text, path: text, earlier: text.nullable(), temp: text }),
        "SELECT number, trip, path, earlier, temp FROM rating_intents WHERE drive = ? ORDER BY number",
        drive,
      )
      .map(({ number, trip, path, earlier, temp }) => ({
        number,
        drive,
        trip: trip as TripId,
        path: loadPath(path),
        earlier: earlier === null ? undefined : loadPath(earlier),
        temp: loadPath(temp),
      }));
  }
}

function listOf(ids: string | null): string[] {
  return ids === null ? [] : z.array(text).parse(JSON.parse(ids));
}
