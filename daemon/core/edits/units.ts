/**
 * Which work files belong together: a catalogue, the database that an editor keeps with everything in its folder, is one
 * thing, taken whole or not at all. Any other work file is one by itself.
 */

import { folderOf, nameKey, type RelativePath } from "../../../shared/identity.ts";

export interface Unit<F> {
  /** Names it, also over several looks: the catalogue's folder, or the file. */
  readonly name: RelativePath;
  readonly files: readonly F[];
  readonly catalogue: boolean;
}

/** The first bytes of every SQLite database (SQLite, Database File Format, section 1.3). */
export const databaseMagic = "SQLite format 3\0";

/**
 * @param originals folders that hold originals, those above them included
 * @param isDatabase whether a file is a database, or shows that one is open beside it
 */
export function unitsOf<F extends { readonly path: RelativePath }>(
  files: readonly F[],
  originals: ReadonlySet<string>,
  isDatabase: (file: F) => boolean,
): readonly Unit<F>[] {
  const catalogues = new Set(
    files
      .filter(isDatabase)
      .flatMap(({ path }) => catalogueFolder(path, originals) ?? [])
      .map(nameKey),
  );
  const units = new Map<string, { name: RelativePath; files: F[]; catalogue: boolean }>();
  for (const file of files) {
    const folder = foldersAbove(file.path).find((each) => catalogues.has(nameKey(each)));
    const name = folder ?? file.path;
    const key = `${folder === undefined ? "file" : "folder"} ${nameKey(name)}`;
    const unit = units.get(key) ?? { name, files: [], catalogue: folder !== undefined };
    units.set(key, unit);
    unit.files.push(file);
  }
  return [...units.values()];
}

/** The topmost folder above a database that holds no original anywhere below; undefined where there is none. */
function catalogueFolder(path: RelativePath, originals: ReadonlySet<string>): RelativePath | undefined {
  return foldersAbove(path).find((folder) => !originals.has(nameKey(folder)));
}

/** From the topmost down. */
function foldersAbove(path: RelativePath): readonly RelativePath[] {
  const above: RelativePath[] = [];
  for (let folder = folderOf(path); folder !== ""; folder = folderOf(folder)) above.unshift(folder);
  return above;
}

/** Keys of all folders in which one of these files stands, at any depth. */
export function foldersHolding(paths: Iterable<RelativePath>): ReadonlySet<string> {
  const folders = new Set<string>();
  for (const path of paths)
    for (
      let folder = folderOf(path);
      folder !== "" && !folders.has(nameKey(folder));
      folder = folderOf(folder)
    )
      folders.add(nameKey(folder));
  return folders;
}
