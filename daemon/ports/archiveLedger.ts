/**
 * What this computer knows of archives, homecomings and drives that were freed of a trip. A part of the ledger. Which
 * folder is which archive, what was seen there and the receipts concern this computer alone; all else follows from facts.
 */

import type { OriginalRole } from "../../shared/facts.ts";
import type {
  CardId,
  ContentHash,
  DriveId,
  OriginalId,
  RelativePath,
  TripId,
} from "../../shared/identity.ts";
import type { Bytes, Instant } from "../../shared/units.ts";

/** Which archive a folder was found to be. */
export interface ArchivePlace {
  readonly archive: string;
  /** The file system it stood on; "" where it couldn't be told. */
  readonly fsId: string;
}

/** A file that an archive was written down to hold. */
export interface ArchivedFile {
  /** Below the trip's folder there. */
  readonly path: RelativePath;
  readonly hash: ContentHash;
  readonly size: Bytes;
}

/** A file of an archive as it looked when it was last read and found equal. */
export interface SeenFile extends ArchivedFile {
  readonly modified: Instant;
  /** When it was read. */
  readonly at: Instant;
}

/** An original that a homecoming has to bring, and which drives hold it. */
export interface ExpectedOriginal {
  readonly id: OriginalId;
  readonly hash: ContentHash;
  readonly size: Bytes;
  /** Where it is filed, below the trip's folder. */
  readonly path: RelativePath;
  readonly role: OriginalRole;
  /** What all files of its frame begin with, as filed; undefined for what is no frame. */
  readonly stem: RelativePath | undefined;
  readonly copies: readonly { readonly drive: DriveId; readonly path: RelativePath }[];
}

/** Where an original was last known to be. */
export interface LastSeen {
  /** The drive that held it last, lost ones included; undefined if none ever did. */
  readonly drive: { readonly id: DriveId; readonly at: Instant } | undefined;
  readonly card: CardId | undefined;
}

/** How the latest homecoming of a trip ended. */
export interface HomeRow {
  readonly at: Instant;
  readonly complete: boolean;
  readonly archives: readonly string[];
}

export interface ArchiveLedger {
  place(folder: string): ArchivePlace | undefined;
  setPlace(folder: string, place: ArchivePlace): void;
  /** Where this computer met an archive last; undefined where it never did. */
  placeOf(archive: string): (Pick<ArchivePlace, "fsId"> & { readonly folder: string }) | undefined;
  /** The trip's folder below an archive, settled at its first homecoming there. */
  tree(archive: string, trip: TripId): RelativePath | undefined;
  setTree(archive: string, trip: TripId, tree: RelativePath): void;

  /** Everything that was ever written down of the archive, so that one path may stand several times. */
  archived(archive: string, trip: TripId): readonly ArchivedFile[];
  seen(archive: string, trip: TripId): readonly SeenFile[];
  see(archive: string, trip: TripId, files: readonly SeenFile[]): void;

  /** All originals of a trip in the order of their paths, with the copies that count. */
  expected(trip: TripId): readonly ExpectedOriginal[];
  lastSeen(original: OriginalId): LastSeen;
  /** Originals that are damaged as every card gave them. */
  brokenAtSource(trip: TripId): readonly { readonly path: RelativePath; readonly why: string }[];

  home(trip: TripId): HomeRow | undefined;
  /** Whether a homecoming was complete and every original that is known now stands in an archive. */
  isHome(trip: TripId): boolean;
  /** Whether this drive was freed of the trip. */
  isRetired(drive: DriveId, trip: TripId): boolean;
  /** Names of the drives that were freed of the trip, as they were called in it. */
  retiredNames(trip: TripId): readonly string[];

  /** The receipt of the latest homecoming. @param json as the API tells it */
  keepReceipt(trip: TripId, at: Instant, json: string): void;
  receipt(trip: TripId): string | undefined;
  /** Whether the latest receipt says that this folder was read back perhaps from a cache. @param folder as it says it */
  wasReadFromCache(trip: TripId, folder: string): boolean;
  /** What a drive looked like when all of it was home. @param mark a digest of its files' names, sizes and times */
  setReusable(trip: TripId, drive: DriveId, mark: string): void;
  forgetReusable(trip: TripId): void;
  reusable(trip: TripId, drive: DriveId): string | undefined;
}
