/**
 * Where a frame and its files are filed: content decides, then what the camera says, then the name. Decided once, when
 * all files of the frame have been read; the same path holds on every drive.
 *
 * Invariants: no file is ever given a path that another content of the trip has; all new files of a frame get one
 * stem; a file whose bytes are filed already under its frame isn't filed again.
 */

import type { FrameOfOriginal, OriginalRole } from "../../shared/facts.ts";
import {
  baseName,
  type ContentHash,
  extensionOf,
  type FrameId,
  folderOf,
  nameKey,
  type OriginalId,
  type RelativePath,
} from "../../shared/identity.ts";
import type { Bytes } from "../../shared/units.ts";
import { bytesOf, finishPart } from "./safeName.ts";

/** A file that was read whole and awaits its place. */
export interface ReadFile {
  readonly hash: ContentHash;
  readonly size: Bytes;
  readonly role: OriginalRole;
  /** What follows the stem, with its dot, as on the card; for an extra its safe path below the trip's folder. */
  readonly extension: string;
}

/** An original that is filed already, as filing looks at it. */
export interface FiledOriginal {
  readonly id: OriginalId;
  readonly hash: ContentHash;
  readonly size: Bytes;
  readonly path: RelativePath;
  readonly role: OriginalRole;
  readonly frame: FrameOfOriginal | undefined;
}

/** What is filed in the trip so far. */
export interface FilingView {
  originalAt(pathKey: string): FiledOriginal | undefined;
  frameFilesByContent(hash: ContentHash, size: Bytes): readonly FiledOriginal[];
  frameFiles(frame: FrameId): readonly FiledOriginal[];
  framesByKey(key: string): readonly FrameId[];
  frameByStem(stemKey: string): FrameId | undefined;
}

/** What the frame would be called if nothing stood in the way. */
export interface WantedFrame {
  readonly stem: RelativePath;
  readonly frame: Omit<FrameOfOriginal, "id" | "stem">;
}

/** One file's place: an original that exists, or a new one under `path`. */
export type Placed =
  | { readonly kind: "existing"; readonly original: FiledOriginal }
  | {
      readonly kind: "new";
      readonly path: RelativePath;
      readonly frame: Omit<FrameOfOriginal, "id"> | undefined;
    };

/**
 * Places of a frame's files, in their order.
 * @param sibling the frame that other files of the same frame on the same card are filed in already
 */
export function fileFrame(
  files: readonly ReadFile[],
  wanted: WantedFrame,
  sibling: FrameOfOriginal | undefined,
  view: FilingView,
): readonly Placed[] {
  const placed = new Map<ReadFile, Placed>();
  const owner = sibling ?? ownerOf(files, wanted.frame.key, view);
  if (owner !== undefined) joinFrame(files, owner, view, placed);
  const taken = new Set<string>();
  for (;;) {
    const together = oneOfEachExtension(files.filter((file) => !placed.has(file)));
    if (together.length === 0) break;
    const stem = freeStem(together, wanted.stem, view, taken);
    taken.add(nameKey(stem));
    for (const file of together)
      placed.set(file, {
        kind: "new",
        path: `${stem}${file.extension}` as RelativePath,
        frame: { ...wanted.frame, stem },
      });
  }
  return files.map((file) => {
    const place = placed.get(file);
    if (place === undefined) throw new Error("every file of a frame is placed");
    return place;
  });
}

/** The place of a file that is no frame: its own path, or with a number where other bytes stand there. */
export function fileExtra(file: ReadFile, view: FilingView): Placed {
  const wanted = file.extension as RelativePath;
  for (let nth = 1; ; nth += 1) {
    const path = nth === 1 ? wanted : suffixed(wanted, nth);
    const there = view.originalAt(nameKey(path));
    if (there === undefined) return { kind: "new", path, frame: undefined };
    if (there.hash === file.hash && there.size === file.size) return { kind: "existing", original: there };
  }
}

/** `a/b.JPG` and 2 give `a/b-2.JPG`; where the name has no room for it, the name's middle gives way. */
export function suffixed(path: RelativePath, nth: number): RelativePath {
  const folder = folderOf(path);
  const name = baseName(path);
  const extension = extensionOf(name);
  const ending = `-${nth}${extension}`;
  const stem = finishPart(name.slice(0, name.length - extension.length), 255 - bytesOf(ending));
  return (folder === "" ? `${stem}${ending}` : `${folder}/${stem}${ending}`) as RelativePath;
}

/**
 * The filed frame that this one is: the one that holds the same picture, else the one of which the camera says the
 * same. Sidecars and memos say nothing here, since many are alike; nor does an empty file.
 */
function ownerOf(files: readonly ReadFile[], key: string, view: FilingView): FrameOfOriginal | undefined {
  for (const file of files) {
    if (file.role !== "frame" || file.size === 0) continue;
    const same = view.frameFilesByContent(file.hash, file.size)[0];
    if (same?.frame !== undefined) return same.frame;
  }
  if (key === "") return undefined;
  const extensions = new Set(files.map((file) => file.extension.toLowerCase()));
  for (const id of view.framesByKey(key)) {
    const there = view.frameFiles(id);
    const frame = there[0]?.frame;
    if (frame === undefined) continue;
    // One number in two folders of one second would be two frames: those share an extension, parts of one frame don't.
    const clash = there.some((original) => {
      const extension = original.path.slice(frame.stem.length).toLowerCase();
      return extensions.has(extension) && !files.some((file) => sameBytes(file, original));
    });
    if (!clash) return frame;
  }
  return undefined;
}

function joinFrame(
  files: readonly ReadFile[],
  owner: FrameOfOriginal,
  view: FilingView,
  placed: Map<ReadFile, Placed>,
): void {
  const filed = view.frameFiles(owner.id);
  const given = new Set<string>();
  for (const file of files) {
    const same = filed.find(
      (original) =>
        sameBytes(file, original) &&
        original.path.slice(owner.stem.length).toLowerCase() === file.extension.toLowerCase(),
    );
    if (same !== undefined) {
      placed.set(file, { kind: "existing", original: same });
      continue;
    }
    const path = `${owner.stem}${file.extension}` as RelativePath;
    if (given.has(nameKey(path)) || view.originalAt(nameKey(path)) !== undefined) continue;
    given.add(nameKey(path));
    placed.set(file, { kind: "new", path, frame: withoutId(owner) });
  }
}

/** The first stem, wanted or with a number, that no frame and no file of the trip uses. */
function freeStem(
  files: readonly ReadFile[],
  wanted: RelativePath,
  view: FilingView,
  taken: ReadonlySet<string>,
): RelativePath {
  for (let nth = 1; ; nth += 1) {
    const stem = (nth === 1 ? wanted : `${wanted}-${nth}`) as RelativePath;
    if (taken.has(nameKey(stem)) || view.frameByStem(nameKey(stem)) !== undefined) continue;
    if (files.every((file) => view.originalAt(nameKey(`${stem}${file.extension}`)) === undefined))
      return stem;
  }
}

/** Files that can share a stem: `.JPG` and `.jpg` would be one name on a drive that doesn't tell case apart. */
function oneOfEachExtension(files: readonly ReadFile[]): ReadFile[] {
  const seen = new Set<string>();
  return files.filter((file) => {
    const key = nameKey(file.extension);
    if (seen.has(key)) return false;
    seen.add(key);
    return true;
  });
}

function withoutId({ id: _, ...rest }: FrameOfOriginal): Omit<FrameOfOriginal, "id"> {
  return rest;
}

function sameBytes(a: { hash: ContentHash; size: Bytes }, b: { hash: ContentHash; size: Bytes }): boolean {
  return a.hash === b.hash && a.size === b.size;
}

/** The stem a frame wants: folder and name, where the folder is given below the trip's folder. */
export function stemIn(folder: string, name: string): RelativePath {
  return (folder === "" ? name : `${folder}/${name}`) as RelativePath;
}
