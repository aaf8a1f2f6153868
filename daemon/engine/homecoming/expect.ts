/**
 * What is to come home: every original that ever existed, where the primary drive has it, and the newest version of every
 * work file, those included that stand on a drive that is in and that nobody wrote down yet.
 */

import { type DriveId, extensionOf, nameKey, type RelativePath } from "../../../shared/identity.ts";
import { changedName } from "../../core/edits/changedName.ts";
import { suffixed } from "../../core/filing.ts";
import { frameBeside, type HomeGroup, stemOf } from "../../core/homePlacing.ts";
import type { ExpectedOriginal } from "../../ports/archiveLedger.ts";
import { contentOf, type DriveLook, type Item, type Place, type ReadFile } from "./run.ts";
import type { WorkRecord } from "./workFiles.ts";

const nothing: ReadonlySet<string> = new Set();

/**
 * @param primary the primary drive, whose order of things the archive follows; undefined while it isn't known
 * @param looks what stands on the drives that are in, read
 */
export function expectAll(
  originals: readonly ExpectedOriginal[],
  primary: DriveId | undefined,
  record: WorkRecord,
  looks: readonly DriveLook[],
): readonly Item[] {
  const items: Item[] = originals.map((original) => originalItem(original, primary));
  const stems = new Map(items.map(({ group }) => [nameKey(group.stem), group.stem] as const));
  const frames = originals.filter(({ role, size }) => role === "frame" && size > 0);
  const same = new Set(frames.map(contentOf));
  // A frame under one more name is home with its original.
  const taken = new Map(items.map((item) => [nameKey(item.path), contentOf(item)] as const));
  const works = workItems(taken, stems, record, looks);
  return [...items, ...works.filter((work) => !same.has(contentOf(work)))];
}

function originalItem(original: ExpectedOriginal, primary: DriveId | undefined): Item {
  const path = pathOn(original, primary);
  const { hash, size, role } = original;
  const group = { stem: stemAt(original, path), together: false };
  return { path, hash, size, group, work: false, kind: role, original, at: [], follows: nothing };
}

/** Where the primary has it; but not the number that a name which was taken there got. */
function pathOn({ path, copies }: ExpectedOriginal, primary: DriveId | undefined): RelativePath {
  const there = copies.find(({ drive }) => drive === primary)?.path ?? path;
  const number = /-(\d{1,6})(?=\.[^./]*$|$)/.exec(there)?.[1];
  return number !== undefined && there === suffixed(path, Number(number)) ? path : there;
}

/** What the files of its frame begin with, as this one is called now. */
function stemAt({ path, stem }: ExpectedOriginal, now: RelativePath): RelativePath {
  if (stem === undefined) return stemOf(now);
  const rest = path.slice(stem.length);
  return now.endsWith(rest) ? (now.slice(0, now.length - rest.length) as RelativePath) : stemOf(now);
}

/** A work file as it stands on a drive. */
interface Fresh {
  readonly drive: DriveId;
  /** What it is called at home. */
  readonly path: RelativePath;
  readonly file: ReadFile;
}

/** By path and content once each; of one path the version first that is to have the name. */
function workItems(
  taken: ReadonlyMap<string, string>,
  stems: ReadonlyMap<string, RelativePath>,
  { heads, versions }: WorkRecord,
  looks: readonly DriveLook[],
): readonly Item[] {
  const found = new Map<string, Item & { readonly at: Place[] }>();
  const add = (path: RelativePath, file: Pick<ReadFile, "hash" | "size">, places: readonly Place[]): void => {
    const key = `${nameKey(path)}\n${contentOf(file)}`;
    const before = found.get(key);
    if (before !== undefined) {
      before.at.push(...places);
      return;
    }
    found.set(key, {
      path,
      hash: file.hash,
      size: file.size,
      group: groupOfWork(path, stems, looks),
      work: true,
      kind: "edit",
      original: undefined,
      at: [...places],
      follows: versions.get(nameKey(path)) ?? nothing,
    });
  };
  const headOf = new Map(heads.map((head) => [`${nameKey(head.path)}\n${contentOf(head)}`, head] as const));
  const fresh: Fresh[] = [];
  const again: Fresh[] = [];
  for (const { drive, works } of looks)
    for (const file of works) {
      // A copy that nobody wrote down is the original all the same.
      if (taken.get(nameKey(file.path)) === contentOf(file)) continue;
      // Where an original is filed, something else is that original as a program changed it.
      const path = taken.has(nameKey(file.path)) ? changedName(file.path) : file.path;
      if (headOf.has(`${nameKey(path)}\n${contentOf(file)}`)) again.push({ drive, path, file });
      // An earlier version that the mirror hasn't got to yet is in the histories.
      else if (versions.get(nameKey(path))?.has(contentOf(file)) !== true) fresh.push({ drive, path, file });
    }
  // What a drive that held the newest version has now follows that one; anything else was made apart, and both come.
  const followed = heads.filter((head) =>
    fresh.some(({ drive, path }) => nameKey(path) === nameKey(head.path) && head.drives.includes(drive)),
  );
  const newest = [
    ...heads
      .filter((head) => !followed.includes(head))
      .map((head) => ({
        path: head.path,
        file: head,
        modified: head.modified,
        at: head.drives.map((drive) => ({ drive, path: head.path })),
      })),
    ...fresh.map(({ drive, path, file }) => ({
      path,
      file,
      modified: file.modified,
      at: [{ drive, path: file.path }],
    })),
  ].sort((x, y) => y.modified - x.modified);
  for (const { path, file, at } of newest) add(path, file, at);
  for (const { drive, path, file } of again)
    if (found.has(`${nameKey(path)}\n${contentOf(file)}`)) add(path, file, [{ drive, path: file.path }]);
  return [...found.values()];
}

function groupOfWork(
  path: RelativePath,
  stems: ReadonlyMap<string, RelativePath>,
  looks: readonly DriveLook[],
): HomeGroup {
  const beside = frameBeside(path, stems);
  if (beside !== undefined) return { stem: beside, together: false };
  for (const { catalogues } of looks) {
    const catalogue = catalogues.get(nameKey(path));
    if (catalogue !== undefined) return { stem: catalogue, together: true };
  }
  return {
    stem: path.slice(0, path.length - extensionOf(path).length) as RelativePath,
    together: false,
  };
}
