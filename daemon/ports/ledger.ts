/**
 * What this computer knows. Knowledge of a trip comes in as facts and everything else follows from them; what concerns
 * this computer alone (alerts said, volumes seen, faults met) stands beside. Every method is durable when it returns.
 *
 * Invariant: a copy is never claimed here before the drive's own journal holds it.
 */

import type {
  Fact,
  FrameOfOriginal,
  LossReason,
  OriginalRole,
  QuickFingerprint,
  ReadBack,
} from "../../shared/facts.ts";
import type {
  CardId,
  ContentHash,
  DriveId,
  FrameId,
  OriginalId,
  RelativePath,
  TripId,
} from "../../shared/identity.ts";
import type { Alert, MediumFaultCode } from "../../shared/problems.ts";
import type { Bytes, Count, Instant, Millis } from "../../shared/units.ts";
import type { ArchiveLedger } from "./archiveLedger.ts";
import type { EditLedger } from "./editLedger.ts";
import type { FrameLedger } from "./frameLedger.ts";

/** A fact with the text that stands in journals, and that text's own check as its name. */
export interface EncodedFact {
  readonly id: string;
  readonly json: string;
  readonly fact: Fact;
}

export interface TripRow {
  readonly id: TripId;
  readonly folder: string;
  readonly profile: string;
}

export interface DriveRow {
  readonly id: DriveId;
  readonly name: string;
  readonly fsId: string;
  readonly lastSeen: Instant;
}

export interface CardRow {
  readonly id: CardId;
  readonly label: string;
  readonly firstSeen: Instant;
  readonly lastSeen: Instant;
  /** When its files were last listed; undefined before the first survey ended. */
  readonly surveyed: Instant | undefined;
  /** The trip it was put to by hand. */
  readonly assigned: TripId | undefined;
  /** Someone said that it is of no concern; put in again, it is one again. */
  readonly dismissed: boolean;
  /** The trip that its frames were last found to belong to. */
  readonly trip: TripId | undefined;
  /** Its number within that trip; 0 before it has one. */
  readonly number: number;
  readonly totalBytes: Bytes;
  /** When it was last said that it may be formatted, since it was last put in. */
  readonly cleared: Instant | undefined;
}

/** What stands on a card and how it is treated. */
export interface CardFile {
  readonly path: RelativePath;
  readonly size: Bytes;
  readonly modified: Instant;
  readonly role: OriginalRole | "leaving";
  /** Names the frame on the card; "" for extras and leavings. */
  readonly frame: string;
  /** Why a leaving is left; "" otherwise. */
  readonly why: string;
}

/** A card's file with what became of it. */
export interface CardFileState extends CardFile {
  /** The original it is known to be; undefined while it was never read whole as it stands. */
  readonly original: OriginalId | undefined;
  readonly trip: TripId | undefined;
  /** Known drives, each plugged in here at least once, that hold a verified copy of it. */
  readonly drives: readonly DriveId[];
  /** Those of them where it was read back perhaps from a cache. */
  readonly unsure: readonly DriveId[];
  /** Archives that were written down to hold it. */
  readonly archives: readonly string[];
  /** Some drive holds it, whether it counts here or not. */
  readonly copied: boolean;
  /** What is wrong with it as the card gives it; "" where nothing was found. */
  readonly damage: string;
  /** Someone knows of that and lets the card go. */
  readonly accepted: boolean;
  /** Someone looked at its frame and said that it isn't fine. */
  readonly doubted: boolean;
}

/** A file that stood on a card, was never read and is gone from it. */
export interface VanishedFile {
  readonly card: CardId;
  readonly path: RelativePath;
  readonly size: Bytes;
}

export interface OriginalRow {
  readonly id: OriginalId;
  readonly trip: TripId;
  readonly hash: ContentHash;
  readonly size: Bytes;
  readonly path: RelativePath;
  readonly role: OriginalRole;
  readonly frame: FrameOfOriginal | undefined;
}

export interface Sighting {
  readonly path: RelativePath;
  readonly fingerprint: QuickFingerprint;
  readonly original: OriginalId;
  /** What is wrong with it as the card gives it, and nobody has accepted; "" where nothing is. */
  readonly damage: string;
}

export interface CopyRow {
  readonly original: OriginalId;
  readonly drive: DriveId;
  readonly path: RelativePath;
  readonly readBack: ReadBack;
  readonly at: Instant;
  /** When it was last read from the medium and found equal. */
  readonly checked: Instant;
}

/** What is wrong where a copy of a drive should stand; gone as soon as a copy stands there again. */
export interface LossRow {
  readonly original: OriginalId;
  readonly path: RelativePath;
  readonly why: LossReason;
  /** What stood there when it was looked at; undefined where it couldn't be read. */
  readonly found: { readonly hash: ContentHash; readonly size: Bytes } | undefined;
}

/** An original without any copy, as people would look for it. */
export interface NowhereRow {
  readonly trip: TripId;
  readonly path: RelativePath;
  /** The shooting day; "" for what is no frame. */
  readonly day: string;
  readonly size: Bytes;
  /** The card that showed it last; undefined when unknown. */
  readonly card: CardId | undefined;
}

/** An original that some drives lack. */
export interface LackingOriginal {
  readonly original: OriginalRow;
  readonly copies: readonly { readonly drive: DriveId; readonly path: RelativePath }[];
}

/** A drive's share of a trip. */
export interface DriveShare {
  readonly holdsFiles: Count;
  readonly holdsBytes: Bytes;
  readonly owedFiles: Count;
  readonly owedBytes: Bytes;
  readonly direct: Count;
  readonly remount: Count;
  readonly cache: Count;
  readonly lastVerified: Instant | undefined;
}

/** What went wrong with one file, remembered until it goes right. */
export interface Fault {
  /** A card or a drive. */
  readonly medium: CardId | DriveId;
  /** The file there; "" when the medium itself is concerned. */
  readonly path: string;
  readonly code: MediumFaultCode;
  readonly detail: string;
  readonly at: Instant;
}

export interface AlertRow extends Alert {
  readonly since: Instant;
}

/** A line of the audit trail. */
export interface EventRow {
  readonly number: number;
  readonly at: Instant;
  readonly kind: string;
  readonly about: string;
  readonly text: string;
}

export interface Ledger {
  readonly frames: FrameLedger;
  readonly edits: EditLedger;
  readonly archives: ArchiveLedger;

  /** Takes facts in, all or none. Facts already known change nothing. */
  apply(facts: readonly EncodedFact[]): void;
  /**
   * Takes in facts that others wrote down, in any order.
   * @returns how many contradict what is known (another file under one name, a copy of something unheard of) and were
   * left out.
   */
  learn(facts: readonly EncodedFact[]): Count;
  /** Every fact of a trip in the order learnt. */
  factsOf(trip: TripId): Iterable<{ readonly id: string; readonly json: string }>;

  /** Whose drives these are: one photographer has one, whatever the computer. */
  owner(): string | undefined;
  setOwner(owner: string): void;

  trips(): readonly TripRow[];
  /** Drives that are in use; those that were declared lost are none. */
  drives(): readonly DriveRow[];
  lostDrives(): readonly DriveRow[];
  /** The name under which a drive was last told to take part in a trip; undefined if it never was. */
  nameInTrip(drive: DriveId, trip: TripId): string | undefined;
  /** Makes a drive known, or known again under this name. */
  addDrive(drive: DriveRow): void;
  driveSeen(drive: DriveId, at: Instant): void;
  /** A record tells of a drive that was never plugged in here: known, but its copies don't count before it comes. */
  hearOfDrive(drive: DriveRow): void;
  /** It is in use no more. What it held in trips is taken from it by facts. */
  loseDrive(drive: DriveId, at: Instant): void;

  cards(): readonly CardRow[];
  card(card: CardId): CardRow | undefined;
  /** The card was put in: what was listed before says nothing about what is on it now. */
  cardSeen(card: CardId, label: string, totalBytes: Bytes, at: Instant): void;
  /** It was said that it may be formatted. */
  cardCleared(card: CardId, at: Instant): void;
  assignCard(card: CardId, trip: TripId): void;
  /** What vanished from it is of no concern either. */
  dismissCard(card: CardId, at: Instant): void;
  /** What vanished from a card is of no concern. */
  forgetVanished(card: CardId): void;
  /** Files of all cards that vanished and were seen on none since. */
  vanished(): readonly VanishedFile[];
  /** The highest number a card has in the trip; 0 without any. */
  highestCardNumber(trip: TripId): number;
  /** Replaces what is known to stand on the card. */
  setCardFiles(card: CardId, files: readonly CardFile[], at: Instant): void;
  cardFiles(card: CardId): readonly CardFileState[];
  /** The same object as long as `cardFiles` gives the same, another one as soon as anything about a file changed. */
  cardMark(card: CardId): object;
  sightings(card: CardId): readonly Sighting[];
  /** This file isn't what was seen under its path before. */
  forgetSighting(card: CardId, path: RelativePath): void;

  original(id: OriginalId): OriginalRow | undefined;
  originalAt(trip: TripId, pathKey: string): OriginalRow | undefined;
  /** Frame pictures and films with these bytes, oldest first. */
  frameFilesByContent(trip: TripId, hash: ContentHash, size: Bytes): readonly OriginalRow[];
  frameFiles(trip: TripId, frame: FrameId): readonly OriginalRow[];
  framesByKey(trip: TripId, key: string): readonly FrameId[];
  frameByStem(trip: TripId, stemKey: string): FrameId | undefined;
  /** Serial to letter, of every body seen in the trip. */
  letters(trip: TripId): ReadonlyMap<string, string>;
  /** The highest running number used on each day. */
  countsByDay(trip: TripId): ReadonlyMap<string, number>;

  copiesOn(drive: DriveId, trip: TripId): readonly CopyRow[];
  copyOf(original: OriginalId, drive: DriveId): CopyRow | undefined;
  /** Copies that were last checked before `before`, or in the future by today's clock; oldest first. */
  copiesDue(drive: DriveId, trip: TripId, before: Instant, now: Instant, most: Count): readonly CopyRow[];
  /** The names of all facts that claim this copy, or did before it was lost. */
  copyFacts(original: OriginalId, drive: DriveId): readonly string[];
  /** The times that cards gave a file's entry; copies were given one of them. */
  timesOf(original: OriginalId): readonly Instant[];
  /** What is wrong on a drive where copies of a trip should stand. */
  losses(drive: DriveId, trip: TripId): readonly LossRow[];
  /** What is wrong with one original there. */
  lossOf(drive: DriveId, original: OriginalId): LossRow | undefined;
  /** What is wrong at one path, names compared by key. */
  lossAt(drive: DriveId, trip: TripId, pathKey: string): LossRow | undefined;
  /** Originals of a trip with these bytes. */
  originalsByContent(trip: TripId, hash: ContentHash, size: Bytes): readonly OriginalRow[];
  /** Trips of which a drive holds copies. */
  tripsHeld(drive: DriveId): readonly TripId[];
  /** Originals of all trips that no drive holds, nor any archive. */
  nowhere(): readonly NowhereRow[];
  /** How many originals of all trips none of these drives holds and the other ones do, by drive. */
  heldOnlyBeside(drives: readonly DriveId[]): ReadonlyMap<DriveId, Count>;
  hasCopy(original: OriginalId, drive: DriveId): boolean;
  /** What stands at this path of the trip on this drive, as far as recorded. */
  copyAt(drive: DriveId, trip: TripId, pathKey: string): OriginalId | undefined;
  /** Originals that are on some drive and lack on at least one of these, with all their copies; fewest copies first. */
  lackingOnSome(trip: TripId, drives: readonly DriveId[]): readonly LackingOriginal[];
  share(trip: TripId, drive: DriveId): DriveShare;
  /** Frames and files of a trip, how many frames have all their files on `goal` drives, and how many files are. */
  totals(
    trip: TripId,
    goal: number,
  ): {
    readonly frames: Count;
    readonly files: Count;
    readonly atGoal: Count;
    readonly filesAtGoal: Count;
  };
  /** Drives that were told to hold this trip's files. */
  latestTripWithOriginals(): TripId | undefined;

  faults(): readonly Fault[];
  setFault(fault: Fault): void;
  clearFaults(medium: CardId | DriveId, path?: string): void;

  alerts(): readonly AlertRow[];
  /** Makes these the alerts that hold; returns those that are new. */
  setAlerts(alerts: readonly Alert[], at: Instant): readonly AlertRow[];
  /** @returns false when this was said before. */
  sayOnce(key: string, at: Instant): boolean;
  /** @returns false when this was said less than `every` ago; never twice for a clock that jumps back. */
  sayAgain(key: string, at: Instant, every: Millis): boolean;
  /** What happened before the event of this number (undefined: until now), latest first. */
  events(before: number | undefined, most: Count): readonly EventRow[];
  /** The audit trail: what happened and why. */
  note(kind: string, about: string, text: string, at: Instant): void;

  close(): void;
}
