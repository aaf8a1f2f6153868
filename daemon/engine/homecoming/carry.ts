/**
 * Bringing files into archives: each is read once from a drive that holds it, past the cache, written to every archive
 * that lacks it, forced there, read back, compared, and only then given its name, over nothing. Bytes that aren't what
 * was verified reach nobody; another drive is asked.
 * Not its job: the name (`giveName.ts`), writing down what stands (`writeDown.ts`).
 */

import { type AbsolutePath, under } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import type { Instant } from "../../../shared/units.ts";
import type { WriteHandle } from "../../ports/files.ts";
import type { EncodedFact } from "../../ports/ledger.ts";
import { incomingFolder, unfinishedFile } from "../../record/driveLayout.ts";
import type { BlockPool } from "../bounds.ts";
import type { EnginePorts } from "../ports.ts";
import { readBack } from "../readBack.ts";
import { type Sink, stream } from "../transfer.ts";
import type { Archive } from "./archive.ts";
import { dropTarget, leaveOutOrDrop } from "./failing.ts";
import { giveName } from "./giveName.ts";
import type { Item, Run, Target } from "./run.ts";
import type { Placed } from "./writeDown.ts";

export interface CarryContext {
  readonly ports: EnginePorts;
  readonly run: Run;
  readonly streamPool: BlockPool;
  readonly verifyPool: BlockPool;
  readonly onBytes: (read: number) => void;
  readonly tell: (facts: readonly EncodedFact[]) => void;
}

/** A file on a drive, as it is to be read. */
export interface Source {
  readonly path: AbsolutePath;
  readonly gone: AbortSignal;
  /** Aborted when reading it is to end: the drive went, or the daemon stops. */
  readonly stop: AbortSignal;
}

/** What a source gave. */
export type Given = "given" | "differs" | "unreadable" | "broken off";

export interface Unfinished {
  readonly target: Target;
  readonly archive: Archive;
  readonly path: AbsolutePath;
  readonly handle: WriteHandle;
}

/** Reads a file into the archives that lack it and hands over what is to be finished there. @throws nothing of a source's */
export async function readInto(
  context: CarryContext,
  source: Source,
  item: Item,
  targets: readonly Target[],
): Promise<{
  readonly given: Given;
  readonly finish: (() => Promise<readonly [Target, Placed][]>) | undefined;
}> {
  const { ports, streamPool } = context;
  const copies: { copy: Unfinished; sink: Sink }[] = [];
  const discardAll = () => Promise.all(copies.map(({ copy }) => discard(ports, copy)));
  let modified: Instant;
  let given: Given;
  try {
    const { handle } = await ports.files.openToVerify(source.path);
    try {
      const before = await handle.facts();
      modified = before.modified;
      if (before.size !== item.size) return { given: "differs", finish: undefined };
      for (const target of targets) {
        const copy = await beginCopy(ports, target);
        if (copy !== undefined) copies.push({ copy, sink: { handle: copy.handle, fault: undefined } });
      }
      if (copies.length === 0) return { given: "broken off", finish: undefined };
      const streamed = await stream(
        handle,
        copies.map(({ sink }) => sink),
        {
          pool: streamPool,
          hashing: ports.hashing,
          readTries: ports.limits.readTries,
          fingerprintEndBytes: ports.limits.fingerprintEndBytes,
          onBytes: context.onBytes,
          stop: source.stop,
        },
      );
      const right = streamed?.hash === item.hash && streamed.size === item.size;
      given = streamed === undefined ? "broken off" : right ? "given" : "differs";
    } finally {
      await handle.close().catch(() => undefined);
    }
  } catch (fault) {
    await discardAll();
    if (!(fault instanceof FileFault)) throw fault;
    return { given: "unreadable", finish: undefined };
  }
  for (const { copy, sink } of copies)
    if (sink.fault !== undefined) await leaveOutOrDrop(ports.files, copy.target, sink.fault, item);
  if (given !== "given") {
    await discardAll();
    return { given, finish: undefined };
  }
  const whole = copies.filter(({ sink }) => sink.fault === undefined).map(({ copy }) => copy);
  const failed = copies.filter(({ sink }) => sink.fault !== undefined).map(({ copy }) => copy);
  await Promise.all(failed.map((copy) => discard(ports, copy)));
  const finish = async (): Promise<readonly [Target, Placed][]> => {
    const placed = await Promise.all(whole.map((copy) => finishCopy(context, copy, item, modified)));
    return placed.flatMap((each) => (each === undefined ? [] : [each]));
  };
  return { given, finish };
}

export async function beginCopy(ports: EnginePorts, target: Target): Promise<Unfinished | undefined> {
  const { archive } = target;
  if (archive === undefined || !target.takesPart) return undefined;
  const path = under(archive.folder, unfinishedFile(ports.randomness.hex(12)));
  let copy: Unfinished | undefined;
  try {
    await ports.files.makeFolder(archive.at, incomingFolder);
    copy = { target, archive, path, handle: await ports.files.createToWrite(path) };
    // A mount point whose disk has gone is an ordinary folder of this computer: nothing may land there.
    if ((await copy.handle.facts()).device === archive.at.device) return copy;
    throw new FileFault("gone", path);
  } catch (fault) {
    if (copy !== undefined) await discard(ports, copy);
    await dropTarget(ports.files, target, fault);
    return undefined;
  }
}

async function finishCopy(
  context: CarryContext,
  copy: Unfinished,
  item: Item,
  modified: Instant,
): Promise<[Target, Placed] | undefined> {
  const { ports, verifyPool } = context;
  const { target } = copy;
  try {
    // A flush that failed is never tried again: the system may have dropped the bytes and say all is well.
    await copy.handle.finish(modified);
    await copy.handle.close();
    const reading = await readBack(ports.files, copy.path, verifyPool, ports.hashing);
    if (reading.hash !== item.hash || reading.size !== item.size) {
      await discard(ports, copy);
      return undefined;
    }
    const path = await giveName(context, copy, item);
    return [target, { item, path, modified, readBack: reading.readBack }];
  } catch (fault) {
    await discard(ports, copy);
    await leaveOutOrDrop(ports.files, target, fault, item);
    return undefined;
  }
}

export async function discard({ files }: EnginePorts, { handle, path }: Unfinished): Promise<void> {
  await handle.close().catch(() => undefined);
  await files.removeUnfinished(path).catch(() => undefined);
}
