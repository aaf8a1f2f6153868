/**
 * From SQLite rows to nouns and back: the one edge where the ledger's values are checked. A value that doesn't fit is
 * a damaged ledger, not a user's mistake: it throws.
 */

import { z } from "zod";
import type { Taken } from "../../shared/camera.ts";
import type { FrameOfOriginal } from "../../shared/facts.ts";
import type {
  CardId,
  ContentHash,
  DriveId,
  FrameId,
  OriginalId,
  RelativePath,
  TripId,
} from "../../shared/identity.ts";
import { alertCodes, mediumFaultCodes } from "../../shared/problems.ts";
import { bytes, instant } from "../../shared/units.ts";
import type {
  AlertRow,
  CardFile,
  CopyRow,
  DriveRow,
  Fault,
  LossRow,
  NowhereRow,
  OriginalRow,
  Sighting,
  VanishedFile,
} from "../ports/ledger.ts";

/** A path as it is stored: itself, or as JSON where it holds lone surrogates (SQLite's UTF-8 cannot) or looks like JSON. */
export function storePath(path: string): string {
  return path.isWellFormed() && !path.startsWith('"') ? path : JSON.stringify(path);
}

/** The inverse of `storePath`. */
export function loadPath(stored: string): RelativePath {
  return (stored.startsWith('"') ? z.string().parse(JSON.parse(stored)) : stored) as RelativePath;
}

const text = z.string();
const whole = z.number().int();
const role = z.enum(["frame", "companion", "extra"]);
const readBack = z.enum(["direct", "remount", "cache"]);

export const takenShape = z.object({
  instant: whole,
  local: text,
  day: text,
  basis: z.enum(["camera-offset", "body-zone", "trip-zone", "video-utc", "file-time"]),
  camera: text,
});

export const driveRow = z.object({ id: text, name: text, fs_id: text, last_seen: whole }).transform(
  (row): DriveRow => ({
    id: row.id as DriveId,
    name: row.name,
    fsId: row.fs_id,
    lastSeen: instant(row.last_seen),
  }),
);

export const originalRow = z
  .object({
    id: text,
    trip: text,
    hash: text,
    size: whole,
    path: text,
    role,
    frame: text.nullable(),
    stem: text.nullable(),
    key: text.nullable(),
    count: whole.nullable(),
    letter: text.nullable(),
    serial: text.nullable(),
    model: text.nullable(),
    taken: text.nullable(),
  })
  .transform(
    (row): OriginalRow => ({
      id: row.id as OriginalId,
      trip: row.trip as TripId,
      hash: row.hash as ContentHash,
      size: bytes(row.size),
      path: loadPath(row.path),
      role: row.role,
      frame: frameOf(row),
    }),
  );

interface FrameColumns {
  readonly frame: string | null;
  readonly stem: string | null;
  readonly key: string | null;
  readonly count: number | null;
  readonly letter: string | null;
  readonly serial: string | null;
  readonly model: string | null;
  readonly taken: string | null;
}

function frameOf(row: FrameColumns): FrameOfOriginal | undefined {
  if (row.frame === null || row.stem === null || row.taken === null) return undefined;
  const taken: Taken = takenShape.parse(JSON.parse(row.taken));
  return {
    id: row.frame as FrameId,
    stem: loadPath(row.stem),
    key: row.key ?? "",
    count: row.count ?? 0,
    taken,
    letter: row.letter ?? "",
    serial: row.serial ?? "",
    model: row.model ?? "",
  };
}

export const sightingRow = z
  .object({
    path: text,
    size: whole,
    modified: whole,
    ends: text,
    original: text,
    damage: text,
    accepted: whole,
  })
  .transform(
    (row): Sighting => ({
      path: loadPath(row.path),
      fingerprint: {
        size: bytes(row.size),
        modified: instant(row.modified),
        ends: row.ends as ContentHash,
      },
      original: row.original as OriginalId,
      damage: row.accepted === 1 ? "" : row.damage,
    }),
  );

export const copyRow = z
  .object({ original: text, drive: text, path: text, read_back: readBack, at: whole, checked: whole })
  .transform(
    (row): CopyRow => ({
      original: row.original as OriginalId,
      drive: row.drive as DriveId,
      path: loadPath(row.path),
      readBack: row.read_back,
      at: instant(row.at),
      checked: instant(row.checked),
    }),
  );

export const lossRow = z
  .object({
    original: text,
    path: text,
    why: z.enum(["missing", "damaged", "changed", "moved"]),
    found_hash: text.nullable(),
    found_size: whole.nullable(),
  })
  .transform(
    (row): LossRow => ({
      original: row.original as OriginalId,
      path: loadPath(row.path),
      why: row.why,
      found:
        row.found_hash === null || row.found_size === null
          ? undefined
          : { hash: row.found_hash as ContentHash, size: bytes(row.found_size) },
    }),
  );

export const nowhereRow = z
  .object({ trip: text, path: text, day: text.nullable(), size: whole, card: text.nullable() })
  .transform(
    (row): NowhereRow => ({
      trip: row.trip as TripId,
      path: loadPath(row.path),
      day: row.day ?? "",
      size: bytes(row.size),
      card: row.card === null ? undefined : (row.card as CardId),
    }),
  );

export const vanishedRow = z.object({ card: text, path: text, size: whole }).transform(
  (row): VanishedFile => ({
    card: row.card as CardId,
    path: loadPath(row.path),
    size: bytes(row.size),
  }),
);

/** Drives and paths of an original's copies, as one JSON text. */
export const copiesOfRow = z.object({ copies: text }).transform((row) => ({
  copies: z
    .array(z.tuple([text, text]))
    .parse(JSON.parse(row.copies))
    .map(([drive, path]) => ({ drive: drive as DriveId, path: loadPath(path) })),
}));

export const cardFileRow = z
  .object({
    path: text,
    size: whole,
    modified: whole,
    role: z.enum(["frame", "companion", "extra", "leaving"]),
    frame: text,
    why: text,
  })
  .transform(
    (row): CardFile => ({
      path: loadPath(row.path),
      size: bytes(row.size),
      modified: instant(row.modified),
      role: row.role,
      frame: row.frame,
      why: row.why,
    }),
  );

export const faultRow = z
  .object({
    medium: text,
    path: text,
    code: z.enum(mediumFaultCodes),
    detail: text,
    at: whole,
  })
  .transform(
    (row): Fault => ({
      medium: row.medium as CardId,
      path: loadPath(row.path),
      code: row.code,
      detail: row.detail,
      at: instant(row.at),
    }),
  );

export const alertRow = z
  .object({
    code: z.enum(alertCodes),
    about: text,
    severity: z.enum(["urgent", "warning", "note"]),
    happened: text,
    safe: text,
    next: text,
    since: whole,
  })
  .transform((row): AlertRow => ({ ...row, since: instant(row.since) }));
