/**
 * One pass over a source, a card or a drive: carries out a copy plan. The source is read once, in its order; everything
 * after reading (flush, read back, compare, publish) runs behind it on every drive. A file or drive that fails stops
 * only itself.
 *
 * The order for each frame: bytes into `incoming/` on every drive → the frame's place is settled and written into the
 * ledger (the intent, `settle.ts`) → flush → read back past the cache, compare → `publisher.ts`.
 * Stops between two files when the world has changed; what was begun is finished or thrown away.
 */

import {
  type AbsolutePath,
  type CardId,
  type DriveId,
  type OriginalId,
  type RelativePath,
  under,
} from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import type { Bytes } from "../../shared/units.ts";
import type { WantedFrame } from "../core/filing.ts";
import type { CopyJob, PlannedFile } from "../core/plan.ts";
import type { ReadHandle, WriteHandle } from "../ports/files.ts";
import type { EncodedFact, OriginalRow } from "../ports/ledger.ts";
import { incomingFolder, unfinishedFile } from "../record/driveLayout.ts";
import { type BlockPool, Places } from "./bounds.ts";
import { inspect } from "./inspect.ts";
import type { EnginePorts } from "./ports.ts";
import type { Published, Publisher } from "./publisher.ts";
import { readBack } from "./readBack.ts";
import { settle } from "./settle.ts";
import { fingerprintEnds, type Sink, type Streamed, stream } from "./transfer.ts";

/** A drive with its publisher and its places for reading back. */
export interface Target {
  readonly publisher: Publisher;
  readonly verifying: Places;
}

/** Where the bytes come from. */
export interface PassSource {
  readonly root: AbsolutePath;
  /** Aborted when it is no longer there. */
  readonly gone: AbortSignal;
  /** Set for a card. A drive gives only what is known already, so nothing new is ever filed from one. */
  readonly card: CardId | undefined;
}

export interface PassContext {
  readonly ports: EnginePorts;
  readonly source: PassSource;
  readonly targets: ReadonlyMap<DriveId, Target>;
  readonly streamPool: BlockPool;
  readonly verifyPool: BlockPool;
  /** What each frame wants to be called, by its key on the card. */
  readonly wanted: ReadonlyMap<string, WantedFrame>;
  /** Originals that files of each frame are known to be, by its key on the card. */
  readonly siblings: ReadonlyMap<string, readonly OriginalId[]>;
  /** What follows the stem in each file's name. */
  readonly extensions: ReadonlyMap<RelativePath, string>;
  readonly interrupted: () => boolean;
  readonly onBytes: (read: number) => void;
  /** A file of the source can't be read, or isn't what it was. */
  readonly onSourceFault: (path: RelativePath, fault: unknown) => Promise<void>;
  /** A drive can't be written or read; it takes no further part in this pass. */
  readonly onDriveFault: (
    drive: DriveId,
    path: RelativePath,
    original: OriginalId | undefined,
    fault: unknown,
  ) => Promise<void>;
  /** A copy read back differently and was thrown away. */
  readonly onDifference: (drive: DriveId, path: RelativePath, original: OriginalId) => void;
  /** Facts that every drive's journal should hold. */
  readonly tell: (facts: readonly EncodedFact[]) => void;
  /** Whether this drive still takes part. */
  readonly usable: (drive: DriveId) => boolean;
}

/** Bytes on one drive that are not flushed yet. */
interface Unfinished {
  readonly path: AbsolutePath;
  readonly handle: WriteHandle;
}

/** A file that was read whole, with its unfinished copies. */
export interface ReadPlanned {
  readonly file: PlannedFile;
  readonly streamed: Streamed;
  /** What is wrong with its structure as the card gives it; found out while the next file is read. Never rejects. */
  readonly damage: Promise<string | undefined>;
  readonly copies: ReadonlyMap<DriveId, Unfinished>;
}

/** The same when its structure was looked at. */
export type LookedAt = Omit<ReadPlanned, "damage"> & { readonly damage: string | undefined };

/** An original that is to stand on some drives. */
export interface Settled {
  readonly read: LookedAt;
  readonly original: Pick<OriginalRow, "id" | "path" | "hash" | "size">;
}

export async function runPass(context: PassContext, jobs: readonly CopyJob[]): Promise<void> {
  const inFlight = new Places(context.ports.limits.framesInFlight);
  const behind = new Set<Promise<void>>();
  let before: Promise<void> = Promise.resolve();
  let bug: unknown;
  for (const job of jobs) {
    if (context.interrupted() || context.source.gone.aborted || bug !== undefined) break;
    if (!job.files.some((file) => file.targets.some(context.usable))) continue;
    await inFlight.enter();
    let read: readonly ReadPlanned[];
    try {
      read = await readJob(context, job);
    } catch (fault) {
      inFlight.leave();
      bug = fault;
      break;
    }
    // Names are settled in the order of reading, while what comes next is being read.
    const settled = before.then(async () => settle(context, job, await looked(read)));
    before = settled.then(
      () => undefined,
      () => undefined,
    );
    const finishing = settled
      .then((ready) => finish(context, ready))
      .catch((fault: unknown) => {
        bug = fault;
      })
      .finally(() => {
        inFlight.leave();
        behind.delete(finishing);
      });
    behind.add(finishing);
  }
  await Promise.all(behind);
  if (bug !== undefined) throw bug;
}

/** What was read, with what is known of its structure by now. */
async function looked(read: readonly ReadPlanned[]): Promise<readonly LookedAt[]> {
  return Promise.all(read.map(async (each) => ({ ...each, damage: await each.damage })));
}

/** Reads the job's files once each, into `incoming/` on the drives that lack them. */
async function readJob(context: PassContext, job: CopyJob): Promise<readonly ReadPlanned[]> {
  const read: ReadPlanned[] = [];
  for (const file of job.files) {
    if (context.source.gone.aborted) break;
    const targets = await withoutStanding(context, file);
    if (targets.length === 0) continue;
    const done = await readFile(context, file, targets);
    if (done !== undefined) read.push(done);
  }
  return read;
}

async function readFile(
  context: PassContext,
  file: PlannedFile,
  drives: readonly DriveId[],
): Promise<ReadPlanned | undefined> {
  const copies = new Map<DriveId, Unfinished>();
  let done: StreamedFile | undefined;
  let fault: unknown;
  try {
    done = await streamFile(context, file, drives, copies);
    fault = done === undefined ? undefined : differsFromBefore(context, file, done);
  } catch (caught) {
    if (!(caught instanceof FileFault)) throw caught;
    fault = caught;
  }
  if (done !== undefined && fault === undefined) return { file, streamed: done, damage: done.damage, copies };
  await Promise.all([...copies.values()].map((copy) => discard(context, copy)));
  if (fault !== undefined && !context.source.gone.aborted) await context.onSourceFault(file.path, fault);
  return undefined;
}

type StreamedFile = Streamed & Pick<ReadPlanned, "damage">;

/** @throws FileFault when the source can't be read. */
async function streamFile(
  context: PassContext,
  file: PlannedFile,
  drives: readonly DriveId[],
  copies: Map<DriveId, Unfinished>,
): Promise<StreamedFile | undefined> {
  const { ports } = context;
  const source = await openSource(context, file);
  const sinks = new Map<DriveId, Sink>();
  let looking: Promise<string | undefined> | undefined;
  try {
    const before = await source.facts();
    // What is written down is what was listed; if that isn't what stands there, it is listed anew.
    if (before.size !== file.size || before.modified !== file.modified)
      throw new FileFault("changed", file.path);
    const begin = async (drive: DriveId): Promise<void> => {
      const copy = await beginCopy(context, drive, file);
      if (copy === undefined) return;
      copies.set(drive, copy);
      sinks.set(drive, { handle: copy.handle, fault: undefined });
    };
    await Promise.all(drives.map(begin));
    const streamed = await stream(source, [...sinks.values()], {
      pool: context.streamPool,
      hashing: ports.hashing,
      readTries: ports.limits.readTries,
      fingerprintEndBytes: fingerprintEnds(before.size, ports.limits.fingerprintEndBytes),
      onBytes: context.onBytes,
      stop: context.source.gone,
    });
    const after = await source.facts();
    if (streamed === undefined) return undefined;
    const same = before.size === after.size && before.modified === after.modified;
    if (!same || streamed.size !== after.size) throw new FileFault("changed", file.path);
    // What was just read is still in the computer's memory: looking at it again costs the card nothing.
    const fresh = context.source.card !== undefined && file.original === undefined && file.role !== "extra";
    if (fresh) looking = lookAt(source, file.path, streamed.size);
    return { ...streamed, damage: looking ?? Promise.resolve(undefined) };
  } finally {
    if (looking === undefined) await source.close();
    for (const [drive, sink] of sinks) {
      const copy = copies.get(drive);
      if (sink.fault === undefined || copy === undefined) continue;
      copies.delete(drive);
      await discard(context, copy);
      await context.onDriveFault(drive, file.path, file.original, sink.fault);
    }
  }
}

/** Looks at the structure and closes the file. What can't be read a second time is found out by whoever needs it. */
async function lookAt(source: ReadHandle, path: RelativePath, size: Bytes): Promise<string | undefined> {
  try {
    return await inspect(source, path, size);
  } catch (fault) {
    if (fault instanceof FileFault) return undefined;
    throw fault;
  } finally {
    await source.close().catch(() => undefined);
  }
}

/** What was read before is read from the medium this time: a second look into the computer's memory proves nothing. */
async function openSource({ ports, source }: PassContext, file: PlannedFile): Promise<ReadHandle> {
  const path = under(source.root, file.path);
  if (file.original === undefined) return ports.files.openToRead(path);
  return (await ports.files.openToVerify(path)).handle;
}

/** A file that was read before, looks the same and gives other bytes now: neither reading can be trusted. */
function differsFromBefore(context: PassContext, file: PlannedFile, streamed: Streamed): unknown {
  if (file.original === undefined) return undefined;
  const row = context.ports.ledger.original(file.original);
  if (row === undefined || (row.hash === streamed.hash && row.size === streamed.size)) return undefined;
  return new FileFault("differs", file.path);
}

async function beginCopy(
  context: PassContext,
  drive: DriveId,
  file: PlannedFile,
): Promise<Unfinished | undefined> {
  const target = context.targets.get(drive);
  if (target === undefined || !context.usable(drive)) return undefined;
  const { files, randomness } = context.ports;
  const { volume, traits, at } = target.publisher.drive;
  const path = under(volume.root, unfinishedFile(randomness.hex(12)));
  let copy: Unfinished | undefined;
  try {
    await files.makeFolder(at, incomingFolder);
    copy = { path, handle: await files.createToWrite(path) };
    // A mount point whose drive has gone is an ordinary folder of this computer: nothing may land there.
    if ((await copy.handle.facts()).device === traits.device) return copy;
    throw new FileFault("gone", path);
  } catch (fault) {
    if (copy !== undefined) await discard(context, copy);
    if (!(fault instanceof FileFault)) throw fault;
    await context.onDriveFault(drive, file.path, file.original, fault);
    return undefined;
  }
}

/** Forces every copy to its medium, reads it back, and publishes what is equal. */
async function finish(context: PassContext, settled: readonly Settled[]): Promise<void> {
  await Promise.all(
    settled.flatMap(({ read, original }) =>
      [...read.copies].map(([drive, copy]) => finishCopy(context, read.file, original, drive, copy)),
    ),
  );
}

async function finishCopy(
  context: PassContext,
  file: PlannedFile,
  original: Settled["original"],
  drive: DriveId,
  copy: Unfinished,
): Promise<void> {
  const { ports } = context;
  const target = context.targets.get(drive);
  // The same bytes may have come a second time in this pass; one copy is enough.
  if (target === undefined || ports.ledger.hasCopy(original.id, drive)) return discard(context, copy);
  try {
    const reading = await target.verifying.inside(async () => {
      // A flush that failed is never tried again: the system may have dropped the bytes and say all is well.
      await copy.handle.finish(file.modified);
      await copy.handle.close();
      return readBack(ports.files, copy.path, context.verifyPool, ports.hashing);
    });
    if (reading.hash !== original.hash || reading.size !== original.size) {
      await discard(context, copy);
      context.onDifference(drive, file.path, original.id);
      return;
    }
    const published = await target.publisher.publish({
      original: original.id,
      trip: file.trip,
      hash: original.hash,
      size: original.size,
      path: original.path,
      readBack: reading.readBack,
      temp: copy.path,
    });
    if (!published.published) await discard(context, copy);
    await report(context, drive, file.path, original.id, published);
  } catch (fault) {
    await discard(context, copy);
    if (!(fault instanceof FileFault)) throw fault;
    await context.onDriveFault(drive, file.path, original.id, fault);
  }
}

async function report(
  context: PassContext,
  drive: DriveId,
  source: RelativePath,
  original: OriginalId,
  published: Published,
): Promise<void> {
  if (published.published) return;
  if (!(published.fault instanceof FileFault)) throw published.fault;
  await context.onDriveFault(drive, source, original, published.fault);
}

/**
 * The drives that need this file's bytes. Where it stands under its final name already (the power went between naming
 * and writing down), reading it back is enough and nothing is written again.
 */
async function withoutStanding(context: PassContext, file: PlannedFile): Promise<readonly DriveId[]> {
  const drives = file.targets.filter(context.usable);
  const row = file.original === undefined ? undefined : context.ports.ledger.original(file.original);
  if (row === undefined) return drives;
  const needed: DriveId[] = [];
  for (const drive of drives) if (!(await adopt(context, file, row, drive))) needed.push(drive);
  return needed;
}

async function adopt(
  context: PassContext,
  file: PlannedFile,
  row: OriginalRow,
  drive: DriveId,
): Promise<boolean> {
  const { ports } = context;
  const target = context.targets.get(drive);
  if (target === undefined) return false;
  const path = target.publisher.pathOf(row.trip, row.path);
  try {
    const facts = await ports.files.facts(path);
    if (facts.kind !== "file" || facts.size !== row.size) return false;
    // It may be reached through a link, and then it isn't on this drive: a folder is made again, a link isn't taken for one.
    await ports.files.makeFolder(
      target.publisher.drive.at,
      target.publisher.folderInside(row.trip, row.path),
    );
    const reading = await readBack(ports.files, path, context.verifyPool, ports.hashing);
    if (reading.hash !== row.hash) return false;
    const published = await target.publisher.publish({
      original: row.id,
      trip: row.trip,
      hash: row.hash,
      size: row.size,
      path: row.path,
      readBack: reading.readBack,
      temp: undefined,
    });
    await report(context, drive, file.path, row.id, published);
    return published.published;
  } catch (fault) {
    if (fault instanceof FileFault) return false;
    throw fault;
  }
}

/** What can't be removed now is removed when the drive comes again: `incoming/` is never mistaken for work. */
async function discard(context: PassContext, copy: Unfinished): Promise<void> {
  await copy.handle.close().catch(() => undefined);
  await context.ports.files.removeUnfinished(copy.path).catch(() => undefined);
}
