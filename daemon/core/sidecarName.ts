/**
 * Which file beside a frame is its sidecar: `STEM.xmp` (XMP Specification part 3: the extension is replaced), else
 * `STEM.NEF.xmp` where an editor wrote that, upper and lower case alike. What a card gave is never written, also where
 * it bears the sidecar's name: it may only be read.
 */

import { baseName, extensionOf, folderOf, nameKey, type RelativePath } from "../../shared/identity.ts";

export interface BesideFrame {
  /** Files of the frame as they stand on the drive, below the trip's folder, the main one first. */
  readonly files: readonly RelativePath[];
  /** Names in the main file's folder, by `nameKey`; whether each is a file. */
  readonly entries: ReadonlyMap<string, { readonly name: string; readonly isFile: boolean }>;
  /** Whether a card gave what stands under this path, or will. */
  readonly isOriginal: (path: RelativePath) => boolean;
}

export interface SidecarPlace {
  /** The sidecar that is read and written, below the trip's folder. */
  readonly path: RelativePath;
  readonly stands: boolean;
  /** A card's own sidecar, which says a rating while nothing stands at `path`. */
  readonly companion: RelativePath | undefined;
}

/** @returns undefined where something that is no file has the name, or the frame has no file there */
export function sidecarPlace({ files, entries, isOriginal }: BesideFrame): SidecarPlace | undefined {
  const [main] = files;
  if (main === undefined) return undefined;
  const folder = folderOf(main);
  const inFolder = (name: string): RelativePath =>
    (folder === "" ? name : `${folder}/${name}`) as RelativePath;
  const asItStands = (name: string): RelativePath => inFolder(entries.get(nameKey(name))?.name ?? name);
  const base = baseName(main);
  const standard = asItStands(`${base.slice(0, base.length - extensionOf(base).length)}.xmp`);
  const appended = files
    .filter((file) => folderOf(file) === folder)
    .map((file) => asItStands(`${baseName(file)}.xmp`));
  const stands = (path: RelativePath): boolean => entries.has(nameKey(baseName(path)));
  const companion = isOriginal(standard) && stands(standard) ? standard : undefined;
  const writable = [standard, ...appended].filter((path) => !isOriginal(path));
  const path = writable.find(stands) ?? writable[0];
  if (path === undefined || entries.get(nameKey(baseName(path)))?.isFile === false) return undefined;
  return { path, stands: stands(path), companion };
}
