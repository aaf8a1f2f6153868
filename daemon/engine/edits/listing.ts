/**
 * The work files of a trip as they stand on one drive: everything below the trip's folder that no card gave. Names and
 * sizes only; nothing is read. Links aren't followed, and what is reached through one isn't on this drive.
 *
 * Invariant: a listing is whole or there is none, since what is absent from it may be taken for deleted.
 */

import { baseName, nameKey, type RelativePath, type TripId } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { type Bytes, bytes, type Count, count, type Instant } from "../../../shared/units.ts";
import { changedName } from "../../core/edits/changedName.ts";
import { foldersHolding } from "../../core/edits/units.ts";
import { leavingReason } from "../../core/leavings.ts";
import { isBeside } from "../../core/openFiles.ts";
import type { CopyRow } from "../../ports/ledger.ts";
import { checksumFile } from "../../record/driveLayout.ts";
import type { EnginePorts } from "../ports.ts";
import type { Publisher } from "../publisher.ts";
import { RealFolders, stillThere } from "../standing.ts";

export interface WorkFile {
  /** What it is called on every drive, below the trip's folder. */
  readonly path: RelativePath;
  /** Where it stands on this one. */
  readonly at: RelativePath;
  readonly size: Bytes;
  readonly modified: Instant;
}

export interface Listing {
  /** By the key of their paths. */
  readonly files: ReadonlyMap<string, WorkFile>;
  /** Journals and lock files: what shows that a program has something open. */
  readonly beside: readonly RelativePath[];
  /** Keys of folders that hold originals. */
  readonly originals: ReadonlySet<string>;
  /** Copies that are written down and whose names aren't there. */
  readonly missing: readonly CopyRow[];
  /** Copies that have another size than they were given; only looked for when that was asked. */
  readonly resized: readonly CopyRow[];
  readonly leftOut: { readonly files: Count; readonly bytes: Bytes };
  /** What can't be mirrored whatever happens, with why. */
  readonly unfit: readonly { readonly path: RelativePath; readonly why: string }[];
}

const ownList = nameKey(baseName(checksumFile("")));

/**
 * @param leftOut whether the profile leaves out what stands under this path
 * @param sizes whether the sizes of originals are compared too
 * @returns undefined where the trip has no folder there
 * @throws FileFault where anything can't be listed, or the drive went
 */
export async function listWork(
  ports: EnginePorts,
  publisher: Publisher,
  trip: TripId,
  leftOut: (path: RelativePath) => boolean,
  sizes: boolean,
): Promise<Listing | undefined> {
  const { ledger, files: disk, limits } = ports;
  const drive = publisher.drive.id;
  const copies = new Map(ledger.copiesOn(drive, trip).map((copy) => [nameKey(copy.path), copy]));
  const losses = new Map(ledger.losses(drive, trip).map((loss) => [nameKey(loss.path), loss.why]));
  const missing = new Map(copies);
  const found = new Map<string, WorkFile>();
  const beside: RelativePath[] = [];
  const resized: CopyRow[] = [];
  const unfit: { path: RelativePath; why: string }[] = [];
  const left = { files: 0, bytes: 0 };

  const take = async (at: RelativePath): Promise<void> => {
    const key = nameKey(at);
    const copy = copies.get(key);
    missing.delete(key);
    if (copy !== undefined) {
      const there = sizes ? await disk.facts(publisher.pathOf(trip, at)).catch(goneMeanwhile) : undefined;
      if (there !== undefined && there.size !== ledger.original(copy.original)?.size) resized.push(copy);
      return;
    }
    if (key === ownList || baseName(at).startsWith(".scrubjay-new-")) return;
    const why = losses.get(key);
    const original = ledger.originalAt(trip, key);
    // The untouched copy of what is filed there stands beside it: this is what a program made of it.
    const changed = why === "changed" || (original !== undefined && ledger.hasCopy(original.id, drive));
    // What is filed there may still be on its way; what is damaged is no program's work.
    if (!changed && (why !== undefined || original !== undefined)) return;
    const facts = await disk.facts(publisher.pathOf(trip, at)).catch(goneMeanwhile);
    if (facts?.kind !== "file" || leavingReason(at, "file", facts.size) !== undefined) return;
    if (isBeside(at)) {
      beside.push(at);
      return;
    }
    if (leftOut(at)) {
      left.files += 1;
      left.bytes += facts.size;
      return;
    }
    const path = changed ? changedName(at) : at;
    const twin = found.get(nameKey(path));
    if (/[\n\r\\]/.test(path) || !path.isWellFormed())
      unfit.push({ path, why: "has a name that no list can hold" });
    else if (twin !== undefined)
      unfit.push({ path, why: `has a name that some drives can't tell from ${twin.path}` });
    else found.set(nameKey(path), { path, at, size: facts.size, modified: facts.modified });
  };
  const enter = async (folder: RelativePath, depth: number): Promise<void> => {
    if (publisher.drive.gone.aborted) throw new FileFault("gone", publisher.drive.volume.root);
    if (depth > limits.folderDepthMax) return;
    const entries = await disk.list(publisher.pathOf(trip, folder));
    // In one order, so that of two twins it is always the same one.
    for (const { name, kind } of [...entries].sort((a, b) => (a.name < b.name ? -1 : 1))) {
      const path = (folder === "" ? name : `${folder}/${name}`) as RelativePath;
      if (kind === "folder") await enter(path, depth + 1);
      if (kind === "file") await take(path);
    }
  };
  const root = "" as RelativePath;
  try {
    if (!(await new RealFolders(ports, publisher).has(trip, root))) return undefined;
  } catch (fault) {
    if (fault instanceof FileFault && fault.code === "missing") return undefined;
    throw fault;
  }
  await enter(root, 0);
  await stillThere(ports, publisher);
  return {
    files: found,
    beside,
    originals: foldersHolding([...copies.values()].map(({ path }) => path)),
    missing: [...missing.values()],
    resized,
    leftOut: { files: count(left.files), bytes: bytes(left.bytes) },
    unfit,
  };
}

/** It was taken away between two looks: the next listing tells. */
function goneMeanwhile(fault: unknown): undefined {
  if (fault instanceof FileFault && fault.code === "missing") return undefined;
  throw fault;
}
