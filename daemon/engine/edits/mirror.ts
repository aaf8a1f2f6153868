/**
 * Newest versions of work files go to the drives that lack them, a unit at a time, from drives that together hold all of it.
 * What stood there goes into that drive's history. Where a program writes meanwhile, it is left to a later look.
 */

import type { DriveId, RelativePath, TripId } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { printable } from "../../../shared/text.ts";
import { inOrder } from "../../core/edits/versions.ts";
import { reserveOf } from "../../core/plan.ts";
import type { EditHead, EditLook } from "../../ports/editLedger.ts";
import { encodeFact } from "../../record/journal.ts";
import type { BlockPool } from "../bounds.ts";
import type { DriveBay } from "../driveBay.ts";
import type { EnginePorts } from "../ports.ts";
import type { PresentDrive } from "../presence.ts";
import type { Assessment, UnitKeys } from "./assess.ts";
import { type Carried, type CarryPorts, carry, dropCarried } from "./carry.ts";
import { type Change, type Look, lookAt, sameLook, swapUnit } from "./swap.ts";

export interface MirrorPorts {
  readonly ports: EnginePorts;
  readonly bay: DriveBay;
  readonly streamPool: BlockPool;
  readonly verifyPool: BlockPool;
  readonly onBytes: (read: number) => void;
}

/** A version that was put in its place on a drive, and how it looks there; undefined: it left its place. */
export interface Placed {
  readonly head: EditHead;
  readonly look: Look | undefined;
  /** Below the trip's folder. */
  readonly at: RelativePath;
}

/** What is to go from some drives to others. */
export interface Transfer {
  readonly unit: UnitKeys;
  /** In the trip's order; each newest version stands on one of them. */
  readonly sources: readonly Assessment[];
  readonly targets: readonly Assessment[];
  /** Newest versions of the unit by key, deletions too. */
  readonly heads: ReadonlyMap<string, EditHead>;
}

/** What a drive doesn't hold as it should. */
export function lackingOn(
  unit: UnitKeys,
  heads: ReadonlyMap<string, EditHead>,
  on: Assessment,
): readonly string[] {
  return unit.keys.filter((key) => {
    const head = heads.get(key);
    return head !== undefined && (on.standing.get(key)?.hash ?? "") !== head.hash;
  });
}

/** Of several newest versions of one path the one that holds. */
export function headsByKey(
  heads: readonly EditHead[],
  keyOf: (path: RelativePath) => string,
): ReadonlyMap<string, EditHead> {
  const byKey = new Map<string, EditHead[]>();
  for (const head of heads) byKey.set(keyOf(head.path), [...(byKey.get(keyOf(head.path)) ?? []), head]);
  const chosen = new Map<string, EditHead>();
  for (const [key, all] of byKey) {
    const last = inOrder(all).at(-1);
    if (last !== undefined) chosen.set(key, last);
  }
  return chosen;
}

/** @returns the transfers that are possible now; `unfit` hears of drives without room */
export function transfersOf(
  bay: DriveBay,
  limits: EnginePorts["limits"],
  units: readonly UnitKeys[],
  heads: ReadonlyMap<string, EditHead>,
  assessments: readonly Assessment[],
  unfit: (unit: UnitKeys, drive: PresentDrive) => void,
): readonly Transfer[] {
  const transfers: Transfer[] = [];
  const room = new Map(
    assessments.map(({ watched: { drive } }) => [
      drive.id,
      bay.freeOf(drive) - reserveOf(drive.traits.totalBytes, limits),
    ]),
  );
  for (const unit of units) {
    const free = assessments.filter(({ blocked }) => !blocked.has(unit.name));
    const lacking = free.filter((each) => lackingOn(unit, heads, each).length > 0);
    if (lacking.length === 0) continue;
    const sources = sourcesOf(unit, heads, free);
    if (sources === undefined) continue;
    const targets = lacking.filter((each) => {
      const { drive } = each.watched;
      const needed = lackingOn(unit, heads, each).reduce((sum, key) => sum + (heads.get(key)?.size ?? 0), 0);
      const left = room.get(drive.id) ?? 0;
      if (needed > left) {
        unfit(unit, drive);
        return false;
      }
      room.set(drive.id, left - needed);
      return true;
    });
    if (targets.length > 0) transfers.push({ unit, sources, targets, heads });
  }
  return transfers;
}

/**
 * One drive that holds all of it where there is one, though what was deleted may still stand there. Else several: of a
 * catalogue that was changed apart one side holds whole, so what only others have was made beside it.
 * @returns undefined where some newest version stands on none of them
 */
function sourcesOf(
  unit: UnitKeys,
  heads: ReadonlyMap<string, EditHead>,
  free: readonly Assessment[],
): readonly Assessment[] | undefined {
  const wanted = unit.keys.filter((key) => (heads.get(key)?.hash ?? "") !== "");
  const holds = (on: Assessment, key: string): boolean => on.standing.get(key)?.hash === heads.get(key)?.hash;
  const whole = free.find((each) => wanted.every((key) => holds(each, key)));
  if (whole !== undefined) return [whole];
  const sources = free.filter((each) => wanted.some((key) => holds(each, key)));
  return wanted.every((key) => sources.some((each) => holds(each, key))) ? sources : undefined;
}

/**
 * @returns the drives that hold the unit now, with the versions that they hold anew; nothing where the source changed
 */
export async function mirrorUnit(
  around: MirrorPorts,
  trip: TripId,
  { unit, sources, targets, heads }: Transfer,
): Promise<readonly { readonly target: Assessment; readonly placed: ReadonlyMap<string, Placed> }[]> {
  const { ports } = around;
  const carried = new Map<string, ReadonlyMap<DriveId, Carried>>();
  let reading: Assessment | undefined;
  const refuse = (by: PresentDrive, why: string): void => {
    targets.find(({ watched }) => watched.drive.id === by.id)?.watched.refused.set(unit.name, why);
  };
  const drop = async (): Promise<void> => {
    for (const each of carried.values())
      for (const [drive, { temp }] of each) {
        const target = targets.find(({ watched }) => watched.drive.id === drive);
        if (target !== undefined) await dropCarried(ports.files, target.watched.drive, temp);
      }
  };
  try {
    for (const key of unit.keys) {
      const head = heads.get(key);
      if (head === undefined || head.hash === "") continue;
      const takers = targets.filter((each) => lackingOn(unit, heads, each).includes(key));
      if (takers.length === 0) continue;
      const source = sources.find(({ standing }) => standing.get(key)?.hash === head.hash);
      const standing = source?.standing.get(key);
      if (source === undefined || standing === undefined) throw new FileFault("changed", head.path);
      reading = source;
      const { drive, publisher } = source.watched;
      const path = publisher.inside(trip, standing.file.at);
      const drives = takers
        .map(({ watched }) => watched.drive)
        .filter((each) => around.bay.isUsable(each.id));
      const took = await carry(carryPorts(around, refuse), drive, path, standing, head.hash, drives);
      if (took === undefined) throw new FileFault("changed", head.path);
      carried.set(key, took);
    }
    for (const source of sources) {
      reading = source;
      if (!(await isAsItWas(ports, trip, unit, source))) throw new FileFault("changed", unit.name);
    }
  } catch (fault) {
    await drop();
    if (!(fault instanceof FileFault)) throw fault;
    if (fault.code === "changed" || fault.code === "missing" || reading === undefined)
      for (const { watched } of sources) watched.stale = true;
    else reading.watched.refused.set(unit.name, wordsOfSource(fault, reading.watched.drive));
    return [];
  }
  const done: { target: Assessment; placed: ReadonlyMap<string, Placed> }[] = [];
  for (const target of targets) {
    const placed = await putInPlace(around, trip, unit, heads, target, carried);
    if (placed !== undefined) done.push({ target, placed });
  }
  return done;
}

function wordsOfSource({ code }: FileFault, { name }: PresentDrive): string {
  // Nobody wrote it, and it gives other bytes: nobody gets them.
  if (code === "differs")
    return `gives other bytes on ${printable(name)} than before, though nobody wrote it`;
  return `can't be read on ${printable(name)}`;
}

/** What concerns this unit alone; undefined: the drive as a whole. */
function wordsOfTarget({ code }: FileFault, { name }: PresentDrive): string | undefined {
  switch (code) {
    // Something that is no file has the name, or a folder on the way is none.
    case "exists":
    case "missing":
      return `has a name that something else has on ${printable(name)}`;
    case "bad-name":
      return `has a name that ${printable(name)} can't hold`;
    case "too-large":
      return `is larger than a file on ${printable(name)} can be`;
    default:
      return undefined;
  }
}

/** Nothing of the unit was written since it was listed, and no journal stands beside it. */
async function isAsItWas(
  ports: EnginePorts,
  trip: TripId,
  unit: UnitKeys,
  { watched, standing }: Assessment,
): Promise<boolean> {
  const { drive, publisher } = watched;
  for (const key of unit.keys) {
    const each = standing.get(key);
    if (each === undefined) continue;
    const path = publisher.inside(trip, each.file.at);
    if (!sameLook(await lookAt(ports, drive, path), each)) return false;
    for (const beside of ["-journal", "-wal", ".lock"])
      if ((await lookAt(ports, drive, `${path}${beside}` as RelativePath)) !== undefined) return false;
  }
  return true;
}

/** @returns what stands there now by key; undefined where it couldn't be put there */
async function putInPlace(
  around: MirrorPorts,
  trip: TripId,
  unit: UnitKeys,
  heads: ReadonlyMap<string, EditHead>,
  target: Assessment,
  carried: ReadonlyMap<string, ReadonlyMap<DriveId, Carried>>,
): Promise<ReadonlyMap<string, Placed> | undefined> {
  const { ports, bay } = around;
  const { drive, publisher } = target.watched;
  const changes: Change[] = [];
  const placed = new Map<string, Placed>();
  let whole = true;
  for (const key of lackingOn(unit, heads, target)) {
    const head = heads.get(key);
    if (head === undefined) continue;
    const before = target.standing.get(key);
    const at = before?.file.at ?? head.path;
    const one = carried.get(key)?.get(drive.id);
    if (one === undefined && head.hash !== "") whole = false;
    changes.push({
      work: head.path,
      path: publisher.inside(trip, at),
      before,
      temp: one?.temp,
      after: one?.look ?? { size: head.size, modified: head.modified },
    });
    placed.set(key, { head, look: one?.look, at });
  }
  try {
    if (whole && (await swapUnit(ports, drive, trip, changes, ports.clock.now())) === "swapped")
      return placed;
    target.watched.stale = true;
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    target.watched.stale = true;
    const why = wordsOfTarget(fault, drive);
    if (why === undefined) await bay.onFault(drive.id, unit.name, undefined, fault);
    else target.watched.refused.set(unit.name, why);
  }
  for (const { temp } of changes) if (temp !== undefined) await dropCarried(ports.files, drive, temp);
  return undefined;
}

/** @param refuse hears of a drive that can't hold this one file */
export function carryPorts(
  { ports, bay, streamPool, verifyPool, onBytes }: MirrorPorts,
  refuse: (by: PresentDrive, why: string) => void = () => undefined,
): CarryPorts {
  return {
    ports,
    streamPool,
    verifyPool,
    onBytes,
    onDriveFault: async (drive, path, fault) => {
      const why = fault instanceof FileFault ? wordsOfTarget(fault, drive) : undefined;
      if (why !== undefined) refuse(drive, why);
      if (
        why === undefined ||
        (fault instanceof FileFault && fault.code !== "exists" && fault.code !== "missing")
      )
        await bay.onFault(drive.id, path, undefined, fault);
    },
  };
}

/** A drive holds a version from now on: the facts for its journal. */
export function holdingFact(ports: EnginePorts, trip: TripId, edit: string, drive: PresentDrive) {
  const readBack = drive.traits.readBack;
  return encodeFact(
    { kind: "edit-copy", trip, at: ports.clock.now(), edit, drive: drive.id, readBack },
    ports.hashing,
  );
}

/** What stands on a drive now that it was put there: by how it looked when it was proved, not as it may look since. */
export function standsNow(
  ports: EnginePorts,
  trip: TripId,
  target: Assessment,
  placed: ReadonlyMap<string, Placed>,
): void {
  const looks = new Map<string, EditLook | undefined>();
  for (const [key, { head, look, at }] of placed) {
    if (head.hash === "" || look === undefined) {
      target.standing.delete(key);
      looks.set(key, undefined);
      continue;
    }
    const { size, modified } = look;
    target.standing.set(key, {
      size,
      modified,
      hash: head.hash,
      file: { path: head.path, at, size, modified },
    });
    looks.set(key, { path: head.path, size, modified, hash: head.hash });
  }
  ports.ledger.edits.setLooks(target.watched.drive.id, trip, looks);
}
