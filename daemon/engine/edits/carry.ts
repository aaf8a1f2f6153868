/**
 * Work files carried from one drive to others: read once past the cache, written beside everything into `incoming/`,
 * forced to the medium and read back. What comes out is proved and has no name yet. A file that changes while it is read
 * is given up: it is tried again when it is quiet.
 */

import type { ReadBack } from "../../../shared/facts.ts";
import {
  type ContentHash,
  type DriveId,
  folderOf,
  type RelativePath,
  under,
} from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import type { Instant } from "../../../shared/units.ts";
import type { WriteHandle } from "../../ports/files.ts";
import { incomingFolder, unfinishedFile } from "../../record/driveLayout.ts";
import type { BlockPool } from "../bounds.ts";
import type { EnginePorts } from "../ports.ts";
import type { PresentDrive } from "../presence.ts";
import { readBack } from "../readBack.ts";
import { type Sink, stream } from "../transfer.ts";
import { type Look, lookAt, sameLook } from "./swap.ts";

export interface CarryPorts {
  readonly ports: EnginePorts;
  readonly streamPool: BlockPool;
  readonly verifyPool: BlockPool;
  readonly onBytes: (read: number) => void;
  /** A drive can't be written; it takes no further part. */
  readonly onDriveFault: (drive: PresentDrive, path: RelativePath, fault: unknown) => Promise<void>;
}

export interface Carried {
  /** Below the drive's root. */
  readonly temp: RelativePath;
  /** As it looks there now, and will under its name. */
  readonly look: Look;
  readonly readBack: ReadBack;
}

interface Begun {
  readonly drive: PresentDrive;
  readonly temp: RelativePath;
  readonly handle: WriteHandle;
}

/**
 * @param path below the source's root
 * @param hash what it must be
 * @param modified the time that its copies get; its own if not said
 * @returns by target, those that took it; undefined where the source isn't what it was
 * @throws FileFault where the source can't be read; `differs` where it looks the same and gives other bytes
 */
export async function carry(
  around: CarryPorts,
  source: PresentDrive,
  path: RelativePath,
  look: Look,
  hash: ContentHash,
  targets: readonly PresentDrive[],
  modified = look.modified,
): Promise<ReadonlyMap<DriveId, Carried> | undefined> {
  const { ports } = around;
  const { handle } = await ports.files.openToVerify(under(source.volume.root, path));
  const begun = new Map<DriveId, Begun>();
  try {
    if (!sameLook(await handle.facts(), look)) return undefined;
    const sinks = new Map<DriveId, Sink>();
    for (const drive of targets) {
      const one = await begin(around, drive, path);
      if (one === undefined) continue;
      begun.set(drive.id, one);
      sinks.set(drive.id, { handle: one.handle, fault: undefined });
    }
    const streamed = await stream(handle, [...sinks.values()], {
      pool: around.streamPool,
      hashing: ports.hashing,
      readTries: ports.limits.readTries,
      fingerprintEndBytes: 0,
      onBytes: around.onBytes,
      stop: source.gone,
    });
    for (const [drive, { fault }] of sinks) {
      const one = begun.get(drive);
      if (fault === undefined || one === undefined) continue;
      await giveUp(around, begun, one, path, fault);
    }
    const same = sameLook(await handle.facts(), look);
    if (streamed !== undefined && same && streamed.hash !== hash) throw new FileFault("differs", path);
    if (streamed === undefined || !same) {
      for (const one of begun.values()) await discard(ports, one);
      return undefined;
    }
  } catch (fault) {
    for (const one of begun.values()) await discard(ports, one);
    throw fault;
  } finally {
    await handle.close();
  }
  const carried = new Map<DriveId, Carried>();
  for (const one of [...begun.values()]) {
    const done = await prove(around, begun, one, path, modified, hash);
    if (done !== undefined) carried.set(one.drive.id, done);
  }
  return carried;
}

async function begin(
  around: CarryPorts,
  drive: PresentDrive,
  path: RelativePath,
): Promise<Begun | undefined> {
  const { files, randomness } = around.ports;
  const temp = unfinishedFile(randomness.hex(12));
  try {
    await files.makeFolder(drive.at, incomingFolder);
    const handle = await files.createToWrite(under(drive.volume.root, temp));
    // A mount point whose drive has gone is an ordinary folder of this computer: nothing may land there.
    if ((await handle.facts()).device === drive.at.device) return { drive, temp, handle };
    await discard(around.ports, { drive, temp, handle });
    throw new FileFault("gone", drive.volume.root);
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    await around.onDriveFault(drive, path, fault);
    return undefined;
  }
}

/** A flush that failed is never tried again: the system may have dropped the bytes and say all is well. */
async function prove(
  around: CarryPorts,
  begun: Map<DriveId, Begun>,
  one: Begun,
  path: RelativePath,
  modified: Instant,
  hash: ContentHash,
): Promise<Carried | undefined> {
  const { ports } = around;
  const at = under(one.drive.volume.root, one.temp);
  try {
    await one.handle.finish(modified);
    await one.handle.close();
    const reading = await readBack(ports.files, at, around.verifyPool, ports.hashing);
    if (reading.hash !== hash) throw new FileFault("differs", at);
    const now = await lookAt(ports, one.drive, one.temp);
    if (now === undefined) throw new FileFault("changed", at);
    return { temp: one.temp, look: now, readBack: reading.readBack };
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    await giveUp(around, begun, one, path, fault);
    return undefined;
  }
}

async function giveUp(
  around: CarryPorts,
  begun: Map<DriveId, Begun>,
  one: Begun,
  path: RelativePath,
  fault: unknown,
): Promise<void> {
  begun.delete(one.drive.id);
  await discard(around.ports, one);
  await around.onDriveFault(one.drive, path, fault);
}

/** What can't be removed now is removed when the drive comes again. */
async function discard({ files }: EnginePorts, { drive, temp, handle }: Begun): Promise<void> {
  await handle.close().catch(() => undefined);
  await dropCarried(files, drive, temp);
}

export async function dropCarried(
  files: EnginePorts["files"],
  drive: PresentDrive,
  temp: RelativePath,
): Promise<void> {
  await files.removeUnfinished(under(drive.volume.root, temp)).catch(() => undefined);
}

/** What was carried takes a name in the histories, so that a version doesn't exist once only. @throws FileFault */
export async function keepAside(
  { files }: EnginePorts,
  drive: PresentDrive,
  temp: RelativePath,
  earlier: RelativePath,
): Promise<void> {
  await files.makeFolder(drive.at, folderOf(earlier));
  const taken = await files.moveNoReplace(under(drive.volume.root, temp), under(drive.volume.root, earlier));
  if (taken === "taken") await dropCarried(files, drive, temp);
  else await files.flushFolder(under(drive.volume.root, folderOf(earlier)));
}
