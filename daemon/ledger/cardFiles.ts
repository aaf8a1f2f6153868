/**
 * Files of cards with what became of them. They are kept in memory as last asked, and only those are read again about
 * which something changed: status is asked while a card of thousands of files is being copied.
 *
 * Invariant: what `of` gives is what reading anew would give, and `mark` is the same object as before only if nothing
 * about any of the card's files changed; whoever remembers what follows from them may rest on that. So whatever writes
 * what a row below is made of (files listed, sightings, copies, looks, which drives count) says so here.
 */

import { z } from "zod";
import type { CardId, DriveId, OriginalId, TripId } from "../../shared/identity.ts";
import type { CardFileState } from "../ports/ledger.ts";
import { cardFileRow } from "./rows.ts";
import type { Statements } from "./statements.ts";

/** files. Cards whose files are kept in memory, so that asking how things stand takes no longer with each card: some 30 MB. */
const keptFilesMost = 100_000;
/** files. With more to read again, all of the card's are. */
const staleMost = 500;

interface Kept {
  readonly files: readonly CardFileState[];
  /** Paths as stored, of files about which something changed since. */
  readonly stale: Set<string>;
}

export class CardFiles {
  readonly #sql: Statements;
  readonly #kept = new Map<CardId, Kept>();
  readonly #marks = new Map<CardId, object>();

  constructor(sql: Statements) {
    this.#sql = sql;
  }

  /** By path. */
  of(card: CardId): readonly CardFileState[] {
    const kept = this.#kept.get(card);
    if (kept === undefined) return this.#keep(card, this.#read(card));
    if (kept.stale.size === 0) return kept.files;
    const fresh = new Map(this.#read(card, [...kept.stale]).map((file) => [file.path, file]));
    const files = kept.files.map((file) => fresh.get(file.path) ?? file);
    this.#kept.set(card, { files, stale: new Set() });
    return files;
  }

  mark(card: CardId): object {
    const mark = this.#marks.get(card) ?? {};
    this.#marks.set(card, mark);
    return mark;
  }

  /** What stands on the card was listed anew. */
  forget(card: CardId): void {
    this.#marks.delete(card);
    this.#kept.delete(card);
  }

  /** Drives began or ceased to count, or lost everything at once. */
  forgetAll(): void {
    this.#marks.clear();
    this.#kept.clear();
  }

  /** @param path as stored */
  changed(card: CardId, path: string): void {
    this.#marks.delete(card);
    const kept = this.#kept.get(card);
    if (kept === undefined) return;
    kept.stale.add(path);
    if (kept.stale.size > staleMost) this.#kept.delete(card);
  }

  /** What is known of an original changes what is known of each file that is it. */
  changedOriginal(original: OriginalId): void {
    if (this.#kept.size === 0 && this.#marks.size === 0) return;
    const rows = this.#sql.all(
      z.object({ card: z.string(), path: z.string() }),
      "SELECT card, path FROM sightings WHERE original = ?",
      original,
    );
    for (const { card, path } of rows) this.changed(card as CardId, path);
  }

  #keep(card: CardId, files: readonly CardFileState[]): readonly CardFileState[] {
    let kept = files.length;
    for (const [other, theirs] of this.#kept) {
      kept += theirs.files.length;
      if (kept > keptFilesMost) this.#kept.delete(other);
    }
    this.#kept.set(card, { files, stale: new Set() });
    return files;
  }

  /** @param paths as stored; all of the card's without */
  #read(card: CardId, paths?: readonly string[]): readonly CardFileState[] {
    const rows =
      paths === undefined
        ? this.#sql.raw(`${selectFiles} WHERE cf.card = ? ORDER BY cf.path`, card)
        : this.#sql.raw(
            `${selectFiles} WHERE cf.card = ? AND cf.path IN (SELECT value FROM json_each(?))`,
            card,
            JSON.stringify(paths),
          );
    return rows.map(stateOf);
  }
}

const selectFiles = `
  SELECT cf.path, cf.size, cf.modified, cf.role, cf.frame, cf.why, s.original, s.damage, s.accepted, o.trip,
    (SELECT group_concat(c.drive) FROM copies c JOIN drives d ON d.id = c.drive
      WHERE c.original = s.original AND d.seen = 1 AND d.lost IS NULL) AS drives,
    (SELECT group_concat(DISTINCT a.archive) FROM archive_files a
      WHERE a.trip = o.trip AND a.hash = o.hash AND a.size = o.size) AS archives,
    EXISTS (SELECT 1 FROM copies c WHERE c.original = s.original) AS copied,
    EXISTS (SELECT 1 FROM looks l WHERE l.frame = o.frame AND l.fine = 0) AS doubted,
    (SELECT group_concat(c.drive) FROM copies c
      WHERE c.original = s.original AND c.read_back = 'cache') AS unsure
  FROM card_files cf
  LEFT JOIN sightings s ON s.card = cf.card AND s.path = cf.path
    AND s.size = cf.size AND s.modified = cf.modified
  LEFT JOIN originals o ON o.id = s.original`;

const known = z.object({
  original: z.string().nullable(),
  trip: z.string().nullable(),
  drives: z.string().nullable(),
  unsure: z.string().nullable(),
  archives: z.string().nullable(),
  damage: z.string().nullable(),
  accepted: z.number().nullable(),
  copied: z.number(),
  doubted: z.number(),
});

function stateOf(row: unknown): CardFileState {
  const { original, trip, drives, unsure, archives, damage, accepted, copied, doubted } = known.parse(row);
  return {
    ...cardFileRow.parse(row),
    original: original === null ? undefined : (original as OriginalId),
    trip: trip === null ? undefined : (trip as TripId),
    drives: list<DriveId>(drives),
    unsure: list<DriveId>(unsure),
    archives: list(archives),
    copied: copied === 1,
    damage: damage ?? "",
    accepted: accepted === 1,
    doubted: doubted === 1,
  };
}

function list<Id extends string>(ids: string | null): Id[] {
  return ids === null ? [] : (ids.split(",") as Id[]);
}
