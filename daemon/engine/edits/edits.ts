/**
 * Work files: looked at on every drive that is in, written down as versions when they are quiet, and mirrored to the
 * trip's other drives. Hints say when to look; what is to be done is worked out from what stands there and from the
 * ledger each time.
 *
 * This file turns the round: list, assess, mirror. Which drives are looked at is `looking.ts`, what stands on one
 * `assess.ts`, what goes from drive to drive `mirror.ts`, how it is put in place `swap.ts`, what becomes of earlier versions
 * `history.ts`, what people are told `view.ts`.
 */

import { assert } from "../../../shared/brand.ts";
import { counted } from "../../../shared/format.ts";
import {
  type DriveId,
  nameKey,
  type RelativePath,
  type TripId,
  type VolumeId,
} from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { printable } from "../../../shared/text.ts";
import { bytes } from "../../../shared/units.ts";
import { holding } from "../../core/edits/versions.ts";
import type { EditHead } from "../../ports/editLedger.ts";
import type { EncodedFact } from "../../ports/ledger.ts";
import { encodeFact } from "../../record/journal.ts";
import type { BlockPool } from "../bounds.ts";
import type { KnownTrip } from "../dating.ts";
import type { DriveBay } from "../driveBay.ts";
import type { EnginePorts } from "../ports.ts";
import type { Presence, PresentDrive } from "../presence.ts";
import { type CurrentWork, Progress } from "../progress.ts";
import type { TripBook } from "../tripBook.ts";
import type { VolumeUse } from "../volumeUse.ts";
import { type Assessment, assessUnit, dueOf, type UnitKeys } from "./assess.ts";
import { thinHistory } from "./history.ts";
import { Looking } from "./looking.ts";
import { takeOverFromLost } from "./lostVersions.ts";
import {
  headsByKey,
  holdingFact,
  lackingOn,
  type MirrorPorts,
  mirrorUnit,
  standsNow,
  type Transfer,
  transfersOf,
} from "./mirror.ts";
import { movedOriginals } from "./originals.ts";
import { keepOtherSides } from "./otherSides.ts";
import { recoverSwaps } from "./swap.ts";
import { Units } from "./units.ts";
import type { Watched } from "./watching.ts";

export interface EditSurroundings {
  readonly ports: EnginePorts;
  readonly presence: Presence;
  readonly tripBook: TripBook;
  readonly bay: DriveBay;
  readonly use: VolumeUse;
  readonly streamPool: BlockPool;
  readonly verifyPool: BlockPool;
  readonly stop: AbortSignal;
  readonly interrupted: () => boolean;
  /** Something is to be looked at; what is under way isn't broken off for it. */
  readonly nudge: () => void;
  readonly settle: () => void;
}

/** What is waited for, and what is left out, as of the last look. */
export interface EditsNow {
  readonly waiting: readonly { readonly path: RelativePath; readonly why: string }[];
  readonly waitingFiles: number;
  readonly leftOut: { readonly files: number; readonly bytes: number };
}

/** units. What drives hold anew is written into their journals after so many at the latest. */
const writtenDownEvery = 50;

export class Edits {
  readonly #around: EditSurroundings;
  readonly #ports: EnginePorts;
  readonly #looking: Looking;
  readonly #units: Units;
  readonly #now = new Map<TripId, EditsNow>();
  /** On the steady clock: when what waits by time alone may be taken. */
  #dueAt: number | undefined;
  #work: CurrentWork | undefined;

  constructor(around: EditSurroundings) {
    this.#around = around;
    this.#ports = around.ports;
    this.#looking = new Looking(around);
    this.#units = new Units(around.ports, around.verifyPool);
  }

  get work(): CurrentWork | undefined {
    return this.#work;
  }

  nowOf(trip: TripId): EditsNow | undefined {
    return this.#now.get(trip);
  }

  /** The drive's files are compared anew, originals by their sizes too: something was done to them beside the rounds. */
  lookAgain(drive: DriveId): void {
    this.#looking.again(drive);
  }

  /** What was broken off on drives that are here is undone. A drive that fails is tried again when it comes. */
  async recover(): Promise<void> {
    const { presence, bay, use } = this.#around;
    for (const drive of presence.drives) {
      if (!bay.isUsable(drive.id) || this.#ports.ledger.edits.swaps(drive.id).length === 0) continue;
      await use.during(drive.volume.id, async () => {
        try {
          await recoverSwaps(this.#ports, drive);
        } catch (fault) {
          if (!(fault instanceof FileFault)) throw fault;
        }
      });
    }
  }

  /** ms until there is something to do by time alone; undefined while there isn't. */
  dueIn(): number | undefined {
    const listing = this.#looking.dueIn();
    if (this.#dueAt === undefined) return listing;
    const quiet = Math.max(0, this.#dueAt - this.#ports.clock.steady());
    return Math.min(quiet, listing ?? quiet);
  }

  /** Whether somebody who waits until all is done waits for what is due. */
  isAwaited(): boolean {
    return !this.#looking.all.some(({ busy }) => busy);
  }

  /** Whether it is long since the work files of some drive were compared. */
  isDue(): boolean {
    return this.#looking.isDue();
  }

  /** @returns whether anything was mirrored or written down, so that another round is due. */
  async workOnAll(): Promise<boolean> {
    this.#looking.attend();
    if (this.#dueAt !== undefined && this.#dueAt <= this.#ports.clock.steady()) {
      this.#dueAt = undefined;
      // What is quiet by now is seen by listing it once more.
      for (const each of this.#looking.all) if (each.waits) each.stale = true;
    }
    let worked = false;
    for (const trip of this.#around.tripBook.trips) {
      if (this.#around.interrupted()) return worked;
      const here = this.#looking.all.filter((each) => each.trip === trip.id);
      if (here.length === 0) continue;
      if (await this.#workOn(trip, here)) worked = true;
    }
    return worked;
  }

  // --- one trip --------------------------------------------------------------------------------------------------

  async #workOn(trip: KnownTrip, here: readonly Watched[]): Promise<boolean> {
    const mark = this.#ports.ledger.edits.mark();
    // The trip may have got its folder there by what was copied since.
    for (const each of here) if (each.awaitsCopies) each.stale = true;
    if (!here.some(({ stale }) => stale)) return false;
    if (!(await this.#looking.list(trip, here))) return false;
    const listed = here.filter(({ listing }) => listing !== undefined);
    if (listed.length === 0) return false;
    if (await movedOriginals(this.#around, listed)) return true;
    const units = await this.#units.of(trip, listed);
    const assessments = await this.#assess(trip, units, listed);
    if (assessments === undefined) {
      for (const each of listed) each.stale = true;
      return false;
    }
    this.#joinHeads(trip);
    takeOverFromLost(this.#ports, trip, (facts) => this.#learn(facts));
    // Before any of them makes room: then it stands on a drive that is in.
    const kept = await keepOtherSides(this.#mirrorPorts(), trip.id, assessments);
    const placed = await this.#mirror(trip, units, assessments);
    this.#remember(trip, assessments, here);
    if (placed + kept > 0)
      for (const { watched } of assessments) await thinHistory(this.#ports, watched, trip);
    this.#around.settle();
    return placed > 0 || this.#ports.ledger.edits.mark() !== mark;
  }

  /** @returns undefined when it was broken off */
  async #assess(
    trip: KnownTrip,
    units: readonly UnitKeys[],
    listed: readonly Watched[],
  ): Promise<readonly Assessment[] | undefined> {
    const primary = trip.profile.drives.find(({ role }) => role === "primary")?.name ?? "";
    const assessments: Assessment[] = [];
    // The primary first: where a photographer works, versions are made.
    const inTurn = [...listed].sort((a, b) => rankOf(trip, a.drive) - rankOf(trip, b.drive));
    for (const watched of inTurn) {
      watched.busy = false;
      const assessment: Assessment = { watched, standing: new Map(), blocked: new Map() };
      const looks = this.#ports.ledger.edits.looks(watched.drive.id, trip.id);
      const around = {
        ports: this.#ports,
        verifyPool: this.#around.verifyPool,
        learn: (facts: readonly EncodedFact[]) => this.#learn(facts),
        primary: nameKey(watched.drive.name) === nameKey(primary),
        trip: trip.id,
      };
      try {
        for (const unit of units) {
          // Large files are read here: whoever wants a drive out, or puts a card in, doesn't wait for all of them.
          if (this.#around.interrupted()) return undefined;
          await assessUnit(around, assessment, unit, looks);
        }
        assessments.push(assessment);
      } catch (fault) {
        if (!(fault instanceof FileFault)) throw fault;
        await this.#around.bay.onFault(watched.drive.id, "" as RelativePath, undefined, fault);
      }
    }
    return assessments;
  }

  #learn(facts: readonly EncodedFact[]): void {
    this.#ports.ledger.apply(facts);
    this.#around.bay.tell(facts);
  }

  /** Versions that two computers made apart and that come together here: one holds, all are kept. */
  #joinHeads(trip: KnownTrip): void {
    const byKey = new Map<string, EditHead[]>();
    for (const head of this.#ports.ledger.edits.heads(trip.id)) {
      const key = nameKey(head.path);
      byKey.set(key, [...(byKey.get(key) ?? []), head]);
    }
    for (const [key, heads] of byKey) {
      if (heads.length < 2) continue;
      const last = holding(this.#ports.ledger.edits.ofPath(trip.id, key).versions);
      if (last === undefined) continue;
      const { path, hash, size, modified, drive } = last;
      const at = this.#ports.clock.now();
      const after = heads.map(({ id }) => id);
      const fact = { kind: "edit", trip: trip.id, at, path, hash, size, modified, drive, after } as const;
      this.#learn([encodeFact(fact, this.#ports.hashing)]);
    }
  }

  // --- mirroring -------------------------------------------------------------------------------------------------

  #mirrorPorts(progress?: Progress): MirrorPorts {
    const { bay, streamPool, verifyPool } = this.#around;
    const onBytes = (read: number) => progress?.add(read, this.#ports.clock.steady());
    return { ports: this.#ports, bay, streamPool, verifyPool, onBytes };
  }

  /** @returns how many files were put in place */
  async #mirror(
    trip: KnownTrip,
    units: readonly UnitKeys[],
    assessments: readonly Assessment[],
  ): Promise<number> {
    const { ledger } = this.#ports;
    const heads = headsByKey(ledger.edits.heads(trip.id), nameKey);
    this.#recordHolders(trip, heads, assessments);
    const transfers = transfersOf(
      this.#around.bay,
      this.#ports.limits,
      units,
      heads,
      assessments,
      (unit, drive) => {
        assessments[0]?.blocked.set(unit.name, {
          why: `has no room on ${printable(drive.name)}`,
          due: undefined,
        });
      },
    );
    if (transfers.length === 0) return 0;
    const progress = new Progress(bytes(sizeOf(transfers)), this.#ports.clock.steady());
    const around = this.#mirrorPorts(progress);
    const count = new Map<PresentDrive, number>();
    let facts: { readonly drive: PresentDrive; readonly fact: EncodedFact }[] = [];
    const writeDown = async (): Promise<void> => {
      const written = facts;
      facts = [];
      await this.#claim(written);
    };
    try {
      for (const [nth, transfer] of transfers.entries()) {
        if (this.#around.interrupted()) {
          // Whatever broke it off, the rest is still to be done.
          for (const { watched } of assessments) watched.stale = true;
          break;
        }
        this.#work = workOf(transfer, progress);
        for (const { target, placed } of await mirrorUnit(around, trip.id, transfer)) {
          standsNow(this.#ports, trip.id, target, placed);
          const { drive } = target.watched;
          count.set(drive, (count.get(drive) ?? 0) + placed.size);
          for (const { head } of placed.values())
            facts.push({ drive, fact: holdingFact(this.#ports, trip.id, head.id, drive) });
        }
        if (nth % writtenDownEvery === writtenDownEvery - 1) await writeDown();
      }
    } finally {
      this.#work = undefined;
      await writeDown();
    }
    let placed = 0;
    for (const [drive, files] of count) {
      placed += files;
      ledger.note(
        "edits",
        drive.id,
        `${counted(files, "work file")} brought to ${printable(drive.name)}`,
        this.#ports.clock.now(),
      );
    }
    return placed;
  }

  /** Drives that hold a newest version and aren't yet known to. */
  #recordHolders(
    trip: KnownTrip,
    heads: ReadonlyMap<string, EditHead>,
    assessments: readonly Assessment[],
  ): void {
    const facts: EncodedFact[] = [];
    for (const { watched, standing } of assessments)
      for (const [key, head] of heads) {
        const holds = head.hash !== "" && standing.get(key)?.hash === head.hash;
        if (holds && !head.drives.includes(watched.drive.id))
          facts.push(holdingFact(this.#ports, trip.id, head.id, watched.drive));
      }
    if (facts.length > 0) this.#learn(facts);
  }

  /** The drive's own journal first, then the ledger: nothing is claimed here that a drive doesn't say of itself. */
  async #claim(
    written: readonly { readonly drive: PresentDrive; readonly fact: EncodedFact }[],
  ): Promise<void> {
    const { bay } = this.#around;
    for (const drive of new Set(written.map((each) => each.drive))) {
      const facts = written.filter((each) => each.drive === drive).map(({ fact }) => fact);
      const publisher = bay.targets.get(drive.id)?.publisher;
      if (publisher === undefined) continue;
      publisher.learn(facts);
      if (!(await bay.guarded(publisher, () => publisher.flush()))) continue;
      this.#ports.ledger.apply(facts);
      bay.tell(facts, publisher);
    }
  }

  /** What is waited for is told; what waits by time alone is come back to. */
  #remember(trip: KnownTrip, assessments: readonly Assessment[], here: readonly Watched[]): void {
    const originalsWait = assessments.some(({ watched }) => watched.originalsWait);
    const due = originalsWait ? this.#ports.limits.editsQuiet : dueOf(assessments);
    if (due !== undefined) {
      const at = this.#ports.clock.steady() + due;
      this.#dueAt = Math.min(this.#dueAt ?? at, at);
    }
    for (const { watched, blocked } of assessments)
      watched.waits =
        watched.originalsWait || [...blocked.values()].some(({ due: each }) => each !== undefined);
    const waiting = new Map<RelativePath, string>();
    // A listing is whole or there is none: what can't be told from absent is left alone, and that is said.
    for (const { failed, drive } of here)
      if (failed)
        waiting.set(
          drive.name as RelativePath,
          "has folders that can't be listed, so nothing of it is mirrored",
        );
    const left = { files: 0, bytes: 0 };
    for (const { watched, blocked } of assessments) {
      for (const [name, { why }] of blocked) waiting.set(name, why);
      for (const { path, why } of watched.listing?.unfit ?? []) waiting.set(path, why);
      const out = watched.listing?.leftOut;
      if (out === undefined || out.files < left.files) continue;
      left.files = out.files;
      left.bytes = out.bytes;
    }
    this.#now.set(trip.id, {
      waiting: [...waiting].map(([path, why]) => ({ path, why })),
      waitingFiles: waiting.size,
      leftOut: left,
    });
  }
}

function rankOf(trip: KnownTrip, drive: PresentDrive): number {
  const at = trip.profile.drives.findIndex(({ name }) => nameKey(name) === nameKey(drive.name));
  return at < 0 ? trip.profile.drives.length : at;
}

function sizeOf(transfers: readonly Transfer[]): number {
  let total = 0;
  for (const { unit, heads, targets } of transfers) {
    const keys = new Set(targets.flatMap((target) => lackingOn(unit, heads, target)));
    for (const key of keys) total += heads.get(key)?.size ?? 0;
  }
  return total;
}

function workOf({ sources, targets }: Transfer, progress: Progress): CurrentWork {
  const [source] = sources;
  assert(source !== undefined, "what is carried stands somewhere");
  const { drive } = source.watched;
  const drives = targets.map(({ watched }) => watched.drive);
  return {
    kind: "edits",
    source: drive.volume.id,
    from: drive.name,
    drives: new Set<VolumeId>(drives.map(({ volume }) => volume.id)),
    to: drives.map(({ name }) => name),
    progress,
    yields: false,
  };
}
