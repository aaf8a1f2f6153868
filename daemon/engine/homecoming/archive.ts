/**
 * One archive folder while a trip is merged into it: told from an empty mount point and from another disk before
 * anything is written, then treated like a drive, with its own identity, record and unfinished work.
 *
 * Invariants: the folder itself is never made; nothing is written where another archive, or none, stands in place of the
 * one that is known; nothing there is replaced or deleted.
 */

import type { ReadBack } from "../../../shared/facts.ts";
import { rfc3339 } from "../../../shared/format.ts";
import {
  type AbsolutePath,
  absolutePath,
  folderOf,
  type RelativePath,
  under,
} from "../../../shared/identity.ts";
import { FileFault, UserMistake } from "../../../shared/problems.ts";
import { printable } from "../../../shared/text.ts";
import { type Bytes, bytes } from "../../../shared/units.ts";
import { renderTree } from "../../core/archiveTree.ts";
import type { VolumeRoot } from "../../ports/files.ts";
import type { EncodedFact } from "../../ports/ledger.ts";
import { readArchiveIdentity, writeArchiveIdentity } from "../../record/archiveIdentity.ts";
import { archiveFile, identityFile, incomingFolder } from "../../record/driveLayout.ts";
import { DriveRecord } from "../../record/driveRecord.ts";
import type { KnownTrip } from "../dating.ts";
import { wordsFor } from "../faultWords.ts";
import { learnFacts, newsFor } from "../learn.ts";
import type { EnginePorts } from "../ports.ts";

export interface Archive {
  readonly folder: AbsolutePath;
  /** "" in a rehearsal of the first homecoming into it. */
  readonly id: string;
  readonly fsId: string;
  readonly at: VolumeRoot;
  readonly freeBytes: Bytes;
  readonly readBack: ReadBack;
  /** The trip's folder below it. */
  readonly tree: RelativePath;
  /** undefined in a rehearsal. */
  readonly record: DriveRecord | undefined;
}

export interface Opening {
  readonly trip: KnownTrip;
  readonly profileText: string;
  readonly rehearsal: boolean;
  /** Roots that are cards or drives, and this program's own folders: never an archive. */
  readonly forbidden: readonly AbsolutePath[];
  /** Roots of cards and drives: no archive may be around them either. */
  readonly volumes: readonly AbsolutePath[];
  /** Makes facts known to every drive that is in. */
  readonly tell: (facts: readonly EncodedFact[]) => void;
}

/** @throws UserMistake when the folder isn't there, can't be written, or isn't the archive it was */
export async function openArchive(ports: EnginePorts, folder: string, opening: Opening): Promise<Archive> {
  const root = absolutePath(folder.length > 1 ? folder.replace(/\/+$/, "") : folder);
  const shown = printable(root, 1_000);
  try {
    return await open(ports, root, opening);
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    if (fault.code === "missing" && fault.path === root)
      throw refused(
        `${shown} isn't there.`,
        "Connect or mount the archive, or make the folder yourself, then ask again.",
      );
    const denied = fault.code === "denied" || fault.code === "read-only";
    throw denied
      ? refused(
          `${shown} can't be written.`,
          "Give this user the right to write there, or name another folder with --to.",
        )
      : new UserMistake(
          `${shown} can't be used: ${fault.code === "gone" ? "it isn't connected" : wordsFor(fault.code)}. ${nothingWritten}`,
          "Mend that, then ask again.",
          74,
        );
  }
}

const nothingWritten = "Nothing was written there.";

function refused(what: string, next: string): UserMistake {
  return new UserMistake(`${what} ${nothingWritten}`, next, 1);
}

async function open(ports: EnginePorts, root: AbsolutePath, opening: Opening): Promise<Archive> {
  const { files, ledger } = ports;
  const shown = printable(root, 1_000);
  if (!root.startsWith("/") || root.split("/").some((part) => part === "." || part === ".."))
    throw new UserMistake(
      `${shown} is no absolute path. ${nothingWritten}`,
      "Name the folder from the root on.",
    );
  const { kind } = await files.facts(root);
  if (kind === "link") throw refused(`${shown} is a link.`, "Name the folder that it leads to.");
  if (kind !== "folder") throw refused(`${shown} is no folder.`, "Name a folder.");
  await refuseOwn(ports, root, opening);
  const traits = await files.traits(root);
  if (traits.readOnly) throw new FileFault("read-only", root);
  const fsId = await files.fileSystemId(root);
  const found = await identityIn(ports, root);
  refuseOtherDisk(ports, root, found, fsId);
  const at: VolumeRoot = { root, device: traits.device };
  const { trip, rehearsal } = opening;
  const id = found?.id ?? (rehearsal ? "" : await makeArchive(ports, at, fsId));
  const wanted = renderTree(trip.profile, trip.profile.archive?.tree ?? "{taken:yyyy}/{trip}");
  const tree = (id === "" ? undefined : ledger.archives.tree(id, trip.id)) ?? wanted;
  const archive = {
    folder: root,
    id,
    fsId,
    at,
    freeBytes: traits.freeBytes,
    readBack: traits.readBack,
    tree,
  };
  if (rehearsal) return { ...archive, record: undefined };
  ledger.archives.setPlace(root, { archive: id, fsId });
  ledger.archives.setTree(id, trip.id, tree);
  await clearIncoming(ports, at);
  await files.makeFolder(at, tree);
  return { ...archive, record: await openRecord(ports, at, tree, opening) };
}

async function refuseOwn(
  { files }: EnginePorts,
  root: AbsolutePath,
  { forbidden, volumes }: Pick<Opening, "forbidden" | "volumes">,
): Promise<void> {
  const shown = printable(root, 1_000);
  const other = "Name a folder on a disk that stays at home.";
  const below = volumes.find((each) => each.startsWith(root === "/" ? root : `${root}/`));
  if (below !== undefined)
    throw refused(
      `${shown} is a folder in which media are mounted, ${printable(below, 1_000)} for one.`,
      other,
    );
  const inside = forbidden.find((each) => root === each || root.startsWith(`${each}/`));
  if (inside !== undefined)
    throw refused(`${shown} is on ${printable(inside, 1_000)}, which is no place for an archive.`, other);
  for (let folder = root; ; folder = absolutePath(folderOf(folder as string as RelativePath) || "/")) {
    const drive = await files.facts(under(folder, identityFile)).catch(passMissing);
    if (drive !== undefined)
      throw refused(`${shown} is on a drive of trips, at ${printable(folder, 1_000)}.`, other);
    if (folder === "/") return;
  }
}

function passMissing(fault: unknown): undefined {
  if (fault instanceof FileFault && fault.code !== "io") return undefined;
  throw fault;
}

/** An archive that is known here must be the one that stands here now, on the file system it was on. */
function refuseOtherDisk(
  { ledger }: EnginePorts,
  root: AbsolutePath,
  found: { readonly id: string; readonly fsId: string } | undefined,
  fsId: string,
): void {
  const shown = printable(root, 1_000);
  const known = ledger.archives.place(root);
  const next =
    "Mount the right disk there, then ask again. If this is to be another archive, name a folder of its own for it.";
  if (known !== undefined && found === undefined)
    throw refused(
      `${shown} was an archive before and isn't one now: the disk isn't mounted there, or it is another one.`,
      next,
    );
  if (found === undefined) return;
  if (known !== undefined && known.archive !== found.id)
    throw refused(`${shown} is another archive than the last time.`, next);
  const before = [found.fsId, known?.fsId ?? ""].find((each) => each !== "");
  if (before !== undefined && fsId !== "" && before !== fsId)
    throw refused(
      `${shown} is on another file system than the archive was: it is a copy of it, or another disk.`,
      next,
    );
}

async function identityIn({ files, limits }: EnginePorts, root: AbsolutePath) {
  const path = under(root, archiveFile);
  let content: Uint8Array;
  try {
    content = await files.readSmall(path, bytes(limits.ownFileBytesMax));
  } catch (fault) {
    if (fault instanceof FileFault && fault.code === "missing") return undefined;
    throw fault;
  }
  const identity = readArchiveIdentity(content);
  if (identity !== undefined) return identity;
  throw refused(
    `${printable(path, 1_000)} can't be read as what says which archive this is.`,
    "If this is the right disk, put a good copy of that file there, or name a folder of its own for a new archive.",
  );
}

async function makeArchive(
  { files, randomness, clock, ledger }: EnginePorts,
  at: VolumeRoot,
  fsId: string,
): Promise<string> {
  const id = randomness.hex(16);
  await files.makeFolder(at, folderOf(archiveFile));
  const identity = { id, fsId, made: rfc3339(clock.now(), "UTC") };
  await files.replaceOwn(under(at.root, archiveFile), writeArchiveIdentity(identity));
  ledger.note("archive", "", `${printable(at.root, 1_000)} is an archive now`, clock.now());
  return id;
}

/** What a homecoming that was broken off left unfinished is nobody's. */
async function clearIncoming({ files }: EnginePorts, at: VolumeRoot): Promise<void> {
  const folder = under(at.root, incomingFolder);
  const entries = await files.list(folder).catch(passMissing);
  for (const entry of entries ?? [])
    if (entry.kind === "file") await files.removeUnfinished(under(folder, entry.name));
}

/** The archive's record is brought up to what is known, and what only it knew is learnt. */
async function openRecord(
  ports: EnginePorts,
  at: VolumeRoot,
  tree: RelativePath,
  { trip, profileText, tell }: Opening,
): Promise<DriveRecord> {
  const { files, hashing, ledger, limits } = ports;
  const most = bytes(limits.journalBytesMax);
  const { record, facts } = await DriveRecord.open(files, hashing, at, { id: trip.id, folder: tree }, most);
  const known = new Set<string>();
  for (const fact of ledger.factsOf(trip.id)) known.add(fact.id);
  const news = newsFor(facts, known, trip.id);
  if (news.length > 0) {
    learnFacts(ports, news);
    tell(news);
  }
  await record.keepProfile(profileText);
  await bringUpToDate(ports, record, trip);
  return record;
}

/** Everything that is known of the trip stands in the archive's record. @throws FileFault */
export async function bringUpToDate(
  { ledger }: EnginePorts,
  record: DriveRecord,
  trip: KnownTrip,
): Promise<void> {
  let missing: { readonly id: string; readonly json: string }[] = [];
  for (const fact of ledger.factsOf(trip.id)) {
    if (!record.holds(fact.id)) missing.push(fact);
    if (missing.length < 5_000) continue;
    await record.add(missing);
    missing = [];
  }
  await record.add(missing);
}
