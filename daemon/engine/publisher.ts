/**
 * Giving verified work its final name on one drive, and writing that down: rename without replacing, flush the folder,
 * the drive's journal and checksum list, then the ledger. Work that arrives while one round is under way goes into the
 * next, so that many small files share one flush.
 *
 * Invariants: nothing comes here that wasn't read back and found equal; the ledger learns of a copy only after the
 * drive's own journal holds it; what stands under a name already is compared, never replaced.
 */

import type { Fact, ReadBack } from "../../shared/facts.ts";
import {
  type AbsolutePath,
  baseName,
  type ContentHash,
  folderOf,
  nameKey,
  type OriginalId,
  type RelativePath,
  relativePath,
  type TripId,
  under,
} from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { type Bytes, bytes } from "../../shared/units.ts";
import { suffixed } from "../core/filing.ts";
import type { EncodedFact } from "../ports/ledger.ts";
import type { ChecksumEntry } from "../record/checksums.ts";
import { asideFile, checksumFile } from "../record/driveLayout.ts";
import { DriveRecord } from "../record/driveRecord.ts";
import { encodeFact } from "../record/journal.ts";
import type { BlockPool } from "./bounds.ts";
import type { KnownTrip } from "./dating.ts";
import { learnFacts, newsFor } from "./learn.ts";
import type { EnginePorts } from "./ports.ts";
import type { PresentDrive } from "./presence.ts";
import { type Reading, readBack } from "./readBack.ts";

/** A verified file that awaits its final name on this drive. */
export interface Ready {
  readonly original: OriginalId;
  readonly trip: TripId;
  readonly hash: ContentHash;
  readonly size: Bytes;
  /** Where it goes, below the trip's folder. */
  readonly path: RelativePath;
  readonly readBack: ReadBack;
  /** The unfinished file; undefined where it stands under its final name already. */
  readonly temp: AbsolutePath | undefined;
}

/** What became of it. */
export type Published =
  | { readonly published: true; readonly path: RelativePath }
  | { readonly published: false; readonly fault: unknown };

/** Compared as drives compare names, below the trip's folder. */
const checksumName = nameKey(baseName(checksumFile("")));

interface Waiting {
  readonly ready: Ready;
  readonly resolve: (result: Published) => void;
}

export class Publisher {
  readonly drive: PresentDrive;
  readonly #ports: EnginePorts;
  readonly #pool: BlockPool;
  readonly #records = new Map<TripId, { readonly record: DriveRecord; readonly trip: KnownTrip }>();
  readonly #folders = new Set<RelativePath>();
  /** Copies were lost or moved since the checksum lists were last compared. */
  #listStale = false;
  /** Facts that this drive's journals don't hold yet. */
  readonly #news = new Map<TripId, EncodedFact[]>();
  #waiting: Waiting[] = [];
  #round: Promise<void> | undefined;
  /** Called with the facts of each round, so that the other drives learn them. */
  readonly #tell: (facts: readonly EncodedFact[], from: Publisher) => void;
  /** Called with facts that this drive's record knew and nobody here. */
  readonly #learnt: (facts: readonly EncodedFact[]) => void;

  constructor(
    ports: EnginePorts,
    drive: PresentDrive,
    pool: BlockPool,
    tell: (facts: readonly EncodedFact[], from: Publisher) => void,
    learnt: (facts: readonly EncodedFact[]) => void,
  ) {
    this.#ports = ports;
    this.drive = drive;
    this.#pool = pool;
    this.#tell = tell;
    this.#learnt = learnt;
  }

  /** Journal lines that didn't hold when the records were read. */
  get spoiltLines(): number {
    let lines = 0;
    for (const { record } of this.#records.values()) lines += record.spoiltLines;
    return lines;
  }

  /**
   * Reads this drive's record of a trip and brings it up to what is known: facts, profile, checksum list.
   * @throws FileFault
   */
  async openRecord(trip: KnownTrip, profileText: string): Promise<void> {
    const { files, hashing, ledger, limits } = this.#ports;
    const most = bytes(limits.journalBytesMax);
    // Until all of it has succeeded there is no record: what is half up to date is opened anew.
    this.#records.delete(trip.id);
    this.#news.delete(trip.id);
    const { record, facts } = await DriveRecord.open(files, hashing, this.drive.at, trip, most);
    const known = new Set<string>();
    for (const fact of ledger.factsOf(trip.id)) known.add(fact.id);
    // The power may have gone between this journal and the ledger, or the drive was elsewhere: what was verified there
    // isn't done again, and what was lost there doesn't count.
    const news = newsFor(facts, known, trip.id);
    if (news.length > 0) {
      learnFacts(this.#ports, news);
      this.#learnt(news);
    }
    await record.keepProfile(profileText);
    let missing: { readonly id: string; readonly json: string }[] = [];
    for (const fact of ledger.factsOf(trip.id)) {
      if (!record.holds(fact.id)) missing.push(fact);
      if (missing.length < 5_000) continue;
      await record.add(missing);
      missing = [];
    }
    await record.add(missing);
    await record.mendChecksums(this.#heldOf(trip.id), most);
    this.#records.set(trip.id, { record, trip });
  }

  #heldOf(trip: TripId): readonly ChecksumEntry[] {
    const { ledger } = this.#ports;
    const held: ChecksumEntry[] = [];
    for (const copy of ledger.copiesOn(this.drive.id, trip)) {
      const original = ledger.original(copy.original);
      if (original !== undefined) held.push({ hash: original.hash, path: copy.path });
    }
    return held;
  }

  /** A copy was lost or moved: the checksum lists are compared with what stands here at the next flush. */
  listMayBeStale(): void {
    this.#listStale = true;
  }

  hasRecord(trip: TripId): boolean {
    return this.#records.has(trip);
  }

  /** Facts for this drive's journal, written with the next round or by `flush`. */
  learn(facts: readonly EncodedFact[]): void {
    for (const fact of facts) {
      if (!this.#records.has(fact.fact.trip)) continue;
      const news = this.#news.get(fact.fact.trip);
      if (news === undefined) this.#news.set(fact.fact.trip, [fact]);
      else news.push(fact);
    }
  }

  /** Resolves when the file stands under its final name and drive and ledger both know it, or when that failed. */
  publish(ready: Ready): Promise<Published> {
    return new Promise((resolve) => {
      this.#waiting.push({ ready, resolve });
      this.#begin();
    });
  }

  /** Resolves when everything handed over has been dealt with and the journals hold all news. @throws FileFault */
  async flush(): Promise<void> {
    while (this.#round !== undefined) await this.#round;
    await this.#writeNews();
    if (!this.#listStale) return;
    const { ledger, limits } = this.#ports;
    for (const [trip, { record }] of this.#records)
      await record.mendChecksums(this.#heldOf(trip), bytes(limits.journalBytesMax));
    // As long as something is to be made good here, its line may change once more.
    this.#listStale = [...this.#records.keys()].some((trip) => ledger.losses(this.drive.id, trip).length > 0);
  }

  #begin(): void {
    if (this.#round !== undefined) return;
    this.#round = this.#rounds().finally(() => {
      this.#round = undefined;
    });
  }

  async #rounds(): Promise<void> {
    while (this.#waiting.length > 0) {
      const batch = this.#waiting;
      this.#waiting = [];
      const done = new Map<Waiting, Published>();
      try {
        await this.#publishBatch(batch, done);
      } catch (fault) {
        for (const waiting of batch) done.set(waiting, { published: false, fault });
      }
      for (const waiting of batch)
        waiting.resolve(done.get(waiting) ?? { published: false, fault: new Error("not published") });
    }
  }

  async #publishBatch(batch: readonly Waiting[], done: Map<Waiting, Published>): Promise<void> {
    const named: { readonly waiting: Waiting; readonly path: RelativePath; readonly readBack: ReadBack }[] =
      [];
    const folders = new Set<AbsolutePath>();
    for (const waiting of batch) {
      try {
        const place = await this.#giveName(waiting.ready);
        named.push({ waiting, ...place });
        folders.add(this.pathOf(waiting.ready.trip, folderOf(place.path)));
      } catch (fault) {
        if (!(fault instanceof FileFault)) throw fault;
        // Someone may have removed a folder that was made before.
        if (fault.code === "missing") this.#folders.clear();
        done.set(waiting, { published: false, fault });
      }
    }
    for (const folder of folders) await this.#ports.files.flushFolder(folder);
    for (const { waiting, path } of named) await this.#setAsideElsewhere(waiting.ready, path);

    const at = this.#ports.clock.now();
    const facts = named.map(({ waiting: { ready }, path, readBack: how }) => {
      const { trip, original } = ready;
      const before = this.#ports.ledger.copyFacts(original, this.drive.id).length;
      const fact: Fact = {
        kind: "copy",
        trip,
        at,
        original,
        drive: this.drive.id,
        path,
        readBack: how,
        ...(before === 0 ? {} : { again: before }),
      };
      return encodeFact(fact, this.#ports.hashing);
    });
    this.learn(facts);
    await this.#writeNews();
    for (const [trip, { record }] of this.#records) {
      const lines = named.filter(({ waiting }) => waiting.ready.trip === trip);
      await record.addChecksums(lines.map(({ waiting, path }) => ({ hash: waiting.ready.hash, path })));
    }
    this.#ports.ledger.apply(facts);
    this.#tell(facts, this);
    for (const { waiting, path } of named) done.set(waiting, { published: true, path });
  }

  /**
   * Moves the unfinished file to its final name. A name that is taken by the same bytes is this copy already; by other
   * bytes, a number is added on this drive and the files there stay as they are. Only what was found damaged there, and
   * still is what was found, is set aside for the good copy.
   */
  async #giveName(ready: Ready): Promise<{ readonly path: RelativePath; readonly readBack: ReadBack }> {
    if (ready.temp === undefined) return { path: ready.path, readBack: ready.readBack };
    const { files, ledger, clock } = this.#ports;
    for (let nth = 1; ; nth += 1) {
      const path = nth === 1 ? ready.path : suffixed(ready.path, nth);
      // A card's file may be called as our own list is.
      if (nameKey(path) === checksumName) continue;
      // A name beside the wanted one may belong to another frame that is still on its way here.
      if (nth > 1 && ledger.originalAt(ready.trip, nameKey(path)) !== undefined) continue;
      const target = this.pathOf(ready.trip, path);
      await this.#makeFolder(ready.trip, folderOf(path));
      if ((await files.moveNoReplace(ready.temp, target)) === "moved")
        return { path, readBack: ready.readBack };
      const there = await readBack(files, target, this.#pool, this.#ports.hashing).catch((fault: unknown) => {
        // A folder of that name, say: taken all the same.
        if (fault instanceof FileFault && fault.code !== "gone") return undefined;
        throw fault;
      });
      if (there !== undefined && there.hash === ready.hash && there.size === ready.size) {
        await files.removeUnfinished(ready.temp);
        return { path, readBack: there.readBack };
      }
      if (await this.#setAside(ready.trip, path, there)) {
        if ((await files.moveNoReplace(ready.temp, target)) === "moved")
          return { path, readBack: ready.readBack };
      }
      // What another program made of this frame is no stranger.
      if (ledger.lossAt(this.drive.id, ready.trip, nameKey(path))?.why === "changed") continue;
      ledger.setFault({
        medium: this.drive.id,
        path,
        code: "name-clash",
        detail: "",
        at: clock.now(),
      });
    }
  }

  /** The damaged copy that this one replaces may stand under a name that someone gave it. */
  async #setAsideElsewhere({ trip, original }: Ready, path: RelativePath): Promise<void> {
    const loss = this.#ports.ledger.lossOf(this.drive.id, original);
    if (loss?.why !== "damaged" || nameKey(loss.path) === nameKey(path)) return;
    const { files, hashing } = this.#ports;
    try {
      const there = await readBack(files, this.pathOf(trip, loss.path), this.#pool, hashing).catch(
        (fault: unknown) => {
          if (fault instanceof FileFault && fault.code === "io") return undefined;
          throw fault;
        },
      );
      await this.#setAside(trip, loss.path, there);
    } catch (fault) {
      // It may have been moved on or taken away: then there is nothing to set aside.
      if (!(fault instanceof FileFault) || fault.code === "gone") throw fault;
    }
  }

  /** @returns whether the name is free now. */
  async #setAside(trip: TripId, path: RelativePath, there: Reading | undefined): Promise<boolean> {
    const { files, ledger, clock } = this.#ports;
    const loss = ledger.lossAt(this.drive.id, trip, nameKey(path));
    if (loss?.why !== "damaged") return false;
    // What counts as a copy of another original stays where it counts.
    if (ledger.copyAt(this.drive.id, trip, nameKey(path)) !== undefined) return false;
    // Someone may have put another file there since.
    if (loss.found?.hash !== there?.hash || loss.found?.size !== there?.size) return false;
    const target = this.pathOf(trip, path);
    if ((await files.facts(target)).kind !== "file") return false;
    for (let nth = 1; ; nth += 1) {
      const aside = asideFile(trip, nth === 1 ? path : suffixed(path, nth));
      await files.makeFolder(this.drive.at, folderOf(aside));
      if ((await files.moveNoReplace(target, this.absolute(aside))) === "taken") continue;
      await files.flushFolder(this.absolute(folderOf(aside)));
      await files.flushFolder(this.pathOf(trip, folderOf(path)));
      ledger.note("copy", this.drive.id, `${path} is damaged and was set aside as ${aside}`, clock.now());
      return true;
    }
  }

  async #makeFolder(trip: TripId, folder: RelativePath): Promise<void> {
    const inside = this.#inside(trip, folder);
    if (this.#folders.has(inside)) return;
    await this.#ports.files.makeFolder(this.drive.at, inside);
    this.#folders.add(inside);
  }

  async #writeNews(): Promise<void> {
    for (const [trip, { record }] of this.#records) {
      const news = this.#news.get(trip);
      if (news === undefined) continue;
      this.#news.delete(trip);
      try {
        await record.add(news);
      } catch (fault) {
        this.#news.set(trip, [...news, ...(this.#news.get(trip) ?? [])]);
        throw fault;
      }
    }
  }

  /** Where a path of a trip is on this drive. */
  pathOf(trip: TripId, path: RelativePath): AbsolutePath {
    return under(this.drive.volume.root, this.#inside(trip, path));
  }

  /** A path below this drive's root, on this computer. */
  absolute(path: RelativePath): AbsolutePath {
    return under(this.drive.volume.root, path);
  }

  /** A path of a trip, below this drive's root. */
  inside(trip: TripId, path: RelativePath): RelativePath {
    return this.#inside(trip, path);
  }

  /** The folder that a path of a trip stands in, below this drive's root. */
  folderInside(trip: TripId, path: RelativePath): RelativePath {
    return this.#inside(trip, folderOf(path));
  }

  #inside(trip: TripId, path: RelativePath): RelativePath {
    const entry = this.#records.get(trip);
    if (entry === undefined) throw new Error("a record is opened before anything is published");
    const { folder } = entry.trip;
    return relativePath(path === "" ? folder : `${folder}/${path}`);
  }
}
