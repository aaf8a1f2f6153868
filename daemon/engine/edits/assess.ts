/**
 * What stands on one drive, unit by unit, and what follows from it: versions are written down as they are found, once
 * they are quiet. Nothing on a drive is changed here.
 */

import type { EditFact, Fact } from "../../../shared/facts.ts";
import { type DriveId, nameKey, type RelativePath, type TripId } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { bytes, instant, type Millis } from "../../../shared/units.ts";
import { type Decision, decide, type Found } from "../../core/edits/decide.ts";
import { holding, standingOf } from "../../core/edits/versions.ts";
import { openFiles } from "../../core/openFiles.ts";
import type { EditLook, EditVersion, PathEdits } from "../../ports/editLedger.ts";
import type { EncodedFact } from "../../ports/ledger.ts";
import { encodeFact } from "../../record/journal.ts";
import type { BlockPool } from "../bounds.ts";
import type { EnginePorts } from "../ports.ts";
import { readBack } from "../readBack.ts";
import type { WorkFile } from "./listing.ts";
import { lookAt, sameLook } from "./swap.ts";
import type { Watched } from "./watching.ts";

/** A unit of work files, by the keys of their paths. */
export interface UnitKeys {
  readonly name: RelativePath;
  readonly keys: readonly string[];
  readonly catalogue: boolean;
}

/** What stands on a drive, with its content. */
export interface Standing extends Found {
  readonly file: WorkFile;
}

/** Why a unit isn't touched on this drive now, as what is said of it. `due`: in so many ms it may be, by time alone. */
export interface Blocked {
  readonly why: string;
  readonly due: number | undefined;
}

export interface Assessment {
  readonly watched: Watched;
  /** By path key; what isn't here doesn't stand there. */
  readonly standing: Map<string, Standing>;
  /** By the unit's name. */
  readonly blocked: Map<RelativePath, Blocked>;
}

export interface AssessPorts {
  readonly ports: EnginePorts;
  readonly verifyPool: BlockPool;
  /** Writes facts down here, and tells every drive. */
  readonly learn: (facts: readonly EncodedFact[]) => void;
  readonly primary: boolean;
  readonly trip: TripId;
}

/**
 * @param looks how this drive's files looked when they were last read
 * @throws FileFault where the drive went
 */
export async function assessUnit(
  around: AssessPorts,
  assessment: Assessment,
  unit: UnitKeys,
  looks: ReadonlyMap<string, EditLook>,
): Promise<void> {
  const { watched } = assessment;
  const { ports } = around;
  const files = watched.listing?.files ?? new Map<string, WorkFile>();
  const blocked = (why: string, due: number | undefined): void => {
    assessment.blocked.set(unit.name, { why, due });
  };
  for (const key of unit.keys) {
    const file = files.get(key);
    const look = looks.get(key);
    if (file !== undefined && look !== undefined && sameLook(file, look))
      assessment.standing.set(key, { ...look, file });
  }
  if (isOpen(unit, watched)) return blocked("is open in a program", undefined);
  const refused = watched.refused.get(unit.name);
  if (refused !== undefined) return blocked(refused, undefined);
  const changed = unit.keys.filter((key) => !sameLook(files.get(key), looks.get(key)));
  // What stands there is written down already; what it lacks is brought by whoever has it.
  if (changed.length === 0) return;
  const now = ports.clock.steady();
  const due = Math.max(0, ...changed.map((key) => ports.limits.editsQuiet - watched.quietFor(key, now)));
  if (due > 0) {
    const patient = changed.every((key) => watched.busyFor(key, now) < ports.limits.editsPatience);
    watched.busy ||= !patient;
    return blocked("is being written", due);
  }
  const read = await readChanged(around, watched, files, unit, changed);
  if (typeof read === "string") return blocked(read, undefined);
  if ([...read.values()].some((standing) => isMovedOriginal(around, watched, standing))) {
    watched.originalsWait = true;
    return blocked("is an original under another name, and is being looked into", ports.limits.editsQuiet);
  }
  for (const [key, standing] of read) assessment.standing.set(key, standing);
  const taken = new Map<string, EditLook | undefined>();
  for (const key of changed) {
    const standing = read.get(key);
    taken.set(key, standing === undefined ? undefined : lookOf(standing));
    watched.taken(key);
  }
  writeDown(around, assessment, unit);
  // Only now: what was read and not written down is read again.
  if (taken.size > 0) ports.ledger.edits.setLooks(watched.drive.id, around.trip, taken);
}

/** What an original's name misses is followed, and is no work file (`originals.ts`). */
function isMovedOriginal(
  { ports, trip }: AssessPorts,
  { listing }: Watched,
  { hash, size }: Standing,
): boolean {
  const missing = listing?.missing ?? [];
  if (missing.length === 0) return false;
  const alike = new Set(ports.ledger.originalsByContent(trip, hash, size).map(({ id }) => id));
  return missing.some(({ original }) => alike.has(original));
}

function lookOf({ file, size, modified, hash }: Standing): EditLook {
  return { path: file.path, size, modified, hash };
}

function isOpen(unit: UnitKeys, { listing }: Watched): boolean {
  if (listing === undefined || listing.beside.length === 0) return false;
  if (unit.catalogue)
    return listing.beside.some((path) => nameKey(path).startsWith(`${nameKey(unit.name)}/`));
  const paths = unit.keys.flatMap((key) => listing.files.get(key)?.at ?? []);
  return openOf(paths, listing.beside);
}

function openOf(paths: readonly RelativePath[], beside: readonly RelativePath[]): boolean {
  const open = openFiles([...paths, ...beside]);
  return paths.some((path) => open.has(path));
}

/** @returns why it can't be, or by key what stands there */
async function readChanged(
  { ports, verifyPool }: AssessPorts,
  watched: Watched,
  files: ReadonlyMap<string, WorkFile>,
  unit: UnitKeys,
  changed: readonly string[],
): Promise<ReadonlyMap<string, Standing> | string> {
  const { publisher, drive, trip } = watched;
  const read = new Map<string, Standing>();
  try {
    for (const key of changed) {
      const file = files.get(key);
      if (file === undefined) continue;
      const { hash } = await readBack(
        ports.files,
        publisher.pathOf(trip, file.at),
        verifyPool,
        ports.hashing,
      );
      read.set(key, { file, hash, size: file.size, modified: file.modified });
    }
    // All of a unit is as it was listed, after the last byte of it was read.
    for (const key of unit.keys) {
      const file = files.get(key);
      if (file === undefined || (changed.length === 0 && !unit.catalogue)) continue;
      if (sameLook(await lookAt(ports, drive, publisher.inside(trip, file.at)), file)) continue;
      watched.stale = true;
      return "is being written";
    }
    return read;
  } catch (fault) {
    if (!(fault instanceof FileFault) || fault.code === "gone") throw fault;
    // One that went meanwhile is listed anew; what can't be read is tried again when all is compared.
    if (fault.code === "missing") watched.stale = true;
    return "can't be read just now";
  }
}

/** What is to be written down of one file. */
interface Step {
  readonly key: string;
  readonly decision: Decision;
  readonly edits: PathEdits;
  readonly standing: Standing | undefined;
}

function writeDown(around: AssessPorts, assessment: Assessment, unit: UnitKeys): void {
  const { drive } = assessment.watched;
  const steps = unit.keys.map((key): Step => {
    const edits = around.ports.ledger.edits.ofPath(around.trip, key);
    const standing = assessment.standing.get(key);
    const held = edits.copies.get(drive.id);
    return {
      key,
      edits,
      standing,
      decision: decide({
        versions: edits.versions,
        held,
        found: standing,
        primary: around.primary,
        elsewhere: isElsewhere(edits, drive.id),
      }),
    };
  });
  const foundWins = unit.catalogue ? wholeWins(steps) : undefined;
  for (const step of steps) takeStep(around, assessment, step, foundWins);
}

/** Whether another drive is known to hold the version that holds. */
function isElsewhere({ versions, copies }: PathEdits, here: DriveId): boolean {
  const head = holding(versions);
  return head === undefined || [...copies].some(([drive, held]) => drive !== here && held.has(head.id));
}

/**
 * A catalogue that was changed here and elsewhere apart, be it in different files: one side's holds, whole.
 * @returns undefined where it wasn't; else whether what is found here holds
 */
function wholeWins(steps: readonly Step[]): boolean | undefined {
  const mine = steps.filter(
    ({ decision: { what } }) => what === "new" || what === "deleted" || what === "apart",
  );
  const theirs = steps.filter(({ decision: { what } }) => what === "behind" || what === "apart");
  if (mine.length === 0 || theirs.length === 0) return undefined;
  // A drive of which nothing is written down and that has no file of it is only behind.
  const known = theirs.some(({ decision, standing }) => decision.what === "apart" || standing !== undefined);
  if (!known) return undefined;
  const latest = (times: readonly number[]): number => Math.max(0, ...times);
  const here = latest(mine.map(({ standing }) => standing?.modified ?? 0));
  const there = latest(theirs.map(({ edits }) => holding(edits.versions)?.modified ?? 0));
  return here > there;
}

function takeStep(
  around: AssessPorts,
  assessment: Assessment,
  { decision, edits, standing }: Step,
  wholeUnit: boolean | undefined,
): void {
  const writer = new Writer(around, assessment, edits);
  const head = holding(edits.versions);
  switch (decision.what) {
    case "same":
      if (decision.record !== undefined) writer.holds(decision.record);
      return;
    case "behind":
      if (wholeUnit !== true || head === undefined) return;
      // The other side's change to a file that this side left alone goes with the rest of that side.
      writer.holds(writer.version(standing, [head.id, ...writer.base()]));
      return;
    case "new":
    case "deleted": {
      const id = writer.version(standing, decision.after);
      writer.holds(id);
      if (wholeUnit !== false || head === undefined) return;
      writer.copyOf(head, [id, head.id]);
      return;
    }
    case "apart": {
      const own = writer.version(standing, decision.base);
      writer.holds(own);
      if (head === undefined) return;
      if (wholeUnit ?? decision.foundWins) {
        writer.holds(writer.version(standing, [...decision.heads, own]));
        return;
      }
      writer.copyOf(head, [own, ...decision.heads]);
      return;
    }
  }
}

/** Writes down versions of one path, as found on one drive. */
class Writer {
  readonly #around: AssessPorts;
  readonly #assessment: Assessment;
  readonly #edits: PathEdits;

  constructor(around: AssessPorts, assessment: Assessment, edits: PathEdits) {
    this.#around = around;
    this.#assessment = assessment;
    this.#edits = edits;
  }

  /** What the drive was last known to hold. */
  base(): readonly string[] {
    const { versions, copies } = this.#edits;
    const version = standingOf(versions, copies.get(this.#assessment.watched.drive.id));
    return version === undefined ? [] : [version.id];
  }

  /** @param standing undefined: it was deleted. @returns the name of the fact */
  version(standing: Standing | undefined, after: readonly string[]): string {
    const last = this.#edits.versions.at(-1);
    const { ports, trip } = this.#around;
    return this.#write({
      kind: "edit",
      trip,
      at: ports.clock.now(),
      path: standing?.file.path ?? last?.path ?? ("" as RelativePath),
      hash: standing?.hash ?? "",
      size: standing?.size ?? bytes(0),
      modified: standing?.modified ?? instant(0),
      drive: this.#assessment.watched.drive.id,
      after,
    });
  }

  /** The same content once more, as a version that follows others. */
  copyOf(
    version: Pick<EditVersion, "path" | "hash" | "size" | "modified" | "drive">,
    after: readonly string[],
  ): string {
    const { path, hash, size, modified, drive } = version;
    const { ports, trip } = this.#around;
    return this.#write({
      kind: "edit",
      trip,
      at: ports.clock.now(),
      path,
      hash,
      size,
      modified,
      drive,
      after,
    });
  }

  holds(edit: string): void {
    const { ports, trip } = this.#around;
    const { drive } = this.#assessment.watched;
    const readBack = drive.traits.readBack;
    this.#write({ kind: "edit-copy", trip, at: ports.clock.now(), edit, drive: drive.id, readBack });
  }

  #write(fact: EditFact | Extract<Fact, { kind: "edit-copy" }>): string {
    const encoded = encodeFact(fact, this.#around.ports.hashing);
    this.#around.learn([encoded]);
    return encoded.id;
  }
}

/** Of what waits by time alone, ms until the first may be taken; undefined where nothing does. */
export function dueOf(assessments: readonly Assessment[]): Millis | undefined {
  const dues = assessments.flatMap(({ blocked }) => [...blocked.values()].flatMap(({ due }) => due ?? []));
  return dues.length === 0 ? undefined : (Math.min(...dues) as Millis);
}
