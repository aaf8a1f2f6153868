/**
 * Putting versions of work files in place on a drive, a unit at a time: all of it or none. At every moment each earlier
 * version and each new one stands somewhere on the drive, and nothing is replaced:
 *
 *     new versions in incoming/, proved → intents in the ledger → each present file moves to earlier/ and still is what
 *     was expected there → the new one takes its name without replacing, flushed → intents removed
 *
 * What was broken off is undone when its drive is here again: what was put in place goes to earlier/ too, and what stood
 * there goes back. Not its job: which version goes where.
 */

import { rfc3339 } from "../../../shared/format.ts";
import { folderOf, type RelativePath, type TripId, under } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import type { Bytes, Instant } from "../../../shared/units.ts";
import { suffixed } from "../../core/filing.ts";
import type { SwapIntent } from "../../ports/editLedger.ts";
import { earlierFile } from "../../record/driveLayout.ts";
import type { EnginePorts } from "../ports.ts";
import type { PresentDrive } from "../presence.ts";

/** How a file looks: enough to tell whether a program wrote it since. */
export interface Look {
  readonly size: Bytes;
  readonly modified: Instant;
}

/** One file that is to change. */
export interface Change {
  /** Below the trip's folder: what earlier versions are kept under. */
  readonly work: RelativePath;
  /** Below the drive's root. */
  readonly path: RelativePath;
  /** What stands there; undefined: nothing does. */
  readonly before: Look | undefined;
  /** The new version, unfinished, below the drive's root; undefined: the file only leaves its place. */
  readonly temp: RelativePath | undefined;
  readonly after: Look;
}

/** `theirs`: another program wrote one of the files meanwhile; all stands as it was, with what it wrote. */
export type Swapped = "swapped" | "theirs";

/** @throws FileFault; then everything stands as it was, or goes back as soon as it can */
export async function swapUnit(
  ports: EnginePorts,
  drive: PresentDrive,
  trip: TripId,
  changes: readonly Change[],
  at: Instant,
): Promise<Swapped> {
  const { ledger, randomness } = ports;
  for (const { path, before } of changes)
    if (!sameLook(await lookAt(ports, drive, path), before)) return "theirs";
  const unit = randomness.hex(16);
  const swaps: Omit<SwapIntent, "number">[] = [];
  for (const { work, path, before, temp, after } of changes) {
    const earlier = before === undefined ? undefined : await freeEarlier(ports, drive, trip, work, at);
    swaps.push({ drive: drive.id, trip, path, earlier, temp, unit, ...after });
  }
  const numbers = ledger.edits.intendSwaps(swaps);
  const intents = swaps.map((swap, nth) => ({ ...swap, number: numbers[nth] ?? 0 }));
  let swapped: Swapped = "swapped";
  try {
    for (const [nth, intent] of intents.entries()) {
      swapped = await changePlaces(ports, drive, intent, changes[nth]?.before);
      if (swapped === "theirs") break;
    }
  } catch (fault) {
    // The intents stay where it can't be undone now.
    await undoUnit(ports, drive, intents).catch(() => undefined);
    throw fault;
  }
  if (swapped === "theirs") await undoUnit(ports, drive, intents);
  else ledger.edits.endSwaps(numbers);
  return swapped;
}

/** Undoes, or ends, what was broken off on a drive. @throws FileFault; then the intents stay */
export async function recoverSwaps(ports: EnginePorts, drive: PresentDrive): Promise<void> {
  const units = new Map<string, SwapIntent[]>();
  for (const intent of ports.ledger.edits.swaps(drive.id))
    units.set(intent.unit, [...(units.get(intent.unit) ?? []), intent]);
  for (const intents of units.values()) await undoUnit(ports, drive, intents);
}

/** Where nothing is left to be done of a unit, it is as it was meant to be; else all of it goes back. */
async function undoUnit(
  ports: EnginePorts,
  drive: PresentDrive,
  intents: readonly SwapIntent[],
): Promise<void> {
  const { files, ledger } = ports;
  const done: boolean[] = [];
  for (const intent of intents) done.push(await isInPlace(ports, drive, intent));
  if (done.includes(false))
    for (const [nth, intent] of [...intents.entries()].reverse())
      await putBack(ports, drive, intent, done[nth] === true);
  for (const { temp } of intents)
    if (temp !== undefined) await files.removeUnfinished(under(drive.volume.root, temp));
  // On a drive that was pulled nothing stands either: that concludes nothing.
  await mustBeThere(ports, drive);
  ledger.edits.endSwaps(intents.map(({ number }) => number));
}

async function isInPlace(
  ports: EnginePorts,
  drive: PresentDrive,
  { path, earlier, temp, size, modified }: SwapIntent,
): Promise<boolean> {
  if (earlier !== undefined && (await lookAt(ports, drive, earlier)) === undefined) return false;
  const there = await lookAt(ports, drive, path);
  if (temp === undefined) return there === undefined;
  return (
    there !== undefined &&
    sameLook(there, { size, modified }) &&
    (await lookAt(ports, drive, temp)) === undefined
  );
}

async function putBack(
  ports: EnginePorts,
  drive: PresentDrive,
  intent: SwapIntent,
  inPlace: boolean,
): Promise<void> {
  const { trip, path, earlier, temp } = intent;
  if (inPlace && temp !== undefined) {
    // Proved, and known as a version: it is kept like any other that stood here.
    const kept = await freeBeside(
      ports,
      drive,
      earlier ?? earlierFile(trip, baseOf(path), versionName(intent.modified)),
    );
    await ports.files.makeFolder(drive.at, folderOf(kept));
    if ((await move(ports, drive, path, kept)) === "taken") return;
  }
  if (earlier === undefined || (await lookAt(ports, drive, earlier)) === undefined) return;
  // Where something has the name already, both stay: it is what another program wrote.
  await move(ports, drive, earlier, path);
}

/** The work file's path, from its path below the drive's root. */
function baseOf(path: RelativePath): RelativePath {
  return path.slice(path.indexOf("/") + 1) as RelativePath;
}

async function changePlaces(
  ports: EnginePorts,
  drive: PresentDrive,
  { path, earlier, temp }: SwapIntent,
  before: Look | undefined,
): Promise<Swapped> {
  if (earlier !== undefined) {
    await ports.files.makeFolder(drive.at, folderOf(earlier));
    if ((await move(ports, drive, path, earlier)) === "taken") return "theirs";
    if (!sameLook(await lookAt(ports, drive, earlier), before)) return "theirs";
  }
  if (temp === undefined) return "swapped";
  await ports.files.makeFolder(drive.at, folderOf(path));
  if (
    (await ports.files.moveNoReplace(under(drive.volume.root, temp), under(drive.volume.root, path))) ===
    "taken"
  )
    return "theirs";
  await ports.files.flushFolder(under(drive.volume.root, folderOf(path)));
  return "swapped";
}

/** Without replacing; both folders are flushed. */
async function move(
  { files }: EnginePorts,
  drive: PresentDrive,
  from: RelativePath,
  to: RelativePath,
): Promise<"moved" | "taken"> {
  const at = (inside: RelativePath) => under(drive.volume.root, inside);
  if ((await files.moveNoReplace(at(from), at(to))) === "taken") return "taken";
  await files.flushFolder(at(folderOf(to)));
  await files.flushFolder(at(folderOf(from)));
  return "moved";
}

/** @throws FileFault; where something that is no file has the name too */
export async function lookAt(
  { files }: Pick<EnginePorts, "files">,
  drive: PresentDrive,
  inside: RelativePath,
): Promise<Look | undefined> {
  try {
    const { kind, size, modified } = await files.facts(under(drive.volume.root, inside));
    if (kind === "file") return { size, modified };
    throw new FileFault("exists", under(drive.volume.root, inside));
  } catch (fault) {
    if (fault instanceof FileFault && fault.code === "missing") return undefined;
    throw fault;
  }
}

export function sameLook(a: Look | undefined, b: Look | undefined): boolean {
  return a?.size === b?.size && a?.modified === b?.modified;
}

/** A name for an earlier version that nothing has. */
export function freeEarlier(
  ports: EnginePorts,
  drive: PresentDrive,
  trip: TripId,
  work: RelativePath,
  at: Instant,
): Promise<RelativePath> {
  return freeBeside(ports, drive, earlierFile(trip, work, versionName(at)));
}

async function freeBeside(
  ports: EnginePorts,
  drive: PresentDrive,
  wanted: RelativePath,
): Promise<RelativePath> {
  for (let nth = 1; ; nth += 1) {
    const path = nth === 1 ? wanted : suffixed(wanted, nth);
    if ((await lookAt(ports, drive, path)) === undefined) return path;
  }
}

/** `20270605T211500.123Z`: sorts by time, and every file system takes it. */
export function versionName(at: Instant): string {
  const moment = rfc3339(at, "UTC").slice(0, 19).replaceAll(/[-:]/g, "");
  const thousandths = String(((Math.trunc(at) % 1000) + 1000) % 1000).padStart(3, "0");
  return `${moment}.${thousandths}Z`;
}

/** @throws FileFault `gone` when the drive isn't what is mounted there any more */
export async function mustBeThere({ files }: EnginePorts, { at, gone }: PresentDrive): Promise<void> {
  const found = await files.facts(at.root).catch((fault: unknown) => {
    if (fault instanceof FileFault && fault.code === "missing") return undefined;
    throw fault;
  });
  if (gone.aborted || found?.device !== at.device) throw new FileFault("gone", at.root);
}
