/**
 * Putting a new version of a sidecar in place of the one that stands there, so that at every moment the earlier version
 * or the new one stands, nothing that another program wrote is lost, and every earlier version is kept:
 *
 *     new bytes into incoming/, flushed, read back → intent in the ledger → the present one moves to earlier/, is
 *     compared with what was read, flushed → the new one takes the name without replacing, flushed → intent removed
 *
 * What was broken off is undone when its drive is here again, or before the next rating there: if nothing stands under
 * the sidecar's name, the earlier version goes back. Not its job: what is written (`ratings.ts`).
 */

import { type ContentHash, folderOf, type RelativePath, type TripId, under } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { bytes, type Instant } from "../../shared/units.ts";
import { suffixed } from "../core/filing.ts";
import type { RatingIntent } from "../ports/frameLedger.ts";
import { earlierFile, incomingFolder, unfinishedFile } from "../record/driveLayout.ts";
import type { BlockPool } from "./bounds.ts";
import { mustBeThere, versionName } from "./edits/swap.ts";
import type { EnginePorts } from "./ports.ts";
import type { PresentDrive } from "./presence.ts";
import { readBack } from "./readBack.ts";

export interface Swap {
  readonly drive: PresentDrive;
  readonly trip: TripId;
  /** Below the drive's root. */
  readonly path: RelativePath;
  /** Below the trip's folder: what earlier versions are kept under. */
  readonly work: RelativePath;
  /** What stands there, as it was read; undefined: nothing does. */
  readonly earlier: ContentHash | undefined;
  readonly content: Uint8Array;
  readonly at: Instant;
}

/** `theirs`: another program wrote it meanwhile; what it wrote stands, and nothing of ours. */
export type Swapped = "swapped" | "theirs";

/** @throws FileFault; then the earlier version stands, or goes back as soon as it can */
export async function swapSidecar(ports: EnginePorts, pool: BlockPool, swap: Swap): Promise<Swapped> {
  const { files, ledger, randomness } = ports;
  const { drive, trip, path, earlier } = swap;
  const temp = unfinishedFile(randomness.hex(16));
  try {
    await writeUnfinished(ports, pool, swap, temp);
  } catch (fault) {
    await files.removeUnfinished(under(drive.volume.root, temp)).catch(() => undefined);
    throw fault;
  }
  const aside = earlier === undefined ? undefined : await freeEarlier(ports, swap);
  const number = ledger.frames.intendRating({ drive: drive.id, trip, path, earlier: aside, temp });
  const intent: RatingIntent = { number, drive: drive.id, trip, path, earlier: aside, temp };
  let swapped: Swapped;
  try {
    swapped = await changePlaces(ports, swap, intent);
  } catch (fault) {
    // The intent stays where it can't be undone now.
    await undoSwap(ports, drive, intent).catch(() => undefined);
    throw fault;
  }
  if (swapped === "theirs") await undoSwap(ports, drive, intent);
  else ledger.frames.endRating(number);
  return swapped;
}

/**
 * What a broken off swap left behind is put right: the earlier version goes back if nothing stands in its place.
 * @throws FileFault; then the intent stays
 */
export async function undoSwap(ports: EnginePorts, drive: PresentDrive, intent: RatingIntent): Promise<void> {
  const { files, ledger } = ports;
  const at = (inside: RelativePath) => under(drive.volume.root, inside);
  if (intent.earlier !== undefined && (await stands(ports, drive, intent.earlier))) {
    // Where something has the name already, both stay: it is the earlier one itself, the new one, or another program's.
    if ((await files.moveNoReplace(at(intent.earlier), at(intent.path))) === "moved") {
      await files.flushFolder(at(folderOf(intent.path)));
      await files.flushFolder(at(folderOf(intent.earlier)));
    }
  }
  await files.removeUnfinished(at(intent.temp));
  // On a drive that was pulled nothing stands either: that concludes nothing.
  await mustBeThere(ports, drive);
  ledger.frames.endRating(intent.number);
}

async function changePlaces(ports: EnginePorts, swap: Swap, intent: RatingIntent): Promise<Swapped> {
  const { files } = ports;
  const at = (inside: RelativePath) => under(swap.drive.volume.root, inside);
  const { earlier, path, temp } = intent;
  if (earlier !== undefined) {
    await files.makeFolder(swap.drive.at, folderOf(earlier));
    if ((await files.moveNoReplace(at(path), at(earlier))) === "taken") return "theirs";
    await files.flushFolder(at(folderOf(earlier)));
    if ((await hashOf(ports, swap.drive, earlier)) !== swap.earlier) return "theirs";
  }
  if ((await files.moveNoReplace(at(temp), at(path))) === "taken") return "theirs";
  await files.flushFolder(at(folderOf(path)));
  return "swapped";
}

/** @throws FileFault, `differs` where it reads back differently */
async function writeUnfinished(
  ports: EnginePorts,
  pool: BlockPool,
  { drive, content, at }: Swap,
  temp: RelativePath,
): Promise<void> {
  const { files, hashing } = ports;
  const path = under(drive.volume.root, temp);
  await files.makeFolder(drive.at, incomingFolder);
  const handle = await files.createToWrite(path);
  try {
    await handle.write(content, 0);
    await handle.finish(at);
  } finally {
    await handle.close();
  }
  const running = hashing.start();
  running.update(content);
  const read = await readBack(files, path, pool, hashing);
  if (read.hash !== running.digest() || read.size !== content.length) throw new FileFault("differs", path);
}

/** A name for the earlier version that nothing has. */
async function freeEarlier(ports: EnginePorts, { drive, trip, work, at }: Swap): Promise<RelativePath> {
  const wanted = earlierFile(trip, work, versionName(at));
  for (let nth = 1; ; nth += 1) {
    const path = nth === 1 ? wanted : suffixed(wanted, nth);
    if (!(await stands(ports, drive, path))) return path;
  }
}

async function stands({ files }: EnginePorts, drive: PresentDrive, inside: RelativePath): Promise<boolean> {
  try {
    await files.facts(under(drive.volume.root, inside));
    return true;
  } catch (fault) {
    if (fault instanceof FileFault && fault.code === "missing") return false;
    throw fault;
  }
}

async function hashOf(
  { files, hashing, limits }: EnginePorts,
  drive: PresentDrive,
  inside: RelativePath,
): Promise<ContentHash> {
  const running = hashing.start();
  running.update(await files.readSmall(under(drive.volume.root, inside), bytes(limits.sidecarBytesMax)));
  return running.digest();
}
