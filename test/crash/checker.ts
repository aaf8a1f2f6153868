/**
 * The judge over a daemon that is killed again and again: looks at card and drives after every kill and compares with
 * what it saw before. Shares no code with what it judges: sha256sum and xxhsum (by `generalTools.ts`), plain `node:fs`,
 * and the documented forms on a drive. Keeps nothing that the daemon wrote but the names and hashes of what stood there.
 *
 * Each look is cheap: names, sizes and times of everything, SHA-256 of what is new since the last look. A full look
 * takes the SHA-256 of everything. Throws `Broken` where a promise is.
 */

import { execFileSync } from "node:child_process";
import { existsSync, lstatSync, opendirSync, readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { filesBelow, sha256Below, sha256Of, xxhsumAgrees } from "../support/generalTools.ts";

/** A promise that wasn't kept, in words. */
export class Broken extends Error {}

/** What was on the card before the daemon saw it. */
export type CardNote = ReadonlyMap<string, CardFile>;

interface CardFile {
  readonly sha256: string;
  readonly size: bigint;
  readonly modified: bigint;
}

export interface WatchedCard {
  readonly at: string;
  /** `/dev/loopN`, asked for what was written to it. */
  readonly device: string;
  /** The image's file. */
  readonly image: string;
  readonly holds: CardNote;
  /** Files that needn't be copied: what a computer left there. */
  readonly leavings: ReadonlySet<string>;
}

export interface WatchedDrive {
  readonly name: string;
  readonly at: string;
  /** Name of the trip's folder. */
  readonly trip: string;
  /** Whether inode and change time tell a file that was written again. */
  readonly keepsInodes: boolean;
}

/** What a look found on one drive. */
export interface DriveLook {
  /** Files under a final name. */
  readonly filed: number;
  /** Files below `incoming/`. */
  readonly unfinished: number;
  /** Files under a final name that the drive's journal doesn't tell of. */
  readonly untold: number;
  /** Copies that the journal tells of and the checksum list doesn't. */
  readonly unlisted: number;
}

interface Standing {
  readonly sha256: string;
  readonly size: bigint;
  readonly modified: bigint;
  /** Undefined where the file system doesn't keep them. */
  readonly inode: bigint | undefined;
  /** Undefined while a second name in `incoming/` is still to be taken away, which changes this time. */
  readonly changed: bigint | undefined;
}

const checksumList = "checksums.xxh64";
/** The list's next edition, until it takes its place. */
const nextList = `.scrubjay-new-${checksumList}`;

export class Checker {
  readonly #card: WatchedCard;
  readonly #drives: readonly WatchedDrive[];
  readonly #wanted: readonly (readonly [string, CardFile])[];
  readonly #contents: ReadonlySet<string>;
  readonly #cardImage: string;
  readonly #cardWritten: number;
  readonly #standing = new Map<string, ReadonlyMap<string, Standing>>();

  /** The card is mounted, and the daemon hasn't seen it yet. */
  constructor(card: WatchedCard, drives: readonly WatchedDrive[]) {
    this.#card = card;
    this.#drives = drives;
    this.#wanted = [...card.holds].filter(([path]) => !card.leavings.has(path));
    this.#contents = new Set(this.#wanted.map(([, file]) => file.sha256));
    // A mount notes on the medium that it is mounted; from here on nothing may be written.
    execFileSync("sync");
    this.#cardImage = sha256Of(card.image);
    this.#cardWritten = bytesWrittenTo(card.device);
  }

  /** Files that each drive shall hold at the end. */
  get wantedFiles(): number {
    return this.#wanted.length;
  }

  /** Their bytes. */
  get wantedBytes(): number {
    return this.#wanted.reduce((sum, [, file]) => sum + Number(file.size), 0);
  }

  /** @param full takes SHA-256 of everything, not only of what is new. */
  look(full: boolean): ReadonlyMap<string, DriveLook> {
    this.#lookAtCard(full);
    return new Map(this.#drives.map((drive) => [drive.name, this.#lookAtDrive(drive, full)]));
  }

  /** The card was called clear: then every file of it stands on every drive. */
  saidClear(): void {
    for (const drive of this.#drives) {
      this.#lookAtDrive(drive, false);
      const held = new Set([...(this.#standing.get(drive.name)?.values() ?? [])].map((file) => file.sha256));
      for (const [path, { sha256 }] of this.#wanted)
        if (!held.has(sha256)) throw new Broken(`the card was called clear, and ${drive.name} lacks ${path}`);
    }
  }

  /**
   * All is done and the drives were mounted anew, so that the medium is read and no cache: nothing unfinished, every
   * list complete, every drive with the whole card.
   */
  end(): void {
    this.#lookAtCard(true);
    for (const drive of this.#drives) this.#lookAtDrive(drive, true, true);
    this.saidClear();
    const trees = this.#drives.map((drive) => {
      const left = incoming(drive);
      if (left.length > 0) throw new Broken(`${drive.name}: left in incoming/: ${left.join(", ")}`);
      const listed = xxhsumAgrees(join(drive.at, drive.trip));
      if (listed !== this.wantedFiles)
        throw new Broken(`${drive.name}: xxhsum finds ${listed} of ${this.wantedFiles} files as listed`);
      journalIsComplete(drive, this.wantedFiles);
      const files = [...(this.#standing.get(drive.name) ?? [])];
      return JSON.stringify(files.map(([path, { sha256 }]) => [path, sha256]).sort());
    });
    if (new Set(trees).size !== 1) throw new Broken("the drives don't hold the same tree");
  }

  /** The image is the whole card: files, names and times. Reading it doesn't go through the card's device. */
  #lookAtCard(full: boolean): void {
    const { at, device, image, holds } = this.#card;
    const written = bytesWrittenTo(device) - this.#cardWritten;
    if (written > 0) throw new Broken(`${written} bytes were written to the card`);
    if (full && sha256Of(image) !== this.#cardImage) throw new Broken("the card's image isn't what it was");
    const paths = filesBelow(at);
    if (paths.length !== holds.size) throw new Broken(`the card has ${paths.length} files now`);
    for (const path of paths) {
      const { size, mtimeNs } = lstatSync(join(at, path), { bigint: true });
      const before = holds.get(path);
      if (before?.size !== size || before.modified !== mtimeNs)
        throw new Broken(`the card's ${path} isn't what it was`);
    }
  }

  #lookAtDrive(drive: WatchedDrive, full: boolean, mountedAnew = false): DriveLook {
    const before = this.#standing.get(drive.name) ?? new Map<string, Standing>();
    const inOrder = filesInOrder(join(drive.at, drive.trip)).filter(
      (path) => path !== checksumList && path !== nextList,
    );
    const sums = sums256(
      join(drive.at, drive.trip),
      full ? inOrder : inOrder.filter((path) => !before.has(path)),
    );
    const now = new Map<string, Standing>();
    for (const path of inOrder) {
      const sha256 = sums.get(path) ?? before.get(path)?.sha256 ?? "";
      if (!this.#contents.has(sha256)) throw new Broken(`${drive.name}: ${path} is no file of the card`);
      now.set(path, standing(drive, path, sha256));
    }
    for (const [path, was] of before) isTheSame(drive, path, was, now.get(path));
    // While it stays mounted, exfat-fuse lists what came into a folder last first (tried with 1.3.0): a file that is
    // removed and made again, or replaced, changes its place.
    const order = inOrder.filter((path) => before.has(path));
    if (!drive.keepsInodes && !mountedAnew && order.join("\n") !== [...before.keys()].join("\n"))
      throw new Broken(`${drive.name}: files stand in another order in their folders than before`);
    this.#standing.set(drive.name, now);
    onlyOurs(drive);

    const copies = copiesTold(drive);
    verifiedOnce(drive, copies);
    const told = new Set(copies.map((copy) => copy.path));
    const listed = new Set(listedFiles(drive));
    return {
      filed: now.size,
      unfinished: incoming(drive).length,
      untold: [...now.keys()].filter((path) => !told.has(path)).length,
      unlisted: [...told].filter((path) => !listed.has(path)).length,
    };
  }
}

/** Bytes written to a block device since it is there (kernel documentation, block/stat: sectors of 512 bytes). */
export function bytesWrittenTo(device: string): number {
  const stat = readFileSync(join("/sys/block", device.replace("/dev/", ""), "stat"), "utf8");
  return Number(stat.trim().split(/\s+/)[6]) * 512;
}

/** Names of files below `incoming/`. */
export function incoming({ at }: Pick<WatchedDrive, "at">): readonly string[] {
  const folder = join(at, ".scrubjay/incoming");
  return existsSync(folder) ? readdirSync(folder) : [];
}

/** Every file of a mounted card. */
export function noteCard(at: string): CardNote {
  return new Map(
    [...sha256Below(at)].map(([path, sha256]) => {
      const { size, mtimeNs } = lstatSync(join(at, path), { bigint: true });
      return [path, { sha256, size, modified: mtimeNs }];
    }),
  );
}

/** Throws unless the mounted card is, byte for byte, what was noted. */
export function isAsNoted(at: string, note: CardNote): void {
  const now = noteCard(at);
  for (const [path, { sha256, size, modified }] of note) {
    const is = now.get(path);
    if (is?.sha256 !== sha256 || is.size !== size || is.modified !== modified)
      throw new Broken(`the card's ${path} isn't what it was`);
  }
  if (now.size !== note.size) throw new Broken(`the card has ${now.size} files now`);
}

/** Files below a folder as its entries stand there; none before there is one. */
function filesInOrder(folder: string, below = ""): readonly string[] {
  if (!existsSync(folder)) return [];
  const found: string[] = [];
  const open = opendirSync(join(folder, below));
  for (let entry = open.readSync(); entry !== null; entry = open.readSync()) {
    const path = below === "" ? entry.name : `${below}/${entry.name}`;
    if (entry.isDirectory()) found.push(...filesInOrder(folder, path));
    else found.push(path);
  }
  open.closeSync();
  return found;
}

function sums256(folder: string, paths: readonly string[]): ReadonlyMap<string, string> {
  if (paths.length === 0) return new Map();
  const said = execFileSync("sha256sum", ["--zero", "--", ...paths], {
    cwd: folder,
    encoding: "utf8",
    maxBuffer: 64 * 1024 * 1024,
  });
  const lines = said.split("\0").filter((line) => line !== "");
  return new Map(lines.map((line) => [line.slice(66), line.slice(0, 64)]));
}

function standing(drive: WatchedDrive, path: string, sha256: string): Standing {
  const { size, mtimeNs, ino, ctimeNs, nlink } = lstatSync(join(drive.at, drive.trip, path), {
    bigint: true,
  });
  return {
    sha256,
    size,
    modified: mtimeNs,
    inode: drive.keepsInodes ? ino : undefined,
    changed: drive.keepsInodes && nlink === 1n ? ctimeNs : undefined,
  };
}

function isTheSame(drive: WatchedDrive, path: string, was: Standing, is: Standing | undefined): void {
  const where = `${drive.name}: ${path}`;
  if (is === undefined) throw new Broken(`${where} stood there and is gone`);
  if (is.sha256 !== was.sha256) throw new Broken(`${where} has other bytes than before`);
  const same = is.size === was.size && is.modified === was.modified && is.inode === was.inode;
  if (!same || (was.changed !== undefined && is.changed !== was.changed))
    throw new Broken(`${where} was written again`);
}

/** Besides the trip's folder and `.scrubjay`, a drive holds what its file system made. */
function onlyOurs(drive: WatchedDrive): void {
  const others = readdirSync(drive.at).filter(
    (name) => ![drive.trip, ".scrubjay", "lost+found"].includes(name),
  );
  if (others.length > 0) throw new Broken(`${drive.name} also holds ${others.join(", ")}`);
}

interface CopyTold {
  readonly original: string;
  readonly drive: string;
  readonly path: string;
}

/** Copies that a drive's journals tell of, of every drive. A torn line tells nothing. */
function allCopiesTold(drive: WatchedDrive): readonly CopyTold[] {
  const trips = join(drive.at, ".scrubjay/trips");
  if (!existsSync(trips)) return [];
  const journals = readdirSync(trips).map((trip) => join(trips, trip, "journal.jsonl"));
  const lines = journals
    .filter((path) => existsSync(path))
    .flatMap((path) => readFileSync(path, "utf8").split("\n"));
  return lines.flatMap((line): CopyTold[] => {
    try {
      const { fact } = JSON.parse(line) as { readonly fact: CopyTold & { readonly kind: string } };
      return fact.kind === "copy" ? [fact] : [];
    } catch {
      return [];
    }
  });
}

function copiesTold(drive: WatchedDrive): readonly CopyTold[] {
  const { id } = JSON.parse(readFileSync(join(drive.at, ".scrubjay/drive.json"), "utf8")) as { id: string };
  return allCopiesTold(drive).filter((copy) => copy.drive === id);
}

function journalIsComplete(drive: WatchedDrive, files: number): void {
  const once = new Set(copiesTold(drive).map((copy) => copy.original));
  if (once.size !== files) throw new Broken(`${drive.name}: its journal tells of ${once.size} of ${files}`);
}

/** A copy is told of when it was verified, and so no journal tells of one twice. */
function verifiedOnce(drive: WatchedDrive, copies: readonly CopyTold[]): void {
  const seen = new Set<string>();
  for (const { original, path } of copies) {
    if (seen.has(original))
      throw new Broken(`${drive.name}: ${path} was verified, told of, and verified again`);
    seen.add(original);
  }
}

function listedFiles(drive: WatchedDrive): readonly string[] {
  const list = join(drive.at, drive.trip, checksumList);
  if (!existsSync(list)) return [];
  const lines = readFileSync(list, "utf8").split("\n");
  return lines.filter((line) => line !== "").map((line) => line.slice(18));
}
