/** The ledger's answers about work files and their versions. */

import { z } from "zod";
import type { ContentHash, DriveId, RelativePath, TripId } from "../../shared/identity.ts";
import { bytes, count, instant } from "../../shared/units.ts";
import type {
  EditHead,
  EditLedger,
  EditLook,
  EditSummary,
  EditVersion,
  PathEdits,
  SwapIntent,
} from "../ports/editLedger.ts";
import { loadPath, storePath } from "./rows.ts";
import type { Statements } from "./statements.ts";

const text = z.string();
const whole = z.number().int();

const versionRow = z.object({
  id: text,
  trip: text,
  path: text,
  path_key: text,
  hash: text,
  size: whole,
  modified: whole,
  at: whole,
  drive: text,
  /** Fact names, joined by spaces. */
  after: text.nullable(),
});
type VersionRow = z.output<typeof versionRow>;

const versionColumns = `e.id, e.trip, e.path, e.path_key, e.hash, e.size, e.modified, e.at, e.drive,
  (SELECT group_concat(f.before, ' ') FROM edit_follows f WHERE f.edit = e.id) AS after`;

const lookRow = z.object({ path_key: text, path: text, size: whole, modified: whole, hash: text });

const swapRow = z
  .object({
    number: whole,
    drive: text,
    trip: text,
    path: text,
    earlier: text.nullable(),
    temp: text.nullable(),
    size: whole,
    modified: whole,
    unit: text,
  })
  .transform(
    (row): SwapIntent => ({
      number: row.number,
      drive: row.drive as DriveId,
      trip: row.trip as TripId,
      path: loadPath(row.path),
      earlier: row.earlier === null ? undefined : loadPath(row.earlier),
      temp: row.temp === null ? undefined : loadPath(row.temp),
      size: bytes(row.size),
      modified: instant(row.modified),
      unit: row.unit,
    }),
  );

interface Gathered {
  readonly versions: EditVersion[];
  readonly copies: Map<DriveId, Set<string>>;
}

export class EditQueries implements EditLedger {
  readonly #sql: Statements;
  #mark = 0;
  readonly #summaries = new Map<TripId, EditSummary>();
  readonly #heads = new Map<TripId, readonly EditHead[]>();
  /** By drive and trip; what is read again and again while nothing changes. */
  readonly #looks = new Map<string, Map<string, EditLook>>();

  constructor(sql: Statements) {
    this.#sql = sql;
  }

  /** Versions, or who holds them, changed. */
  changed(): void {
    this.#mark += 1;
    this.#summaries.clear();
    this.#heads.clear();
  }

  /** A drive's rows went all at once. */
  forgetAll(): void {
    this.#looks.clear();
    this.changed();
  }

  mark(): number {
    return this.#mark;
  }

  heads(trip: TripId): readonly EditHead[] {
    const known = this.#heads.get(trip) ?? this.#readHeads(trip);
    this.#heads.set(trip, known);
    return known;
  }

  #readHeads(trip: TripId): readonly EditHead[] {
    const drives = new Map<string, DriveId[]>();
    const copies = this.#sql.all(
      z.object({ edit: text, drive: text }),
      "SELECT c.edit, c.drive FROM edit_copies c JOIN edits e ON e.id = c.edit WHERE e.trip = ? AND e.head = 1",
      trip,
    );
    for (const { edit, drive } of copies) drives.set(edit, [...(drives.get(edit) ?? []), drive as DriveId]);
    return this.#sql
      .all(
        versionRow,
        `SELECT ${versionColumns} FROM edits e WHERE e.trip = ? AND e.head = 1 ORDER BY e.path_key, e.id`,
        trip,
      )
      .map((row) => ({ ...versionOf(row), drives: drives.get(row.id) ?? [] }));
  }

  version(id: string): EditVersion | undefined {
    const [row] = this.#sql.all(versionRow, `SELECT ${versionColumns} FROM edits e WHERE e.id = ?`, id);
    return row === undefined ? undefined : versionOf(row);
  }

  ofPath(trip: TripId, pathKey: string): PathEdits {
    return this.#gather(trip, storePath(pathKey)).get(pathKey) ?? { versions: [], copies: new Map() };
  }

  ofTrip(trip: TripId): ReadonlyMap<string, PathEdits> {
    return this.#gather(trip, undefined);
  }

  #gather(trip: TripId, storedKey: string | undefined): ReadonlyMap<string, PathEdits> {
    const [where, values] = storedKey === undefined ? ["", []] : [" AND e.path_key = ?", [storedKey]];
    const found = new Map<string, Gathered>();
    const rows = this.#sql.all(
      versionRow,
      `SELECT ${versionColumns} FROM edits e WHERE e.trip = ?${where} ORDER BY e.at, e.id`,
      trip,
      ...values,
    );
    const keys = new Map<string, string>();
    for (const row of rows) {
      const key = loadPath(row.path_key);
      keys.set(row.id, key);
      const entry: Gathered = found.get(key) ?? { versions: [], copies: new Map() };
      entry.versions.push(versionOf(row));
      found.set(key, entry);
    }
    const copies = this.#sql.all(
      z.object({ edit: text, drive: text }),
      `SELECT c.edit, c.drive FROM edit_copies c JOIN edits e ON e.id = c.edit WHERE e.trip = ?${where}`,
      trip,
      ...values,
    );
    for (const { edit, drive } of copies) {
      const held = found.get(keys.get(edit) ?? "")?.copies;
      const of = held?.get(drive as DriveId) ?? new Set();
      held?.set(drive as DriveId, of.add(edit));
    }
    return found;
  }

  summary(trip: TripId): EditSummary {
    const known = this.#summaries.get(trip);
    if (known !== undefined) return known;
    const [totals] = this.#sql.all(
      z.object({ files: whole, bytes: whole, deleted: whole }),
      `SELECT count(*) FILTER (WHERE hash <> '') AS files, coalesce(sum(size), 0) AS bytes,
         count(*) FILTER (WHERE hash = '') AS deleted
       FROM edits WHERE trip = ? AND head = 1`,
      trip,
    );
    const held = this.#sql.all(
      z.object({ drive: text, files: whole }),
      `SELECT c.drive, count(*) AS files FROM edits e JOIN edit_copies c ON c.edit = e.id
       WHERE e.trip = ? AND e.head = 1 AND e.hash <> '' GROUP BY c.drive`,
      trip,
    );
    const summary: EditSummary = {
      files: count(totals?.files ?? 0),
      bytes: bytes(totals?.bytes ?? 0),
      deleted: count(totals?.deleted ?? 0),
      held: new Map(held.map(({ drive, files }) => [drive as DriveId, count(files)])),
      conflicts: count(this.conflicts(trip).length),
    };
    this.#summaries.set(trip, summary);
    return summary;
  }

  conflicts(trip: TripId): readonly EditVersion[] {
    return this.#sql
      .all(
        versionRow,
        // It follows another content than its own beside one that it took over: that one was made apart.
        `SELECT ${versionColumns} FROM edits e WHERE e.trip = ?
           AND e.id IN (SELECT edit FROM edit_follows GROUP BY edit HAVING count(*) > 1)
           AND EXISTS (SELECT 1 FROM edit_follows f JOIN edits b ON b.id = f.before
             WHERE f.edit = e.id AND b.hash <> e.hash)
           AND e.id NOT IN (SELECT edit FROM edit_seen)
         ORDER BY e.at DESC, e.id`,
        trip,
      )
      .map(versionOf);
  }

  looks(drive: DriveId, trip: TripId): ReadonlyMap<string, EditLook> {
    return this.#looksOf(drive, trip);
  }

  #looksOf(drive: DriveId, trip: TripId): Map<string, EditLook> {
    const known = this.#looks.get(`${drive} ${trip}`);
    if (known !== undefined) return known;
    const rows = this.#sql.all(
      lookRow,
      "SELECT path_key, path, size, modified, hash FROM edit_looks WHERE drive = ? AND trip = ?",
      drive,
      trip,
    );
    const looks = new Map(
      rows.map((row): [string, EditLook] => [
        loadPath(row.path_key),
        {
          path: loadPath(row.path),
          size: bytes(row.size),
          modified: instant(row.modified),
          hash: row.hash as ContentHash,
        },
      ]),
    );
    this.#looks.set(`${drive} ${trip}`, looks);
    return looks;
  }

  setLooks(drive: DriveId, trip: TripId, looks: ReadonlyMap<string, EditLook | undefined>): void {
    const kept = this.#looksOf(drive, trip);
    for (const [key, look] of looks)
      if (look === undefined) kept.delete(key);
      else kept.set(key, look);
    this.#sql.together(() => {
      for (const [key, look] of looks)
        if (look === undefined)
          this.#sql.run(
            "DELETE FROM edit_looks WHERE drive = ? AND trip = ? AND path_key = ?",
            drive,
            trip,
            storePath(key),
          );
        else
          this.#sql.run(
            `INSERT OR REPLACE INTO edit_looks (drive, trip, path_key, path, size, modified, hash)
             VALUES (?, ?, ?, ?, ?, ?, ?)`,
            drive,
            trip,
            storePath(key),
            storePath(look.path),
            look.size,
            look.modified,
            look.hash,
          );
    });
  }

  intendSwaps(swaps: readonly Omit<SwapIntent, "number">[]): readonly number[] {
    return this.#sql.together(() =>
      swaps.map((swap) => {
        this.#sql.run(
          `INSERT INTO edit_swaps (drive, trip, path, earlier, temp, size, modified, unit)
           VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
          swap.drive,
          swap.trip,
          storePath(swap.path),
          stored(swap.earlier),
          stored(swap.temp),
          swap.size,
          swap.modified,
          swap.unit,
        );
        return this.#sql.number("SELECT last_insert_rowid()");
      }),
    );
  }

  endSwaps(numbers: readonly number[]): void {
    this.#sql.together(() => {
      for (const number of numbers) this.#sql.run("DELETE FROM edit_swaps WHERE number = ?", number);
    });
  }

  swaps(drive: DriveId): readonly SwapIntent[] {
    return this.#sql.all(
      swapRow,
      `SELECT number, drive, trip, path, earlier, temp, size, modified, unit FROM edit_swaps
       WHERE drive = ? ORDER BY number`,
      drive,
    );
  }
}

function versionOf(row: VersionRow): EditVersion {
  return {
    id: row.id,
    trip: row.trip as TripId,
    path: loadPath(row.path),
    hash: row.hash as ContentHash | "",
    size: bytes(row.size),
    modified: instant(row.modified),
    at: instant(row.at),
    drive: row.drive as DriveId,
    after: row.after === null ? [] : row.after.split(" "),
  };
}

function stored(path: RelativePath | undefined): string | null {
  return path === undefined ? null : storePath(path);
}
