/**
 * What one drive knows of one trip: its journal, the profile and the checksum list, read when the drive comes and
 * added to while it is in. Appends only; a torn last line is passed over, and the next one begins on a line of its own.
 *
 * Invariant: `add` returns after the lines were forced to the medium, so that the ledger may follow.
 */

import type { AbsolutePath, TripId } from "../../shared/identity.ts";
import { nameKey, relativePath, under } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { type Bytes, bytes } from "../../shared/units.ts";
import type { Files, VolumeRoot } from "../ports/files.ts";
import type { Hashing } from "../ports/hashing.ts";
import type { EncodedFact } from "../ports/ledger.ts";
import { type ChecksumEntry, checksumLine, isListable, readChecksums } from "./checksums.ts";
import { checksumFile, journalFile, profileFile, recordFolder } from "./driveLayout.ts";
import { journalLine, readJournal } from "./journal.ts";

/** A fact as it goes into a journal. */
export interface JournalEntry {
  readonly id: string;
  readonly json: string;
}

const encoder = new TextEncoder();

export class DriveRecord {
  /** Lines of the journal that were torn or altered when it was read. */
  readonly spoiltLines: number;
  readonly #files: Files;
  readonly #volume: VolumeRoot;
  readonly #trip: TripId;
  readonly #tripFolder: string;
  readonly #held: Set<string>;
  /** Lines of the checksum list, as far as they are known. */
  readonly #listed = new Set<string>();
  #journalEndsWhole: boolean;

  private constructor(
    files: Files,
    volume: VolumeRoot,
    trip: TripId,
    tripFolder: string,
    journal: { readonly held: Set<string>; readonly spoilt: number; readonly endsWhole: boolean },
  ) {
    this.#files = files;
    this.#volume = volume;
    this.#trip = trip;
    this.#tripFolder = tripFolder;
    this.#held = journal.held;
    this.spoiltLines = journal.spoilt;
    this.#journalEndsWhole = journal.endsWhole;
  }

  /**
   * Reads what the drive knows of the trip. Nothing is written.
   * @returns the record, and the facts in it
   * @throws FileFault
   */
  static async open(
    files: Files,
    hashing: Hashing,
    volume: VolumeRoot,
    trip: { readonly id: TripId; readonly folder: string },
    journalBytesMax: Bytes,
  ): Promise<{ readonly record: DriveRecord; readonly facts: readonly EncodedFact[] }> {
    const content = await contentOrNothing(files, under(volume.root, journalFile(trip.id)), journalBytesMax);
    const { facts, spoilt, endsWhole } = readJournal(content, hashing);
    const held = new Set(facts.map((fact) => fact.id));
    const record = new DriveRecord(files, volume, trip.id, trip.folder, { held, spoilt, endsWhole });
    return { record, facts };
  }

  holds(fact: string): boolean {
    return this.#held.has(fact);
  }

  /**
   * Adds facts that the journal doesn't hold yet and forces them to the medium.
   * @throws FileFault; then some, all or none of the lines stand there, and adding them again is safe.
   */
  async add(entries: readonly JournalEntry[]): Promise<void> {
    const fresh = entries.filter((entry) => !this.#held.has(entry.id));
    if (fresh.length === 0) return;
    await this.#files.makeFolder(this.#volume, recordFolder(this.#trip));
    const lines = fresh.map(journalLine).join("");
    const addition = encoder.encode(this.#journalEndsWhole ? lines : `\n${lines}`);
    // Until the append has returned, a part of it may stand there without an end.
    this.#journalEndsWhole = false;
    await this.#files.appendOwn(under(this.#volume.root, journalFile(this.#trip)), addition);
    this.#journalEndsWhole = true;
    for (const entry of fresh) this.#held.add(entry.id);
  }

  /** Writes the profile beside the journal where it isn't there or is another. @throws FileFault */
  async keepProfile(text: string): Promise<void> {
    const path = under(this.#volume.root, profileFile(this.#trip));
    const wanted = encoder.encode(text);
    const found = await contentOrNothing(this.#files, path, bytes(Math.max(wanted.length, 1_000_000)));
    if (sameBytes(found, wanted)) return;
    await this.#files.makeFolder(this.#volume, recordFolder(this.#trip));
    await this.#files.replaceOwn(path, wanted);
  }

  /** Adds lines that the checksum list doesn't hold yet. The trip's folder must exist. @throws FileFault */
  async addChecksums(entries: readonly ChecksumEntry[]): Promise<void> {
    const lines = new Set(entries.map(checksumLine).filter((line) => !this.#listed.has(line)));
    if (lines.size === 0) return;
    const path = under(this.#volume.root, checksumFile(this.#tripFolder));
    await this.#files.appendOwn(path, encoder.encode([...lines].join("")));
    for (const line of lines) this.#listed.add(line);
  }

  /**
   * Makes the checksum list hold every copy that is known to stand on this drive. A torn or missing list is written
   * anew; lines about other files, which someone may have added, stay, but not one that says of such a copy that it
   * stands somewhere else, where it was before it was moved. @throws FileFault
   */
  async mendChecksums(wanted: readonly ChecksumEntry[], most: Bytes): Promise<void> {
    const path = under(this.#volume.root, checksumFile(this.#tripFolder));
    const content = await contentOrNothing(this.#files, path, most);
    const { entries, whole } = readChecksums(content);
    const ours = new Map(wanted.filter(isListable).map((entry) => [nameKey(entry.path), entry]));
    const heldHashes = new Set(wanted.map((entry) => entry.hash));
    const foreign = entries.filter((entry) => !ours.has(nameKey(entry.path)));
    const others = foreign.filter((entry) => !heldHashes.has(entry.hash));
    const right = entries.filter((entry) => ours.get(nameKey(entry.path))?.hash === entry.hash).length;
    // A line may stand there of which nobody knows: the power went between writing it and the ledger.
    for (const { hash, path: listed } of [...entries, ...ours.values()])
      this.#listed.add(`${hash}  ${listed}\n`);
    if (whole && right === ours.size && entries.length === right + others.length) return;
    if (ours.size + others.length === 0) return;
    await this.#files.makeFolder(this.#volume, relativePath(this.#tripFolder));
    const kept = others.map((entry) => `${entry.hash}  ${entry.path}\n`);
    const lines = [...kept, ...[...ours.values()].map(checksumLine)];
    await this.#files.replaceOwn(path, encoder.encode(lines.join("")));
  }
}

async function contentOrNothing(files: Files, path: AbsolutePath, most: Bytes): Promise<Uint8Array> {
  try {
    return await files.readSmall(path, most);
  } catch (fault) {
    if (fault instanceof FileFault && fault.code === "missing") return new Uint8Array();
    throw fault;
  }
}

function sameBytes(a: Uint8Array, b: Uint8Array): boolean {
  return a.length === b.length && a.every((value, index) => value === b[index]);
}
