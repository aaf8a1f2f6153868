/**
 * A merged trip read again any year later, from what stands in its folder alone: its checksum list says what must be
 * there. Needs neither ledger nor daemon; writes nothing.
 */

import type { ArchiveCheckJson } from "../../../shared/homeApi.ts";
import {
  type AbsolutePath,
  baseName,
  type ContentHash,
  type RelativePath,
  under,
} from "../../../shared/identity.ts";
import { FileFault, UserMistake } from "../../../shared/problems.ts";
import { printable } from "../../../shared/text.ts";
import { bytes } from "../../../shared/units.ts";
import type { Files } from "../../ports/files.ts";
import { readChecksums } from "../../record/checksums.ts";
import { checksumFile } from "../../record/driveLayout.ts";
import { BlockPool } from "../bounds.ts";
import { wordsFor } from "../faultWords.ts";
import type { EnginePorts } from "../ports.ts";
import { Progress } from "../progress.ts";
import { readBack } from "../readBack.ts";
import { type ListedFile, listBelow } from "./listing.ts";

export interface CheckSurroundings extends Pick<EnginePorts, "files" | "hashing" | "limits" | "clock"> {
  /** Told once, when it is known how much there is to read. */
  readonly onBegun: (progress: Progress) => void;
}

const listName = baseName(checksumFile(""));
const longestPath = 1_000;
/** Folders. Trips stand so deep below an archive at most where their lists are looked for. */
const listsDeep = 4;

/** @throws UserMistake where there is no list; FileFault when the disk gives no answer */
export async function checkArchive(
  around: CheckSurroundings,
  folder: AbsolutePath,
): Promise<ArchiveCheckJson> {
  const { files, hashing, limits, clock } = around;
  const { entries, whole } = readChecksums(await listIn(around, folder));
  if (entries.length === 0)
    throw new UserMistake(
      `${listName} in ${printable(folder, longestPath)} lists nothing, so nothing says what must be there.`,
      "Bring the trip home again, or put a good copy of the list there: each drive of the trip and each archive has one.",
      65,
    );
  const wanted = new Map<RelativePath, ContentHash[]>();
  for (const { path, hash } of entries) wanted.set(path, [...(wanted.get(path) ?? []), hash]);
  const found = new Map(
    (await listBelow(around, folder)).map((file) => [file.path as string, file] as const),
  );
  const inside = [...wanted].filter(([path]) => found.has(path));
  const total = inside.reduce((sum, [path]) => sum + (found.get(path)?.size ?? 0), 0);
  const progress = new Progress(bytes(total), clock.steady());
  around.onBegun(progress);
  const damaged: { path: string; what: string }[] = [];
  if (!whole) damaged.push({ path: listName, what: "It has lines that can't be read." });
  const pool = new BlockPool(files.blocks(1, bytes(limits.blockBytes)));
  let size = 0;
  let unsure = 0;
  for (const [path, hashes] of inside) {
    const shown = printable(path, longestPath);
    try {
      const reading = await readBack(files, under(folder, path), pool, hashing, async (read) => {
        progress.add(read, clock.steady());
        return true;
      });
      if (reading === undefined) continue;
      size += reading.size;
      if (reading.readBack === "cache") unsure += 1;
      if (!hashes.includes(reading.hash)) damaged.push({ path: shown, what: "It isn't what the list says." });
    } catch (fault) {
      if (!(fault instanceof FileFault) || fault.code === "gone") throw fault;
      damaged.push({ path: shown, what: `It can't be read: ${wordsFor(fault.code)}.` });
    }
  }
  const missing = [...wanted.keys()]
    .filter((path) => !found.has(path))
    .map((path) => printable(path, longestPath));
  const unlisted = [...found.values()].filter((file) => isStranger(file, wanted));
  return {
    folder: printable(folder, longestPath),
    files: inside.length,
    bytes: size,
    unsure,
    damaged,
    missing,
    unlisted: unlisted.map(({ path }) => printable(path, longestPath)),
    good: damaged.length === 0 && missing.length === 0,
  };
}

function isStranger({ path }: ListedFile, wanted: ReadonlyMap<RelativePath, unknown>): boolean {
  return !wanted.has(path) && path !== listName && !path.startsWith(".scrubjay/");
}

async function listIn({ files, limits }: CheckSurroundings, folder: AbsolutePath): Promise<Uint8Array> {
  const shown = printable(folder, longestPath);
  try {
    if ((await files.facts(folder)).kind !== "folder")
      throw new UserMistake(`${shown} is no folder.`, "Name a trip's folder.");
    return await files.readSmall(under(folder, listName), bytes(limits.journalBytesMax));
  } catch (fault) {
    if (!(fault instanceof FileFault) || fault.code !== "missing") throw fault;
    if (fault.path === folder)
      throw new UserMistake(`${shown} isn't there.`, "Mount the archive, or name the trip's folder in it.");
  }
  const below = await listsBelow(files, folder, listsDeep);
  throw new UserMistake(
    `There is no ${listName} in ${shown}, so nothing says what must be there.`,
    below.length === 0
      ? "Name the folder of one trip; its list stands in it."
      : `Name the folder of one trip: ${below
          .slice(0, 5)
          .map((each) => printable(each, longestPath))
          .join(", ")}.`,
  );
}

/** Folders with a list of their own. */
async function listsBelow(
  files: Files,
  folder: AbsolutePath,
  deep: number,
): Promise<readonly AbsolutePath[]> {
  const found: AbsolutePath[] = [];
  const entries = await files.list(folder).catch((fault: unknown) => {
    if (fault instanceof FileFault) return [];
    throw fault;
  });
  if (entries.some(({ name, kind }) => name === listName && kind === "file")) found.push(folder);
  else if (deep > 0)
    for (const { name, kind } of entries)
      if (kind === "folder" && !name.startsWith("."))
        found.push(...(await listsBelow(files, under(folder, name), deep - 1)));
  return found;
}
