/**
 * The cards that are in: listed, put to their trip, planned and copied, and listed once more before anything is said
 * of them. What is remembered of a card goes when the card goes; all of it can be found out again.
 */

import {
  type CardId,
  type DriveId,
  type OriginalId,
  type RelativePath,
  type TripId,
  under,
  type VolumeId,
} from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { type Bytes, bytes } from "../../shared/units.ts";
import type { CardFrame } from "../core/cardLayout.ts";
import type { WantedFrame } from "../core/filing.ts";
import { type CopyPlan, type PlanFile, type PlanGroup, planCopies } from "../core/plan.ts";
import type { CardFileState } from "../ports/ledger.ts";
import { encodeFact } from "../record/journal.ts";
import type { BlockPool } from "./bounds.ts";
import { runPass } from "./copyPass.ts";
import { decideTrip, gatherFacts, takenOf, wantedNames } from "./dating.ts";
import type { DriveBay } from "./driveBay.ts";
import { wordsFor } from "./faultWords.ts";
import type { EnginePorts } from "./ports.ts";
import type { Presence, PresentDrive } from "./presence.ts";
import { type CurrentWork, Progress } from "./progress.ts";
import { readBack } from "./readBack.ts";
import { type Survey, stillAsListed, surveyCard, vanishedFrom } from "./survey.ts";
import type { TripBook } from "./tripBook.ts";
import { CardVisit } from "./visits.ts";

/** A card that came and went before its trip was known. Facts are of a trip, and so this one is in no drive's record. */
const noTrip = "none" as TripId;

/** What the desk needs of the rest of the engine. */
export interface DeskSurroundings {
  readonly ports: EnginePorts;
  readonly presence: Presence;
  readonly tripBook: TripBook;
  readonly bay: DriveBay;
  readonly streamPool: BlockPool;
  readonly verifyPool: BlockPool;
  /** Whether the work is to be broken off between two files. */
  readonly interrupted: () => boolean;
  /** Something came or went, or a card isn't what was listed: the work is broken off and begun anew. */
  readonly refresh: () => void;
  /** What is the matter may have changed. */
  readonly settle: () => void;
  /** Nothing is left to do for this card with what is plugged in. */
  readonly done: (visit: CardVisit) => void;
  /** `Card 7` */
  readonly nameOfCard: (card: CardId) => string;
}

export class CardDesk {
  readonly #around: DeskSurroundings;
  readonly #ports: EnginePorts;
  readonly #visits = new Map<VolumeId, CardVisit>();
  #work: CurrentWork | undefined;

  constructor(around: DeskSurroundings) {
    this.#around = around;
    this.#ports = around.ports;
  }

  get visits(): readonly CardVisit[] {
    return [...this.#visits.values()];
  }

  get work(): CurrentWork | undefined {
    return this.#work;
  }

  visitOf(card: CardId): CardVisit | undefined {
    return this.visits.find((visit) => visit.card.id === card && !visit.card.gone.aborted);
  }

  /** Which trips cards belong to is to be found out anew: a profile changed, or someone said so. */
  forgetDecisions(card?: CardId): void {
    for (const visit of this.#visits.values())
      if (card === undefined || visit.card.id === card) visit.decision = undefined;
  }

  /** Drives on which something didn't fit by the last plans. */
  tooFull(): ReadonlySet<DriveId> {
    return new Set(this.visits.flatMap((visit) => [...visit.unfit.keys()]));
  }

  /** What is known of cards came from elsewhere: it is to be compared with what is on them. */
  listAnew(): void {
    for (const visit of this.#visits.values()) visit.survey = undefined;
  }

  driveCameAnew(drive: DriveId): void {
    for (const visit of this.#visits.values()) visit.driveCameAnew(drive);
  }

  /** Brings the desk in line with what is plugged in. */
  welcomeAll(): void {
    const { ledger, clock } = this.#ports;
    const { cards } = this.#around.presence;
    const present = new Set(cards.map((card) => card.volume.id));
    for (const [id, { card }] of this.#visits)
      if (!present.has(id) || card.gone.aborted) this.#visits.delete(id);
    for (const card of cards) {
      if (this.#visits.has(card.volume.id)) continue;
      ledger.cardSeen(card.id, card.volume.label, card.volume.totalBytes, card.arrived);
      ledger.clearFaults(card.id);
      ledger.note("card", card.id, `put in, label ${printable(card.volume.label)}`, clock.now());
      this.#visits.set(card.volume.id, new CardVisit(card));
    }
  }

  /** @returns whether anything was copied or tried, so that another round is due. */
  async workOnAll(): Promise<boolean> {
    let worked = false;
    for (const visit of this.visits) {
      if (this.#around.interrupted()) break;
      worked = (await this.#workOn(visit)) || worked;
    }
    return worked;
  }

  async #workOn(visit: CardVisit): Promise<boolean> {
    const { card } = visit;
    if (card.gone.aborted) return false;
    if (visit.survey === undefined && !(await this.#survey(visit))) return false;
    await this.#decide(visit);
    this.#around.settle();
    const plan = this.#plan(visit);
    if (plan === undefined || card.gone.aborted) return false;
    if (plan.jobs.length === 0) {
      if (await this.#decideDoubts(visit)) return true;
      if (await this.#changedSince(visit)) return true;
      this.#around.done(visit);
      return false;
    }
    await this.#copy(visit, plan);
    return true;
  }

  // --- listing and deciding --------------------------------------------------------------------------------------

  async #survey(visit: CardVisit): Promise<boolean> {
    const { card } = visit;
    const { presence, streamPool, bay } = this.#around;
    this.#begin("survey", visit, [], bytes(0));
    const before = this.#ports.ledger.cardFiles(card.id);
    const survey = await surveyCard(this.#ports, card, streamPool, () => presence.look());
    this.#work = undefined;
    if (survey === undefined) return false;
    this.#noteVanished(visit, before, survey);
    visit.survey = survey;
    // What was decided and asked before was about other files.
    visit.decision = undefined;
    visit.facts.clear();
    visit.confirmed = false;
    for (const folder of survey.unreadFolders)
      this.#readFault(card.id, folder, "this folder can't be listed");
    await bay.checkCopiesOf(card.id);
    return true;
  }

  /** What stood on the card when it was last listed, was never read and isn't on it any more: lost, as far as is known. */
  #noteVanished(visit: CardVisit, before: readonly CardFileState[], survey: Survey): void {
    const { ledger, clock, hashing } = this.#ports;
    const card = visit.card.id;
    const row = ledger.card(card);
    const trip = row?.trip ?? row?.assigned;
    const vanished = vanishedFrom(before, survey, visit.resurveys > 0);
    if (vanished.length === 0) return;
    const at = clock.now();
    const facts = vanished.map(({ path, size, modified }) =>
      encodeFact({ kind: "vanished", trip: trip ?? noTrip, at, card, path, size, modified }, hashing),
    );
    ledger.apply(facts);
    this.#around.bay.tell(facts);
    ledger.note("card", card, `${vanished.length} files that were never copied are gone from it`, at);
  }

  /** Before a card is called done it is listed once more: what was put on it meanwhile must not be passed over. */
  async #changedSince(visit: CardVisit): Promise<boolean> {
    const { survey, card } = visit;
    if (visit.confirmed || survey === undefined) return false;
    const same = await stillAsListed(this.#ports, card, survey);
    if (card.gone.aborted) return false;
    visit.confirmed = same;
    if (visit.confirmed) return false;
    if (visit.resurveys >= this.#ports.limits.resurveysMost) {
      // It is left as it was listed, and never called clear while it does that.
      this.#readFault(card.id, "" as RelativePath, "what is on it changes at every look");
      return false;
    }
    visit.resurveys += 1;
    visit.survey = undefined;
    return true;
  }

  /** Which trip what is new on the card belongs to. */
  async #decide(visit: CardVisit): Promise<void> {
    const { survey, card } = visit;
    const { ledger } = this.#ports;
    if (survey === undefined || visit.decision?.decision === "trip") return;
    const row = ledger.card(card.id);
    const states = this.#statesOf(card.id);
    const open = survey.frames.filter((frame) => frame.files.some((file) => isNew(states.get(file.path))));
    const news = open.length > 0 || [...states.values()].some((file) => isNew(file));
    if (open.length === 0 && (row?.trip !== undefined || !news)) {
      // Without a trip there is nothing on it that counts, so there is nothing to ask either.
      visit.decision = row?.trip === undefined ? undefined : { decision: "trip", trip: row.trip, outside: 0 };
      return;
    }
    this.#begin("survey", visit, [], bytes(0));
    // A card without any open frame, only new extras, is judged by all its frames.
    const judged = open.length > 0 ? open : survey.frames;
    await gatherFacts(this.#ports, card, judged, visit.facts);
    this.#work = undefined;
    visit.decision = decideTrip(survey, judged, visit.facts, this.#around.tripBook.trips, row?.assigned);
    this.#noteDays(visit, judged);
    if (visit.decision.decision === "trip") this.#numberCard(visit, visit.decision.trip);
  }

  #noteDays(visit: CardVisit, frames: readonly CardFrame[]): void {
    const { survey } = visit;
    if (survey === undefined) return;
    const profile = this.#around.tripBook.find(tripOf(visit))?.profile;
    const reference = profile ?? { bodies: [], zone: "UTC", dayStartsMinutes: 0 };
    const taken = frames.map((frame) => ({ frame, taken: takenOf(survey, frame, visit.facts, reference) }));
    const days = taken.map((each) => each.taken.day).sort();
    visit.days = { from: days[0] ?? "", to: days.at(-1) ?? "" };
    visit.undated = taken
      .filter((each) => each.taken.basis === "file-time")
      .flatMap(({ frame }) => frame.files.map((file) => file.path));
  }

  /** Gives the card its number in the trip, once. */
  #numberCard(visit: CardVisit, trip: TripId): void {
    const { ledger, clock, hashing } = this.#ports;
    const row = ledger.card(visit.card.id);
    if (row?.trip === trip && row.number > 0) return;
    const number = ledger.highestCardNumber(trip) + 1;
    const { id: card, volume } = visit.card;
    const fact = encodeFact(
      { kind: "card", trip, at: clock.now(), card, label: volume.label, number },
      hashing,
    );
    ledger.apply([fact]);
    this.#around.bay.tell([fact]);
  }

  // --- copying ---------------------------------------------------------------------------------------------------

  #plan(visit: CardVisit): CopyPlan | undefined {
    const { survey, card } = visit;
    if (survey === undefined) return undefined;
    const trip = tripOf(visit);
    const states = this.#statesOf(card.id);
    const planFile = (path: RelativePath): PlanFile | undefined => {
      const file = states.get(path);
      const fileTrip = file?.trip ?? trip;
      if (file === undefined || fileTrip === undefined || file.role === "leaving") return undefined;
      const { size, modified, role, original, drives } = file;
      return { path, size, modified, role, original, trip: fileTrip, heldBy: drives };
    };
    const groupOf = (key: string, paths: readonly RelativePath[]): PlanGroup => ({
      key,
      files: paths.map(planFile).filter((file) => file !== undefined),
    });
    const pathsOf = (frame: CardFrame): readonly RelativePath[] => frame.files.map((file) => file.path);
    const extras = [...survey.files.values()].filter((file) => file.role === "extra");
    const groups = [
      ...survey.frames.map((frame) => groupOf(frame.key, pathsOf(frame))),
      ...extras.map((file) => groupOf(`extra ${file.path}`, [file.path])),
    ];
    const { bay } = this.#around;
    const plan = planCopies(groups, bay.planDrives(), this.#ports.limits, (path, drive) => {
      if (visit.isGivenUp(path, drive)) return true;
      const original = states.get(path)?.original;
      return original !== undefined && drive !== undefined && bay.givenUp.has(original, drive);
    });
    visit.unfit = plan.unfit;
    return plan;
  }

  async #copy(visit: CardVisit, plan: CopyPlan): Promise<void> {
    const { card, survey } = visit;
    const { presence, bay, streamPool, verifyPool, interrupted } = this.#around;
    const { givenUp } = bay;
    if (survey === undefined) return;
    visit.confirmed = false;
    const wantedDrives = new Set(plan.jobs.flatMap((job) => job.files.flatMap((file) => file.targets)));
    const drives = presence.drives.filter((drive) => wantedDrives.has(drive.id));
    const { progress } = this.#begin("copy", visit, drives, plan.readBytes);
    const extensions = new Map(
      survey.frames.flatMap((frame) => frame.files.map((file) => [file.path, file.extension] as const)),
    );
    try {
      await runPass(
        {
          ports: this.#ports,
          source: { root: card.volume.root, gone: card.gone, card: card.id },
          targets: bay.targets,
          streamPool,
          verifyPool,
          wanted: this.#wantedNames(visit, plan),
          siblings: this.#siblings(visit, plan),
          extensions,
          interrupted,
          onBytes: (read) => progress.add(read, this.#ports.clock.steady()),
          onSourceFault: (path, fault) => this.#onSourceFault(visit, path, fault),
          onDriveFault: async (drive, path, original, fault) => {
            if ((await bay.onFault(drive, path, original, fault)) !== "file") return;
            visit.giveUpCopying(path, drive);
            if (original !== undefined) givenUp.add(original, drive);
          },
          onDifference: (drive, path, original) => {
            // The drive may be wrong, or the reading that everything was compared with.
            visit.doubtful.add(path);
            bay.onDifference(drive, path, original);
          },
          tell: (facts) => bay.tell(facts),
          usable: (drive) => bay.isUsable(drive),
        },
        plan.jobs,
      );
    } finally {
      this.#work = undefined;
    }
  }

  #wantedNames(visit: CardVisit, plan: CopyPlan): ReadonlyMap<string, WantedFrame> {
    const { survey, card } = visit;
    const trip = this.#around.tripBook.find(tripOf(visit));
    if (survey === undefined || trip === undefined) return new Map();
    const open = new Set(
      plan.jobs.filter((job) => job.files.some((file) => file.original === undefined)).map((job) => job.key),
    );
    const frames = survey.frames.filter((frame) => open.has(frame.key));
    const number = this.#ports.ledger.card(card.id)?.number ?? 0;
    return wantedNames(this.#ports, survey, frames, visit.facts, trip, number);
  }

  /** What files of frames that are copied now are known to be, whether these are copied or held already. */
  #siblings(visit: CardVisit, plan: CopyPlan): ReadonlyMap<string, readonly OriginalId[]> {
    const jobs = new Set(plan.jobs.map((job) => job.key));
    const states = this.#statesOf(visit.card.id);
    const frames = visit.survey?.frames.filter((frame) => jobs.has(frame.key)) ?? [];
    return new Map(
      frames.map((frame) => {
        const known = frame.files.map((file) => states.get(file.path)?.original);
        return [frame.key, known.filter((original) => original !== undefined)];
      }),
    );
  }

  // --- faults ----------------------------------------------------------------------------------------------------

  async #onSourceFault(visit: CardVisit, path: RelativePath, fault: unknown): Promise<void> {
    if (await this.#around.presence.look()) this.#around.refresh();
    if (visit.card.gone.aborted) return;
    const code = fault instanceof FileFault ? fault.code : "io";
    // One of the readings was wrong; which one, a further reading tells, or it stays in doubt.
    if (code === "differs" && visit.differed(path) < this.#ports.limits.readTries) return;
    if (code === "differs") this.#givesDifferentBytes(visit, path);
    // The card isn't what was listed: list it again, a few times at most.
    if ((code === "missing" || code === "changed") && visit.resurveys < this.#ports.limits.readTries) {
      visit.resurveys += 1;
      visit.survey = undefined;
      this.#around.refresh();
      return;
    }
    visit.giveUpReading(path);
    this.#readFault(visit.card.id, path, wordsFor(code));
    this.#around.settle();
  }

  /**
   * Files that a drive couldn't verify, or that read differently a second time, are read from the card again before
   * anything is said, whoever has made their copies good meanwhile. @returns whether any was read
   */
  async #decideDoubts(visit: CardVisit): Promise<boolean> {
    const { files, ledger, hashing } = this.#ports;
    const { card, doubtful } = visit;
    const states = this.#statesOf(card.id);
    const paths = [...doubtful];
    for (const path of paths) {
      if (card.gone.aborted) return false;
      const id = states.get(path)?.original;
      const original = id === undefined ? undefined : ledger.original(id);
      doubtful.delete(path);
      if (original === undefined) continue;
      try {
        const reading = await readBack(
          files,
          under(card.volume.root, path),
          this.#around.verifyPool,
          hashing,
        );
        if (reading.hash !== original.hash)
          await this.#onSourceFault(visit, path, new FileFault("differs", path));
      } catch (fault) {
        if (!(fault instanceof FileFault)) throw fault;
        await this.#onSourceFault(visit, path, fault);
      }
    }
    return paths.length > 0;
  }

  /** Its readings never agreed with the first one: what was copied may not be what was taken. */
  #givesDifferentBytes({ card, doubtful }: CardVisit, path: RelativePath): void {
    doubtful.delete(path);
    const { ledger, clock, hashing } = this.#ports;
    const seen = ledger.sightings(card.id).find((sighting) => sighting.path === path);
    const trip = seen === undefined ? undefined : ledger.original(seen.original)?.trip;
    if (seen === undefined || trip === undefined) return;
    const { fingerprint, original } = seen;
    const at = clock.now();
    const damage = "it reads differently from one time to the next";
    const fact = encodeFact(
      { kind: "sighting", trip, at, card: card.id, path, fingerprint, original, damage },
      hashing,
    );
    ledger.apply([fact]);
    this.#around.bay.tell([fact]);
  }

  #readFault(card: CardId, path: RelativePath, detail: string): void {
    const at = this.#ports.clock.now();
    this.#ports.ledger.setFault({ medium: card, path, code: "read-error", detail, at });
  }

  // --- helpers ---------------------------------------------------------------------------------------------------

  #statesOf(card: CardId): ReadonlyMap<RelativePath, CardFileState> {
    return new Map(this.#ports.ledger.cardFiles(card).map((file) => [file.path, file]));
  }

  #begin(
    kind: CurrentWork["kind"],
    { card }: CardVisit,
    drives: readonly PresentDrive[],
    total: Bytes,
  ): CurrentWork {
    const work = {
      kind,
      source: card.volume.id,
      from: this.#around.nameOfCard(card.id),
      to: drives.map((drive) => drive.name),
      drives: new Set(drives.map((drive) => drive.volume.id)),
      progress: new Progress(total, this.#ports.clock.steady()),
      yields: false,
    };
    this.#work = work;
    return work;
  }
}

function tripOf(visit: CardVisit): TripId | undefined {
  return visit.decision?.decision === "trip" ? visit.decision.trip : undefined;
}

/** A file that counts and was never read whole as it stands. */
function isNew(file: CardFileState | undefined): boolean {
  return file !== undefined && file.role !== "leaving" && file.original === undefined;
}
