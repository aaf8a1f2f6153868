/** What was taken on each day of a trip and what each drive holds of it, as it is counted while files come and go. */

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
      // What is of no day is what all days leave of the trip.
      `WITH of AS (SELECT ? AS trip),
         dated AS (SELECT day, frames, files, size FROM days, of WHERE days.trip = of.trip AND day <> ''),
         whole AS (SELECT coalesce(sum(files), 0) AS files, coalesce(sum(size), 0) AS size FROM held, of
           WHERE held.trip = of.trip)
       SELECT * FROM (
         SELECT * FROM dated
         UNION ALL
         SELECT '', (SELECT coalesce(sum(frames), 0) FROM days, of WHERE days.trip = of.trip AND day = ''),
           files - (SELECT coalesce(sum(files), 0) FROM dated), size - (SELECT coalesce(sum(size), 0) FROM dated)
         FROM whole
       ) ORDER BY day = '', day`,
      trip,
    )
    .filter(({ files }) => files > 0)
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
      "SELECT day, drive, files, size, cache AS unsure FROM shares WHERE trip = ? AND files > 0",
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
