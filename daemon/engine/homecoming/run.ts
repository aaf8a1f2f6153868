/** What is known of one homecoming while it is under way. Lives in memory: broken off, it is found out again. */

import type { ReadBack } from "../../../shared/facts.ts";
import type { HomeDamageJson, HomeMissingJson } from "../../../shared/homeApi.ts";
import type { ContentHash, DriveId, RelativePath } from "../../../shared/identity.ts";
import type { FileFaultCode } from "../../../shared/problems.ts";
import { type Bytes, bytes, type Instant } from "../../../shared/units.ts";
import type { HomeItem, Placement } from "../../core/homePlacing.ts";
import type { ExpectedOriginal } from "../../ports/archiveLedger.ts";
import type { KnownTrip } from "../dating.ts";
import type { Archive } from "./archive.ts";
import type { ListedFile } from "./listing.ts";

/** A file that is to come home. */
export interface Item extends HomeItem {
  readonly kind: HomeMissingJson["kind"];
  /** undefined for work files. */
  readonly original: ExpectedOriginal | undefined;
  /** Where a work file was read and found to have this content, or is written down to stand; empty for originals. */
  readonly at: readonly Place[];
  /** Versions of this work file that it follows, by content. */
  readonly follows: ReadonlySet<string>;
}

/** A file on a drive, below the trip's folder. */
export interface Place {
  readonly drive: DriveId;
  readonly path: RelativePath;
}

/** A file that was read whole, with what it looked like then. */
export interface ReadFile extends ListedFile {
  readonly hash: ContentHash;
}

export const contentOf = ({ hash, size }: { readonly hash: string; readonly size: number }): string =>
  `${hash} ${size}`;

/** What a drive holds of the trip besides originals, as it was when the homecoming looked. */
export interface DriveLook {
  readonly drive: DriveId;
  readonly name: string;
  /** Work files that are to be read. */
  readonly toRead: ListedFile[];
  readonly works: ReadFile[];
  /** Files that can't come along, each with why, as a part of a sentence. */
  readonly held: readonly { readonly path: RelativePath; readonly size: Bytes; readonly why: string }[];
  /** Folders of catalogues, by the name keys of their files. */
  readonly catalogues: ReadonlyMap<string, RelativePath>;
  /** What the profile leaves out. */
  readonly leftOut: Tally;
}

/** Files and bytes, as they are counted. */
export class Tally {
  files = 0;
  bytes = 0;

  add(size: Bytes): void {
    this.files += 1;
    this.bytes += size;
  }

  get json(): { readonly files: number; readonly bytes: number } {
    return { files: this.files, bytes: this.bytes };
  }
}

/** One archive that the trip is merged into. */
export class Target {
  /** As the profile or the caller says it. */
  readonly folder: string;
  /** undefined where it was refused. */
  readonly archive: Archive | undefined;
  /** Why not all of it stands there, as a sentence; "" while nothing is against it. */
  why: string;
  /** What stood there when the homecoming looked, by path; without a hash until it was read. */
  standing: (ListedFile & { hash: ContentHash | undefined; readonly known: boolean })[] = [];
  placements = new Map<Item, Placement>();
  /** What stands there verified by now, and where. */
  stands = new Map<Item, RelativePath>();
  /** What its file system can't hold, each with the fault that says so. */
  readonly refused = new Map<Item, FileFaultCode>();
  /** Where this homecoming put something. */
  readonly put = new Set<RelativePath>();
  readonly copied = new Tally();
  readonly there = new Tally();
  edits = 0;
  versions = 0;
  receipt: string | undefined;
  /** How files there were read back; the least of it. */
  readBack: ReadBack | undefined;

  constructor(folder: string, archive: Archive | undefined, why: string) {
    this.folder = folder;
    this.archive = archive;
    this.why = why;
    this.readBack = archive?.readBack;
  }

  /** What was found out is forgotten, what was done stays: it is looked at once more. */
  lookAgain(): void {
    this.standing = [];
    this.placements = new Map();
    this.stands = new Map();
    this.refused.clear();
    this.edits = 0;
  }

  /** Whether it still takes part. */
  get takesPart(): boolean {
    return this.archive !== undefined && this.why === "";
  }
}

/** Something that existed and isn't home. */
export interface Missing {
  readonly path: string;
  readonly size: Bytes;
  readonly kind: HomeMissingJson["kind"];
  /** As a part of a sentence. */
  readonly lastSeen: string;
}

export interface Job {
  readonly item: Item;
  /** How often it was tried. */
  tries: number;
}

/** What is done next; each step can be broken off between two files. */
export type Step = "look" | "read" | "carry" | "history" | "end";

export class Run {
  readonly trip: KnownTrip;
  readonly rehearsal: boolean;
  readonly history: boolean;
  readonly begun: Instant;
  readonly targets: readonly Target[];
  step: Step = "look";
  /** How often it was looked, since something new came meanwhile. */
  rounds = 0;
  /** Why it ended early, as a sentence; "" while it didn't. */
  stopped = "";
  /** Someone ended it. */
  stoppedByHand = false;
  looks: DriveLook[] = [];
  originals: readonly ExpectedOriginal[] = [];
  items: readonly Item[] = [];
  jobs: Job[] = [];
  /** Items that no drive that is in could give. */
  readonly without = new Set<Item>();
  readonly damage = new Map<string, HomeDamageJson & { readonly item: Item }>();
  /** Which drive gave what. */
  readonly givenBy = new Map<Item, DriveId>();
  /** What stands or stood on cards of the trip and was never copied. */
  neverCopied: readonly Missing[] = [];

  constructor(given: Pick<Run, "trip" | "rehearsal" | "history" | "begun" | "targets">) {
    this.trip = given.trip;
    this.rehearsal = given.rehearsal;
    this.history = given.history;
    this.begun = given.begun;
    this.targets = given.targets;
  }

  /** Whether it stands, verified, in an archive. */
  isHome(item: Item): boolean {
    return this.targets.some((target) => target.stands.has(item));
  }

  /** Whether everything that was found stands in this archive. */
  isWhole(target: Target): boolean {
    return (
      target.takesPart &&
      target.refused.size === 0 &&
      this.items.every((item) => target.stands.has(item) || !this.isHome(item))
    );
  }

  /** Whether everything that is known to exist stands in every archive. */
  get isComplete(): boolean {
    return (
      this.stopped === "" &&
      this.neverCopied.length === 0 &&
      this.looks.every(({ held }) => held.length === 0) &&
      this.targets.every((target) => target.takesPart && this.items.every((item) => target.stands.has(item)))
    );
  }

  sizeOfJobs(): Bytes {
    return bytes(this.jobs.reduce((sum, { item }) => sum + item.size, 0));
  }
}
