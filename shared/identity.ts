/**
 * The names by which trips, drives, cards and files are known. Each is a string kept apart by the compiler.
 */

import type { Branded } from "./brand.ts";

/** A trip for good, also the folder `.scrubjay/trips/ID`: lower case letters, digits and `-`. */
export type TripId = Branded<string, "trip id">;
/** A known drive: 32 hex digits, written once into its `drive.json`. */
export type DriveId = Branded<string, "drive id">;
/** A card as last formatted: 16 hex digits, derived from its file system (nothing of ours stands on a card). */
export type CardId = Branded<string, "card id">;
/** A mounted volume for as long as it stays mounted. Put in again it is another. */
export type VolumeId = Branded<string, "volume id">;
/** XXH64 with seed 0 of a file's bytes as 16 lower-case hex digits, most significant first. */
export type ContentHash = Branded<string, "XXH64">;
/** One original as filed in a trip: `HASH-SIZE-` and a check of its filed path. */
export type OriginalId = Branded<string, "original id">;
/** A frame of a trip: all its files share one stem. */
export type FrameId = Branded<string, "frame id">;
/**
 * A path below a volume's root or a trip's folder, parts joined by `/`, no leading `/`, no `.` or `..` part.
 * A byte that isn't UTF-8 stands as a lone surrogate U+DC80 to U+DCFF, so every name a card can hold fits.
 */
export type RelativePath = Branded<string, "relative path">;
/** An absolute path on this computer, in the same form. */
export type AbsolutePath = Branded<string, "absolute path">;
/** A civil date `YYYY-MM-DD` in the trip's zone: the shooting day. */
export type Day = Branded<string, "civil date">;

export const relativePath = (value: string): RelativePath => value as RelativePath;
export const absolutePath = (value: string): AbsolutePath => value as AbsolutePath;

/** The path of `inside` below `root`. */
export function under(root: AbsolutePath, inside: RelativePath | string): AbsolutePath {
  if (inside === "") return root;
  return (root.endsWith("/") ? `${root}${inside}` : `${root}/${inside}`) as AbsolutePath;
}

/** The folder a path stands in; "" for a path without one. */
export function folderOf(path: RelativePath): RelativePath {
  const cut = path.lastIndexOf("/");
  return (cut < 0 ? "" : path.slice(0, cut)) as RelativePath;
}

/** The last part of a path. */
export function baseName(path: string): string {
  return path.slice(path.lastIndexOf("/") + 1);
}

/** The extension with its dot, as written; "" where there is none. A leading dot begins a name, not an extension. */
export function extensionOf(name: string): string {
  const base = baseName(name);
  const dot = base.lastIndexOf(".");
  return dot <= 0 ? "" : base.slice(dot);
}

/**
 * What two names are compared by on a drive: NFC and case folded, since exFAT, NTFS and HFS+ each take two names for
 * one that differ only so (RFC 8493 section 6.1; UAX #15).
 */
export function nameKey(path: string): string {
  return path.normalize("NFC").toLowerCase().toUpperCase().toLowerCase().normalize("NFC");
}
