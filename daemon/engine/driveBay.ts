/**
 * The drives that are plugged in and known: made ready when they come, kept from use while they fail, brought up to
 * date with what is learnt. A failure here concerns one drive and no other.
 */

import type { CardId, DriveId, OriginalId, RelativePath, TripId, VolumeId } from "../../shared/identity.ts";
import { under } from "../../shared/identity.ts";
import { FileFault, type FileFaultCode } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { type Bytes, bytes, type Millis, millis } from "../../shared/units.ts";
import type { PlanDrive } from "../core/plan.ts";
import type { CopyRow, EncodedFact } from "../ports/ledger.ts";
import { incomingFolder } from "../record/driveLayout.ts";
import { encodeFact } from "../record/journal.ts";
import { type BlockPool, Places } from "./bounds.ts";
import type { Target } from "./copyPass.ts";
import type { KnownTrip } from "./dating.ts";
import { examine } from "./examine.ts";
import { wordsFor } from "./faultWords.ts";
import { GivenUp } from "./givenUp.ts";
import { type Concluded, concludeLosses, type Lost } from "./losses.ts";
import type { EnginePorts } from "./ports.ts";
import type { Presence, PresentDrive } from "./presence.ts";
import { Publisher } from "./publisher.ts";
import { notStanding, stillThere, type WrittenCopy } from "./standing.ts";
import type { TripBook } from "./tripBook.ts";

/** What the bay needs of the rest of the engine. */
export interface BaySurroundings {
  readonly ports: EnginePorts;
  readonly presence: Presence;
  readonly tripBook: TripBook;
  readonly verifyPool: BlockPool;
  readonly stop: AbortSignal;
  /** A drive came anew: what was given up on it is offered again. */
  readonly cameAnew: (drive: DriveId) => void;
  /** A drive's record told something new. */
  readonly learnt: () => void;
  /** Something came or went while it wasn't looked for. */
  readonly refresh: () => void;
  /** A drive failed: what is the matter is to be said. */
  readonly troubled: () => void;
}

/** A drive that can't be used for now. */
interface DriveTrouble {
  readonly code: FileFaultCode;
  /** On the steady clock. */
  readonly since: Millis;
}

/** What became of a failure: the drive is out of use, only the file is, or the drive isn't there any more. */
export type DriveFaultOutcome = "drive" | "file" | "gone";

export class DriveBay {
  readonly #around: BaySurroundings;
  readonly #ports: EnginePorts;
  /** What isn't copied to which drive any more, whoever would give it. */
  readonly givenUp = new GivenUp();
  readonly #targets = new Map<VolumeId, Target>();
  readonly #troubles = new Map<VolumeId, DriveTrouble>();
  /** By volume: trips of which it was looked whether the copies stand, since the drive came or failed. */
  readonly #looked = new Map<VolumeId, Set<TripId>>();
  /** Free space as last asked. */
  readonly #free = new Map<DriveId, Bytes>();

  constructor(around: BaySurroundings) {
    this.#around = around;
    this.#ports = around.ports;
  }

  /** What can be written to, by drive. */
  get targets(): ReadonlyMap<DriveId, Target> {
    return new Map([...this.#targets.values()].map((target) => [target.publisher.drive.id, target]));
  }

  /** Drives whose journals have lines that don't hold. */
  spoiltRecords() {
    return [...this.#targets.values()]
      .map(({ publisher }) => ({
        name: publisher.drive.name,
        id: publisher.drive.id,
        lines: publisher.spoiltLines,
      }))
      .filter((record) => record.lines > 0);
  }

  freeOf(drive: PresentDrive): Bytes {
    return this.#free.get(drive.id) ?? drive.traits.freeBytes;
  }

  isUsable(drive: DriveId): boolean {
    const present = this.#around.presence.drives.find((each) => each.id === drive);
    return present !== undefined && !present.gone.aborted && !this.#troubles.has(present.volume.id);
  }

  /** The drives as a plan looks at them: those in use, and full ones without any room. */
  planDrives(): readonly PlanDrive[] {
    return this.#around.presence.drives
      .filter((drive) => this.isUsable(drive.id) || this.#isFull(drive))
      .map((drive) => ({
        id: drive.id,
        trips: this.#tripsWithRecord(drive),
        freeBytes: this.#isFull(drive) ? bytes(0) : this.freeOf(drive),
        totalBytes: drive.traits.totalBytes,
        blockBytes: drive.traits.blockBytes,
      }));
  }

  // --- coming and going ------------------------------------------------------------------------------------------

  /** Brings the bay in line with what is plugged in. */
  async attendAll(): Promise<void> {
    this.#forgetWhatWent();
    for (const drive of this.#around.presence.drives) await this.#attend(drive);
  }

  #forgetWhatWent(): void {
    const present = new Set(this.#around.presence.drives.map((drive) => drive.volume.id));
    for (const [id, { publisher }] of this.#targets) {
      // The same volume may have been looked at anew; then it is another drive for us.
      if (present.has(id) && !publisher.drive.gone.aborted) continue;
      this.#targets.delete(id);
      this.#troubles.delete(id);
      this.#looked.delete(id);
      this.#ports.ledger.note("drive", publisher.drive.id, "unplugged", this.#ports.clock.now());
    }
  }

  async #attend(drive: PresentDrive): Promise<void> {
    const target = this.#targets.get(drive.volume.id) ?? (await this.#welcome(drive));
    const { publisher } = target;
    this.#endTrouble(drive);
    await this.#askFree(drive);
    for (const trip of this.#tripsOn(drive)) {
      if (!this.isUsable(drive.id)) continue;
      if (!publisher.hasRecord(trip.id)) {
        this.#tellOfDrive(drive, trip.id);
        await this.#openRecord(publisher, trip);
      }
      const looked = this.#looked.get(drive.volume.id) ?? new Set<TripId>();
      this.#looked.set(drive.volume.id, looked);
      if (!publisher.hasRecord(trip.id) || looked.has(trip.id)) continue;
      const copies = this.#ports.ledger.copiesOn(drive.id, trip.id);
      if (await this.#checkStanding(publisher, trip.id, copies)) looked.add(trip.id);
    }
  }

  /** Trips that name the drive, and those of which it holds copies all the same. */
  #tripsOn(drive: PresentDrive): readonly KnownTrip[] {
    const { tripBook } = this.#around;
    const named = tripBook.tripsOf(drive.name);
    const held = this.#ports.ledger.tripsHeld(drive.id).map((trip) => tripBook.find(trip));
    return [...new Set([...named, ...held.filter((trip) => trip !== undefined)])];
  }

  /** Whether it is in and what it holds can't be looked at now: its copies prove nothing until they were. */
  isDoubtful(drive: DriveId): boolean {
    const present = this.#around.presence.drives.find((each) => each.id === drive);
    if (present === undefined) return false;
    const looked = this.#looked.get(present.volume.id);
    const unlooked = this.#ports.ledger.tripsHeld(drive).some((trip) => looked?.has(trip) !== true);
    return unlooked || (this.#troubles.has(present.volume.id) && !this.#isFull(present));
  }

  async #welcome(drive: PresentDrive): Promise<Target> {
    const { ledger, clock, limits } = this.#ports;
    const publisher = new Publisher(
      this.#ports,
      drive,
      this.#around.verifyPool,
      (facts, from) => this.tell(facts, from),
      (facts) => this.#learnt(facts, publisher),
    );
    const target: Target = { publisher, verifying: new Places(limits.verifyFilesPerDrive) };
    this.#targets.set(drive.volume.id, target);
    ledger.clearFaults(drive.id);
    this.givenUp.driveCameAnew(drive.id);
    this.#around.cameAnew(drive.id);
    ledger.note("drive", drive.id, `plugged in as ${printable(drive.name)}`, clock.now());
    await this.guarded(publisher, () => this.#clearIncoming(drive));
    return target;
  }

  /** Unfinished work of an earlier run is nobody's: it is removed and made anew. */
  async #clearIncoming(drive: PresentDrive): Promise<void> {
    const { files } = this.#ports;
    const folder = under(drive.volume.root, incomingFolder);
    const entries = await files.list(folder).catch((fault: unknown) => {
      if (fault instanceof FileFault && fault.code === "missing") return [];
      throw fault;
    });
    for (const entry of entries)
      if (entry.kind === "file") await files.removeUnfinished(under(folder, entry.name));
  }

  /** Every drive of a trip is made known to the trip's other drives. */
  #tellOfDrive(drive: PresentDrive, trip: TripId): void {
    const { ledger, clock, hashing } = this.#ports;
    if (ledger.nameInTrip(drive.id, trip) === drive.name) return;
    const fact = encodeFact(
      { kind: "drive", trip, at: clock.now(), drive: drive.id, name: drive.name },
      hashing,
    );
    ledger.apply([fact]);
    this.tell([fact]);
  }

  // --- records and copies ----------------------------------------------------------------------------------------

  /** Every other drive that is in learns it too; one that is away finds it in the ledger when it comes. */
  tell(facts: readonly EncodedFact[], from?: Publisher): void {
    for (const { publisher } of this.#targets.values()) if (publisher !== from) publisher.learn(facts);
  }

  /** A drive's record knew something: the other drives learn it, and what hangs on it is looked at anew. */
  #learnt(facts: readonly EncodedFact[], from: Publisher): void {
    this.tell(facts, from);
    const { ledger, clock } = this.#ports;
    ledger.note(
      "drive",
      from.drive.id,
      `its record told ${facts.length} facts that weren't known here`,
      clock.now(),
    );
    for (const looked of this.#looked.values()) looked.clear();
    this.#around.learnt();
  }

  /** A trip is described anew: its profile goes to every drive that has its record. */
  async profileChanged(trip: KnownTrip): Promise<void> {
    for (const { publisher } of [...this.#targets.values()])
      if (publisher.hasRecord(trip.id)) await this.#openRecord(publisher, trip);
  }

  /** Writes what was learnt into every journal. */
  async flushRecords(): Promise<void> {
    for (const { publisher } of [...this.#targets.values()])
      if (this.isUsable(publisher.drive.id)) await this.guarded(publisher, () => publisher.flush());
  }

  /** What drives that are in hold of a card, looked at before anything is said of the card. */
  async checkCopiesOf(card: CardId): Promise<void> {
    const { ledger } = this.#ports;
    const originals = new Set(ledger.cardFiles(card).map((file) => file.original));
    for (const { publisher } of [...this.#targets.values()])
      for (const trip of this.#tripsOn(publisher.drive)) {
        if (!publisher.hasRecord(trip.id) || !this.isUsable(publisher.drive.id)) continue;
        const copies = ledger.copiesOn(publisher.drive.id, trip.id);
        const ofCard = copies.filter((copy) => originals.has(copy.original));
        if (await this.#checkStanding(publisher, trip.id, ofCard)) continue;
        this.#looked.get(publisher.drive.volume.id)?.delete(trip.id);
      }
  }

  /** A record that can't be opened keeps the whole drive from being used, whatever the reason. */
  async #openRecord(publisher: Publisher, trip: KnownTrip): Promise<void> {
    const text = this.#around.tripBook.textOf(trip.id);
    await this.guarded(publisher, async () => {
      try {
        await publisher.openRecord(trip, text);
      } catch (fault) {
        const ofFile =
          fault instanceof FileFault && (fault.code === "too-large" || fault.code === "bad-name");
        throw ofFile ? new FileFault("io", fault.path, fault) : fault;
      }
    });
  }

  /**
   * Copies that someone removed, moved or cut short don't count any more where they were; they are owed again.
   * @returns whether all of them were looked at
   */
  async #checkStanding(publisher: Publisher, trip: TripId, copies: readonly CopyRow[]): Promise<boolean> {
    const { ledger } = this.#ports;
    const written = copies.flatMap((copy) => {
      const original = ledger.original(copy.original);
      return original?.trip === trip ? [{ copy, original }] : [];
    });
    return this.guarded(publisher, async () => {
      const suspects = await notStanding(this.#ports, publisher, written);
      if (suspects.length > 0) await this.lookInto(publisher, suspects);
    });
  }

  /**
   * Reads copies that may not be good and concludes what became of them.
   * @returns those that aren't good any more; nothing when the drive went meanwhile
   * @throws FileFault when the drive gives no answer
   */
  async lookInto(publisher: Publisher, suspects: readonly WrittenCopy[]): Promise<readonly Concluded[]> {
    const lost: Lost[] = [];
    for (const suspect of suspects) {
      const examined = await examine(this.#ports, publisher, suspect, this.#around.verifyPool);
      if (examined === undefined) return [];
      if (examined.what !== "good") lost.push({ ...suspect, examined });
    }
    return this.conclude(publisher, lost);
  }

  /** Writes down that copies aren't good any more, unless their drive has simply gone. @throws FileFault */
  async conclude(publisher: Publisher, lost: readonly Lost[]): Promise<readonly Concluded[]> {
    if (lost.length === 0) return [];
    const { presence, verifyPool, stop } = this.#around;
    const unreadable = lost.filter(
      ({ examined }) => examined.what === "damaged" && examined.found === undefined,
    );
    // A drive that was pulled fails for a moment before its mount goes.
    if (unreadable.length > 0) await this.#ports.clock.sleep(millis(this.#ports.limits.pulledSettle), stop);
    const confirm = async (): Promise<void> => {
      await presence.look();
      if (!publisher.drive.gone.aborted) await stillThere(this.#ports, publisher);
    };
    await confirm();
    if (publisher.drive.gone.aborted || stop.aborted) return [];
    const certain: Lost[] = lost.filter((each) => !unreadable.includes(each));
    for (const each of unreadable) {
      const examined = await examine(this.#ports, publisher, each, verifyPool);
      if (examined === undefined) return [];
      if (examined.what !== "good") certain.push({ ...each, examined });
    }
    const tell = (facts: readonly EncodedFact[]) => this.tell(facts);
    return concludeLosses(this.#ports, publisher, tell, confirm, verifyPool, certain);
  }

  #tripsWithRecord(drive: PresentDrive): readonly TripId[] {
    const publisher = this.#targets.get(drive.volume.id)?.publisher;
    const ids = this.#around.tripBook.tripsOf(drive.name).map((trip) => trip.id);
    return ids.filter((id) => publisher?.hasRecord(id) === true);
  }

  // --- trouble ---------------------------------------------------------------------------------------------------

  /** A drive failed at `path` of the source ("" where no file is concerned). Says so unless the drive has simply gone. */
  async onFault(
    drive: DriveId,
    path: RelativePath,
    original: OriginalId | undefined,
    fault: unknown,
  ): Promise<DriveFaultOutcome> {
    const { presence, refresh, stop } = this.#around;
    const { ledger, clock, limits } = this.#ports;
    const code = fault instanceof FileFault ? fault.code : "io";
    const target = [...this.#targets.values()].find((each) => each.publisher.drive.id === drive);
    if (target === undefined) return "gone";
    const { volume, gone } = target.publisher.drive;
    if (await presence.look()) refresh();
    if (gone.aborted) return "gone";
    if (code === "gone") {
      // It isn't what was plugged in there; the next look finds out what is.
      presence.reconsider(volume.id);
      refresh();
      return "gone";
    }
    const fileOnly = code === "bad-name" || code === "too-large";
    if (!fileOnly) this.#troubles.set(volume.id, { code, since: clock.steady() });
    if (!fileOnly && code !== "no-space") {
      // A drive that was pulled fails for a moment before its mount goes; that is no fault of the drive's.
      await clock.sleep(millis(limits.pulledSettle), stop);
      if (await presence.look()) refresh();
      if (gone.aborted) return "gone";
    }
    if (code !== "no-space")
      ledger.setFault({
        medium: drive,
        path: fileOnly ? this.#filedPath(original, path) : "",
        code: fileOnly ? code : "write-error",
        detail: wordsFor(code),
        at: clock.now(),
      });
    this.#around.troubled();
    return fileOnly ? "file" : "drive";
  }

  /** A copy read back differently. Made again a few times at most, then said and left. */
  onDifference(drive: DriveId, path: RelativePath, original: OriginalId): void {
    const { ledger, clock, limits } = this.#ports;
    if (this.givenUp.differed(original, drive) < limits.copyTries) return;
    this.givenUp.add(original, drive);
    const filed = this.#filedPath(original, path);
    ledger.setFault({ medium: drive, path: filed, code: "copy-differs", detail: "", at: clock.now() });
    this.#around.troubled();
  }

  /** Where a file is filed, so that it has one name whoever gives it; its path at the source until that is known. */
  #filedPath(original: OriginalId | undefined, path: RelativePath): RelativePath {
    const row = original === undefined ? undefined : this.#ports.ledger.original(original);
    return row?.path ?? path;
  }

  /** Whether a drive that failed may be tried again by now. */
  retryIsDue(): boolean {
    return [...this.#troubles.values()].some((trouble) => this.#mayRetry(trouble));
  }

  /** Whether one of these drives, which were too full, has more room than when it was last asked. */
  async spaceWasFreed(full: ReadonlySet<DriveId>): Promise<boolean> {
    let freed = false;
    for (const drive of this.#around.presence.drives) {
      if (!full.has(drive.id)) continue;
      const before = this.freeOf(drive);
      await this.#askFree(drive);
      if (this.freeOf(drive) <= before) continue;
      freed = true;
      if (this.#isFull(drive)) this.#troubles.delete(drive.volume.id);
    }
    return freed;
  }

  /** A drive that failed is tried again after a while, as long as it stays in. */
  #endTrouble(drive: PresentDrive): void {
    const trouble = this.#troubles.get(drive.volume.id);
    if (trouble === undefined || !this.#mayRetry(trouble)) return;
    this.#troubles.delete(drive.volume.id);
    this.#ports.ledger.clearFaults(drive.id, "");
  }

  #mayRetry(trouble: DriveTrouble): boolean {
    return this.#ports.clock.steady() - trouble.since >= this.#ports.limits.driveRetryAfter;
  }

  #isFull(drive: PresentDrive): boolean {
    return this.#troubles.get(drive.volume.id)?.code === "no-space";
  }

  async #askFree(drive: PresentDrive): Promise<void> {
    try {
      this.#free.set(drive.id, (await this.#ports.files.traits(drive.volume.root)).freeBytes);
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
    }
  }

  /** Runs work on one drive; its failure concerns that drive alone. @returns whether it was done */
  async guarded(publisher: Publisher, work: () => Promise<void>): Promise<boolean> {
    try {
      await work();
      return !publisher.drive.gone.aborted;
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
      await this.onFault(publisher.drive.id, "" as RelativePath, undefined, fault);
      return false;
    }
  }
}
