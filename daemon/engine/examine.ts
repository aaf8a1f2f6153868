/**
 * Looking closely at copies that are written down: read from the medium once more, and where they aren't what was
 * verified, told apart into damaged, changed by another program, moved, and gone.
 *
 * Invariant: nothing is concluded from a drive that went meanwhile; nothing on a drive is changed here.
 */

import type { LossReason, ReadBack } from "../../shared/facts.ts";
import {
  type AbsolutePath,
  baseName,
  type ContentHash,
  folderOf,
  nameKey,
  type OriginalId,
  type RelativePath,
  type TripId,
} from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import type { Bytes } from "../../shared/units.ts";
import { whatBecame } from "../core/difference.ts";
import type { Entry, Files, ReadHandle } from "../ports/files.ts";
import { checksumFile } from "../record/driveLayout.ts";
import type { BlockPool } from "./bounds.ts";
import { inspect } from "./inspect.ts";
import type { EnginePorts } from "./ports.ts";
import type { Publisher } from "./publisher.ts";
import { type Pace, type Reading, readBack } from "./readBack.ts";
import { RealFolders, type WrittenCopy } from "./standing.ts";

/** A copy as it was found. */
export type Examined =
  | { readonly what: "good"; readonly readBack: ReadBack; readonly size: Bytes }
  | { readonly what: "missing" }
  | {
      readonly what: Extract<LossReason, "damaged" | "changed">;
      readonly found: Found | undefined;
      readonly readBack: ReadBack;
    };

export interface Found {
  readonly hash: ContentHash;
  readonly size: Bytes;
}

/**
 * Reads one copy whole.
 * @returns undefined when `pace` broke it off or the drive went.
 * @throws FileFault when the drive as a whole gives no answer
 */
export async function examine(
  ports: EnginePorts,
  publisher: Publisher,
  { copy, original }: WrittenCopy,
  pool: BlockPool,
  pace?: Pace,
): Promise<Examined | undefined> {
  const path = publisher.pathOf(original.trip, copy.path);
  let reading: Reading | undefined;
  try {
    if (!(await new RealFolders(ports, publisher).has(original.trip, folderOf(copy.path))))
      return { what: "missing" };
    const { kind } = await ports.files.facts(path);
    if (kind !== "file") return { what: "missing" };
    reading = await readBack(ports.files, path, pool, ports.hashing, pace);
    if (reading === undefined) return undefined;
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    if (fault.code === "missing") return { what: "missing" };
    // The medium gives everything but this: it is damage. Whether the drive is still there the caller finds out.
    if (fault.code === "gone" || fault.code === "too-many") throw fault;
  }
  if (publisher.drive.gone.aborted) return undefined;
  if (reading?.hash === original.hash && reading.size === original.size)
    return { what: "good", readBack: reading.readBack, size: reading.size };
  if (reading === undefined) return { what: "damaged", found: undefined, readBack: "cache" };
  let handle: ReadHandle | undefined;
  try {
    handle = await ports.files.openToRead(path);
    const { size, modified } = await handle.facts();
    const brokenBy = await inspect(handle, copy.path, size);
    const times = ports.ledger.timesOf(original.id);
    const what = whatBecame({ size: original.size, times }, { size, modified, brokenBy });
    return { what, found: { hash: reading.hash, size: reading.size }, readBack: reading.readBack };
  } catch (fault) {
    if (!(fault instanceof FileFault) || fault.code === "gone") throw fault;
    return { what: "damaged", found: undefined, readBack: "cache" };
  } finally {
    await handle?.close();
  }
}

/** Where an original stands now. */
export interface NewPlace {
  readonly path: RelativePath;
  readonly readBack: ReadBack;
}

/**
 * Files that aren't where they were written, found again by content in their trip's folder on the same drive.
 * @throws FileFault when the drive can't be listed or read
 */
export async function findMoved(
  ports: EnginePorts,
  publisher: Publisher,
  trip: TripId,
  missing: readonly WrittenCopy[],
  pool: BlockPool,
): Promise<ReadonlyMap<OriginalId, NewPlace>> {
  const found = new Map<OriginalId, NewPlace>();
  const known = new Set(ports.ledger.copiesOn(publisher.drive.id, trip).map((copy) => nameKey(copy.path)));
  const sought = new Map<Bytes, WrittenCopy[]>();
  for (const each of missing) {
    known.delete(nameKey(each.copy.path));
    sought.set(each.original.size, [...(sought.get(each.original.size) ?? []), each]);
  }
  for (const { path, size } of await strangersIn(ports, publisher, trip, known)) {
    const candidates = sought.get(size)?.filter(({ original }) => !found.has(original.id)) ?? [];
    if (candidates.length === 0) continue;
    if (publisher.drive.gone.aborted) break;
    const reading = await readBack(ports.files, publisher.pathOf(trip, path), pool, ports.hashing).catch(
      passOver,
    );
    const match = candidates.find(({ original }) => original.hash === reading?.hash);
    if (match !== undefined && reading !== undefined)
      found.set(match.original.id, { path, readBack: reading.readBack });
  }
  return found;
}

async function listOrNothing(files: Files, folder: AbsolutePath): Promise<readonly Entry[]> {
  return (await files.list(folder).catch(passOver)) ?? [];
}

/** What can't be read hides nothing else; only a drive that went ends the search. */
function passOver(fault: unknown): undefined {
  if (fault instanceof FileFault && fault.code !== "gone") return undefined;
  throw fault;
}

/** Files below the trip's folder that nobody wrote down; links aren't followed. */
async function strangersIn(
  { files, limits }: EnginePorts,
  publisher: Publisher,
  trip: TripId,
  known: ReadonlySet<string>,
): Promise<readonly { readonly path: RelativePath; readonly size: Bytes }[]> {
  const strangers: { path: RelativePath; size: Bytes }[] = [];
  const listName = nameKey(baseName(checksumFile("")));
  const enter = async (folder: RelativePath, depth: number): Promise<void> => {
    if (depth > limits.folderDepthMax || publisher.drive.gone.aborted) return;
    for (const entry of await listOrNothing(files, publisher.pathOf(trip, folder))) {
      const path = (folder === "" ? entry.name : `${folder}/${entry.name}`) as RelativePath;
      if (entry.kind === "folder") await enter(path, depth + 1);
      // A name that no fact can hold can't be followed.
      if (entry.kind !== "file" || known.has(nameKey(path)) || nameKey(path) === listName) continue;
      if (/[\n\r\\]/.test(path) || !path.isWellFormed()) continue;
      const facts = await files.facts(publisher.pathOf(trip, path)).catch(passOver);
      if (facts !== undefined) strangers.push({ path, size: facts.size });
    }
  };
  // What is reached through a link isn't on this drive; below its root, links aren't entered.
  const root = "" as RelativePath;
  if (await new RealFolders({ files }, publisher).has(trip, root)) await enter(root, 0);
  return strangers;
}
