/** The ledger's answers about archives, homecomings and drives that were freed. */

import { z } from "zod";
import type { ContentHash, DriveId, OriginalId, RelativePath, TripId } from "../../shared/identity.ts";
import { bytes, type Instant, instant } from "../../shared/units.ts";
import type {
  ArchivedFile,
  ArchiveLedger,
  ArchivePlace,
  ExpectedOriginal,
  HomeRow,
  LastSeen,
  SeenFile,
} from "../ports/archiveLedger.ts";
import { loadPath, storePath } from "./rows.ts";
import type { Statements } from "./statements.ts";

const text = z.string();
const whole = z.number().int();
const fileShape = { path: text.transform(loadPath), hash: text, size: whole };

export class ArchiveQueries implements ArchiveLedger {
  readonly #sql: Statements;
  /** Whether trips are home, and what that was worked out from: originals and homecomings only ever grow in number. */
  readonly #home = new Map<TripId, { readonly mark: string; readonly home: boolean }>();

  constructor(sql: Statements) {
    this.#sql = sql;
  }

  place(folder: string): ArchivePlace | undefined {
    const [row] = this.#sql.all(
      z.object({ archive: text, fs_id: text }),
      "SELECT archive, fs_id FROM archive_places WHERE folder = ?",
      storePath(folder),
    );
    return row === undefined ? undefined : { archive: row.archive, fsId: row.fs_id };
  }

  setPlace(folder: string, { archive, fsId }: ArchivePlace): void {
    this.#sql.run(
      "INSERT OR REPLACE INTO archive_places (folder, archive, fs_id) VALUES (?, ?, ?)",
      storePath(folder),
      archive,
      fsId,
    );
  }

  placeOf(archive: string): { readonly folder: string; readonly fsId: string } | undefined {
    const [row] = this.#sql.all(
      z.object({ folder: text.transform(loadPath), fs_id: text }),
      "SELECT folder, fs_id FROM archive_places WHERE archive = ? ORDER BY rowid DESC LIMIT 1",
      archive,
    );
    return row === undefined ? undefined : { folder: row.folder, fsId: row.fs_id };
  }

  tree(archive: string, trip: TripId): RelativePath | undefined {
    return this.#sql.all(
      z.object({ tree: text }),
      "SELECT tree FROM archive_trees WHERE archive = ? AND trip = ?",
      archive,
      trip,
    )[0]?.tree as RelativePath | undefined;
  }

  setTree(archive: string, trip: TripId, tree: RelativePath): void {
    this.#sql.run(
      "INSERT OR REPLACE INTO archive_trees (archive, trip, tree) VALUES (?, ?, ?)",
      archive,
      trip,
      tree,
    );
  }

  archived(archive: string, trip: TripId): readonly ArchivedFile[] {
    return this.#sql
      .all(
        z.object(fileShape),
        "SELECT path, hash, size FROM archive_files WHERE archive = ? AND trip = ?",
        archive,
        trip,
      )
      .map(({ path, hash, size }) => ({ path, hash: hash as ContentHash, size: bytes(size) }));
  }

  seen(archive: string, trip: TripId): readonly SeenFile[] {
    return this.#sql
      .all(
        z.object({ ...fileShape, modified: whole, at: whole }),
        "SELECT path, hash, size, modified, at FROM archive_seen WHERE archive = ? AND trip = ?",
        archive,
        trip,
      )
      .map(({ path, hash, size, modified, at }) => ({
        path,
        hash: hash as ContentHash,
        size: bytes(size),
        modified: instant(modified),
        at: instant(at),
      }));
  }

  see(archive: string, trip: TripId, files: readonly SeenFile[]): void {
    this.#sql.together(() => {
      for (const { path, hash, size, modified, at } of files)
        this.#sql.run(
          `INSERT OR REPLACE INTO archive_seen (archive, trip, path, hash, size, modified, at)
           VALUES (?, ?, ?, ?, ?, ?, ?)`,
          archive,
          trip,
          storePath(path),
          hash,
          size,
          modified,
          at,
        );
    });
  }

  expected(trip: TripId): readonly ExpectedOriginal[] {
    const copies = new Map<string, { drive: DriveId; path: RelativePath }[]>();
    for (const { original, drive, path } of this.#sql.all(
      z.object({ original: text, drive: text, path: text.transform(loadPath) }),
      "SELECT original, drive, path FROM copies WHERE trip = ?",
      trip,
    )) {
      const held = copies.get(original);
      const copy = { drive: drive as DriveId, path };
      if (held === undefined) copies.set(original, [copy]);
      else held.push(copy);
    }
    return this.#sql
      .all(
        z.object({
          id: text,
          ...fileShape,
          role: z.enum(["frame", "companion", "extra"]),
          stem: text.transform(loadPath).nullable(),
        }),
        `SELECT o.id, o.path, o.hash, o.size, o.role, f.stem FROM originals o LEFT JOIN frames f ON f.id = o.frame
         WHERE o.trip = ? ORDER BY o.path_key`,
        trip,
      )
      .map(({ id, path, hash, size, role, stem }) => ({
        id: id as OriginalId,
        path,
        stem: stem ?? undefined,
        hash: hash as ContentHash,
        size: bytes(size),
        role,
        copies: copies.get(id) ?? [],
      }));
  }

  lastSeen(original: OriginalId): LastSeen {
    const shape = z.object({ drive: text, at: whole });
    const [checked] = this.#sql.all(
      shape,
      "SELECT drive, checked AS at FROM copies WHERE original = ? ORDER BY checked DESC LIMIT 1",
      original,
    );
    const [written] = this.#sql.all(
      shape,
      "SELECT drive, at FROM copy_facts WHERE original = ? ORDER BY at DESC LIMIT 1",
      original,
    );
    const [sighting] = this.#sql.all(
      z.object({ card: text }),
      "SELECT card FROM sightings WHERE original = ? ORDER BY at DESC LIMIT 1",
      original,
    );
    const drive = checked ?? written;
    return {
      drive: drive === undefined ? undefined : { id: drive.drive as DriveId, at: instant(drive.at) },
      card: sighting?.card as LastSeen["card"],
    };
  }

  brokenAtSource(trip: TripId): readonly { readonly path: RelativePath; readonly why: string }[] {
    return this.#sql.all(
      z.object({ path: text.transform(loadPath), why: text }),
      `SELECT o.path, min(s.damage) AS why FROM originals o JOIN sightings s ON s.original = o.id
       WHERE o.trip = ? GROUP BY o.id HAVING min(s.damage) <> '' ORDER BY o.path_key`,
      trip,
    );
  }

  home(trip: TripId): HomeRow | undefined {
    const [row] = this.#sql.all(
      z.object({ at: whole, complete: whole, archives: text }),
      "SELECT at, complete, archives FROM homecomings WHERE trip = ? ORDER BY at DESC, complete LIMIT 1",
      trip,
    );
    if (row === undefined) return undefined;
    return {
      at: instant(row.at),
      complete: row.complete === 1,
      archives: z.array(text).parse(JSON.parse(row.archives)),
    };
  }

  isHome(trip: TripId): boolean {
    const complete = "SELECT count(*) FROM homecomings WHERE trip = ? AND complete = 1";
    if (this.#sql.number(complete, trip) === 0) return false;
    const homecomings = this.#sql.number("SELECT count(*) FROM homecomings WHERE trip = ?", trip);
    const files = this.#sql.number("SELECT count(*) FROM originals WHERE trip = ?", trip);
    const mark = `${homecomings} ${files}`;
    const before = this.#home.get(trip);
    if (before?.mark === mark) return before.home;
    const home =
      this.#sql.number(
        `SELECT count(*) FROM (SELECT 1 FROM originals o WHERE o.trip = ? AND NOT EXISTS
           (SELECT 1 FROM archive_files a WHERE a.trip = o.trip AND a.hash = o.hash AND a.size = o.size) LIMIT 1)`,
        trip,
      ) === 0;
    this.#home.set(trip, { mark, home });
    return home;
  }

  isRetired(drive: DriveId, trip: TripId): boolean {
    const rows = "SELECT count(*) FROM retired_drives WHERE trip = ? AND drive = ?";
    return this.#sql.number(rows, trip, drive) > 0;
  }

  retiredNames(trip: TripId): readonly string[] {
    return this.#sql
      .all(
        z.object({ name: text }),
        `SELECT d.name FROM retired_drives r JOIN trip_drives d ON d.trip = r.trip AND d.drive = r.drive
         WHERE r.trip = ?`,
        trip,
      )
      .map(({ name }) => name);
  }

  keepReceipt(trip: TripId, at: Instant, json: string): void {
    this.#sql.run("INSERT OR REPLACE INTO receipts (trip, at, json) VALUES (?, ?, ?)", trip, at, json);
  }

  receipt(trip: TripId): string | undefined {
    return this.#sql.all(z.object({ json: text }), "SELECT json FROM receipts WHERE trip = ?", trip)[0]?.json;
  }

  wasReadFromCache(trip: TripId, folder: string): boolean {
    const targets = `SELECT count(*) FROM receipts, json_each(receipts.json, '$.targets') AS target
      WHERE receipts.trip = ? AND target.value ->> '$.folder' = ? AND target.value ->> '$.readBack' = 'cache'`;
    return this.#sql.number(targets, trip, folder) > 0;
  }

  setReusable(trip: TripId, drive: DriveId, mark: string): void {
    this.#sql.run(
      "INSERT OR REPLACE INTO reusable_drives (trip, drive, mark) VALUES (?, ?, ?)",
      trip,
      drive,
      mark,
    );
  }

  forgetReusable(trip: TripId): void {
    this.#sql.run("DELETE FROM reusable_drives WHERE trip = ?", trip);
  }

  reusable(trip: TripId, drive: DriveId): string | undefined {
    return this.#sql.all(
      z.object({ mark: text }),
      "SELECT mark FROM reusable_drives WHERE trip = ? AND drive = ?",
      trip,
      drive,
    )[0]?.mark;
  }
}
