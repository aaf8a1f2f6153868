/** What was taken on each day of a trip and what each drive holds of it, counted when asked for: nobody asks often. */

import { z } from "zod";
import type { DriveId, TripId } from "../../shared/identity.ts";
import { bytes, count } from "../../shared/units.ts";
import type { HeldRow, ShotRow } from "../ports/frameLedger.ts";
import type { Statements } from "./statements.ts";

const text = z.string();
const whole = z.number().int();

export function shotByDay(sql: Statements, trip: TripId): readonly ShotRow[] {
  return sql
    .all(
      z.object({ day: text, frames: whole, files: whole, size: whole }),
      `SELECT coalesce(f.day, '') AS day, count(DISTINCT o.frame) AS frames, count(*) AS files,
         coalesce(sum(o.size), 0) AS size
       FROM originals o LEFT JOIN frames f ON f.id = o.frame
       WHERE o.trip = ? GROUP BY 1 ORDER BY coalesce(f.day, '') = '', 1`,
      trip,
    )
    .map(({ day, frames, files, size }) => ({
      day,
      frames: count(frames),
      files: count(files),
      bytes: bytes(size),
    }));
}

export function heldByDay(sql: Statements, trip: TripId): readonly HeldRow[] {
  return sql
    .all(
      z.object({ day: text, drive: text, files: whole, size: whole, unsure: whole }),
      `SELECT coalesce(f.day, '') AS day, c.drive, count(*) AS files, coalesce(sum(o.size), 0) AS size,
         coalesce(sum(c.read_back = 'cache'), 0) AS unsure
       FROM copies c JOIN originals o ON o.id = c.original LEFT JOIN frames f ON f.id = o.frame
       WHERE o.trip = ? GROUP BY 1, 2`,
      trip,
    )
    .map(({ day, drive, files, size, unsure }) => ({
      day,
      drive: drive as DriveId,
      files: count(files),
      bytes: bytes(size),
      unsure: count(unsure),
    }));
}
