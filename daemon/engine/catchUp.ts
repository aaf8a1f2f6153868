/**
 * Drives that give each other what they lack: what a drive owes is brought up from whichever drive that is in holds a
 * verified copy. The copy that is read is proved again on the way: bytes that aren't what was verified are passed on to
 * nobody, that copy stops counting, and another one is looked for.
 *
 * Frames with the fewest copies come first, so that every frame has its second copy before any has its third.
 */

import { type DriveId, nameKey, type RelativePath, type TripId } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import type { Bytes } from "../../shared/units.ts";
import { bytes, type Count } from "../../shared/units.ts";
import { type CopyPlan, type PlanFile, type PlanGroup, planCopies } from "../core/plan.ts";
import type { LackingOriginal } from "../ports/ledger.ts";
import type { DeskSurroundings } from "./cardDesk.ts";
import { runPass, type Target } from "./copyPass.ts";
import type { KnownTrip } from "./dating.ts";
import { GivenUp } from "./givenUp.ts";
import type { EnginePorts } from "./ports.ts";
import { type CurrentWork, Progress } from "./progress.ts";

/** What it needs of the rest of the engine: the card desk's, but for what concerns cards. */
export type CatchUpSurroundings = Omit<DeskSurroundings, "done" | "nameOfCard">;

/** What doesn't fit on a drive, of which trip. */
export interface Unfit {
  readonly trip: TripId;
  readonly files: Count;
  readonly bytes: Bytes;
}

/** What one drive can give. */
interface Offer {
  readonly target: Target;
  readonly groups: Map<string, PlanFile[]>;
  /** Originals by their path on this drive. */
  readonly originals: Map<RelativePath, LackingOriginal>;
}

export class CatchUp {
  readonly #around: CatchUpSurroundings;
  readonly #ports: EnginePorts;
  /** Copies that aren't read again while their drive stays in. */
  readonly #badSources = new GivenUp();
  #unfit = new Map<DriveId, Unfit>();
  #work: CurrentWork | undefined;

  constructor(around: CatchUpSurroundings) {
    this.#around = around;
    this.#ports = around.ports;
  }

  get work(): CurrentWork | undefined {
    return this.#work;
  }

  /** What doesn't fit, by the last plans. */
  get unfit(): ReadonlyMap<DriveId, Unfit> {
    return this.#unfit;
  }

  driveCameAnew(drive: DriveId): void {
    this.#badSources.driveCameAnew(drive);
  }

  /** @returns whether anything was copied or tried, so that another round is due. */
  async workOnAll(): Promise<boolean> {
    if (this.#around.interrupted()) return false;
    const unfit = new Map<DriveId, Unfit>();
    let worked = false;
    for (const trip of this.#around.tripBook.trips)
      for (const offer of await this.#offers(trip)) {
        if (this.#around.interrupted()) return worked;
        const plan = this.#plan(offer);
        for (const [drive, lacking] of plan.unfit) unfit.set(drive, { trip: trip.id, ...lacking });
        if (plan.jobs.length === 0) continue;
        await this.#copy(offer, plan);
        worked = true;
      }
    this.#unfit = unfit;
    return worked;
  }

  /** Who gives what: each original once, from the first drive that holds it and can be read. */
  async #offers(trip: KnownTrip): Promise<readonly Offer[]> {
    const { bay } = this.#around;
    const wanting = bay.planDrives().filter((drive) => drive.trips.includes(trip.id));
    if (wanting.length === 0) return [];
    const offers = new Map<DriveId, Offer>();
    const targets = bay.targets;
    for (const lacking of this.#ports.ledger.lackingOnSome(
      trip.id,
      wanting.map((drive) => drive.id),
    )) {
      for (const { drive, path } of inOrderOf(trip, lacking.copies, targets)) {
        const target = targets.get(drive);
        if (target === undefined || !bay.isUsable(drive) || !target.publisher.hasRecord(trip.id)) continue;
        if (this.#badSources.has(lacking.original.id, drive)) continue;
        const file = await this.#fileOn(target, lacking, target.publisher.inside(trip.id, path));
        if (file === undefined) continue;
        const offer = offers.get(drive) ?? { target, groups: new Map(), originals: new Map() };
        offers.set(drive, offer);
        const group = lacking.original.frame?.id ?? lacking.original.id;
        offer.groups.set(group, [...(offer.groups.get(group) ?? []), file]);
        offer.originals.set(file.path, lacking);
        break;
      }
    }
    return [...offers.values()];
  }

  /** The file as it stands on its drive; undefined where it isn't what was written there. */
  async #fileOn(
    target: Target,
    { original, copies }: LackingOriginal,
    path: RelativePath,
  ): Promise<PlanFile | undefined> {
    try {
      const facts = await this.#ports.files.facts(target.publisher.absolute(path));
      if (facts.kind !== "file" || facts.size !== original.size) return undefined;
      return {
        path,
        size: original.size,
        modified: facts.modified,
        role: original.role,
        original: original.id,
        trip: original.trip,
        heldBy: copies.map((copy) => copy.drive),
      };
    } catch (fault) {
      if (fault instanceof FileFault) return undefined;
      throw fault;
    }
  }

  #plan({ groups, originals }: Offer): CopyPlan {
    const inOrder: PlanGroup[] = [...groups].map(([key, files]) => ({ key, files }));
    const { bay } = this.#around;
    return planCopies(inOrder, bay.planDrives(), this.#ports.limits, (path, drive) => {
      const id = originals.get(path)?.original.id;
      return id !== undefined && drive !== undefined && bay.givenUp.has(id, drive);
    });
  }

  async #copy({ target, originals }: Offer, plan: CopyPlan): Promise<void> {
    const { presence, bay, streamPool, verifyPool, interrupted } = this.#around;
    const source = target.publisher.drive;
    const wanted = new Set(plan.jobs.flatMap((job) => job.files.flatMap((file) => file.targets)));
    const drives = presence.drives.filter((drive) => wanted.has(drive.id));
    const progress = new Progress(bytes(plan.readBytes), this.#ports.clock.steady());
    this.#work = {
      kind: "copy",
      source: source.volume.id,
      from: source.name,
      drives: new Set(drives.map((drive) => drive.volume.id)),
      to: drives.map((drive) => drive.name),
      progress,
      yields: false,
    };
    try {
      await runPass(
        {
          ports: this.#ports,
          source: { root: source.volume.root, gone: source.gone, card: undefined },
          targets: bay.targets,
          streamPool,
          verifyPool,
          // Everything is known and keeps its place.
          wanted: new Map(),
          siblings: new Map(),
          extensions: new Map(),
          interrupted: () => interrupted() || !bay.isUsable(source.id),
          onBytes: (read) => progress.add(read, this.#ports.clock.steady()),
          onSourceFault: (path) => this.#onSourceFault(source.id, originals.get(path)),
          onDriveFault: async (drive, path, original, fault) => {
            const outcome = await bay.onFault(drive, path, original, fault);
            if (outcome === "file" && original !== undefined) bay.givenUp.add(original, drive);
          },
          onDifference: (drive, path, original) => bay.onDifference(drive, path, original),
          tell: (facts) => bay.tell(facts),
          usable: (drive) => bay.isUsable(drive),
        },
        plan.jobs,
      );
    } finally {
      this.#work = undefined;
    }
  }

  /** The copy isn't what was verified, or can't be read: it is looked into, and nobody gets it before. */
  async #onSourceFault(source: DriveId, lacking: LackingOriginal | undefined): Promise<void> {
    const { presence, refresh, settle, bay } = this.#around;
    const { ledger, limits } = this.#ports;
    if (await presence.look()) refresh();
    const publisher = bay.targets.get(source)?.publisher;
    if (publisher === undefined || publisher.drive.gone.aborted || lacking === undefined) return;
    const { original } = lacking;
    const copy = ledger.copyOf(original.id, source);
    if (copy === undefined) return;
    let lost = 0;
    await bay.guarded(publisher, async () => {
      lost = (await bay.lookInto(publisher, [{ copy, original }])).length;
    });
    // Good after all, at a second reading. If that happens again and again, it gives nothing while it stays in.
    if (lost === 0 && this.#badSources.differed(original.id, source) >= limits.copyTries)
      this.#badSources.add(original.id, source);
    settle();
  }
}

/** Copies on the drives that are in, in the order in which the trip names its drives: the primary gives first. */
function inOrderOf(
  trip: KnownTrip,
  copies: LackingOriginal["copies"],
  targets: ReadonlyMap<DriveId, Target>,
): LackingOriginal["copies"] {
  const names = trip.profile.drives.map((drive) => nameKey(drive.name));
  const rank = (drive: DriveId): number => {
    const at = names.indexOf(nameKey(targets.get(drive)?.publisher.drive.name ?? ""));
    return at < 0 ? names.length : at;
  };
  return [...copies].sort((a, b) => rank(a.drive) - rank(b.drive));
}
