/**
 * What is on a card: is this volume a camera's, and which of its files make up one frame. A frame is a DCF object
 * (CIPA DC-009): all files of one DCF directory with the same file number; where cameras and phones depart from DCF,
 * all files of one folder with the same stem.
 *
 * Invariants: every file given ends in exactly one frame or among the extras; no two files of a frame have the same
 * extension in any case, so that renaming a frame can't make them collide; the order of the input doesn't matter.
 * Not its job: what is left behind (`leavings.ts`), new names (`naming.ts`), reading anything.
 */

import { baseName, extensionOf, folderOf, nameKey, type RelativePath } from "../../shared/identity.ts";
import type { Bytes } from "../../shared/units.ts";
import { type FileKind, kindOfFile } from "./fileKinds.ts";

export interface FrameFile {
  readonly path: RelativePath;
  /** `frame`: raw, picture or film, and at least the main file. `companion`: what goes with it. */
  readonly role: "frame" | "companion";
  /**
   * What follows the stem in its name, as written; so a new name is new stem + this. `.NEF`; `.NEF.xmp` for a sidecar
   * that names its raw; `M01.XML` for a film's description in an M4ROOT tree.
   */
  readonly extension: string;
}

export interface CardFrame {
  /** Unique on the card; folder and number, or folder and stem where the number isn't enough. For no one to parse. */
  readonly key: string;
  readonly folder: RelativePath;
  /** Base name of its main file without extension. */
  readonly stem: string;
  /** The DCF file number as written, `0421`; else up to four of the last digits in the stem; else "". */
  readonly number: string;
  /** The main file first, then by path. Never empty. */
  readonly files: readonly FrameFile[];
}

export interface GroupedCard {
  readonly frames: readonly CardFrame[];
  readonly extras: readonly RelativePath[];
}

/**
 * Folders below a volume's root, in any case, each of which makes it a camera's card. DCIM: DCF. The others: film
 * trees, common practice, no source. CONTENTS alone is too common a word, hence its parts.
 */
export const cameraTrees: readonly string[] = [
  "DCIM",
  "AVCHD",
  "PRIVATE/AVCHD",
  "M4ROOT",
  "PRIVATE/M4ROOT",
  "XDROOT",
  "PRIVATE/XDROOT",
  "MP_ROOT",
  "BPAV",
  "CONTENTS/VIDEO",
  "CONTENTS/CLIPS001",
];

/** Whether a folder of the root must be listed too, so that `looksLikeCard` sees its folders. */
export function mustLookInside(rootFolder: string): boolean {
  return cameraTrees.some((tree) => tree.toLowerCase().startsWith(`${rootFolder.toLowerCase()}/`));
}

/**
 * Whether a volume is a camera's card.
 * @param folders names of the folders in its root, and `parent/name` of those in a root folder that `mustLookInside`.
 */
export function looksLikeCard(folders: readonly string[]): boolean {
  return folders.some((folder) => cameraTreesLower.has(folder.toLowerCase()));
}

/** Sorts the files of a card into frames and extras. What is left behind must be taken out before. */
export function groupFrames(
  files: readonly { readonly path: RelativePath; readonly size: Bytes }[],
): GroupedCard {
  const extras: RelativePath[] = [];
  const folders = new Map<string, CardFile[]>();
  for (const path of [...new Set(files.map((file) => file.path))].sort(byCodeUnits)) {
    const area = areaOf(path);
    if (area === "extras") extras.push(path);
    else pushTo(folders, folderOf(path), cardFile(path, area));
  }
  const frames: CardFrame[] = [];
  for (const inFolder of folders.values()) {
    for (const [key, group] of split(adoptFilmDescriptions(inFolder), 0)) {
      if (group.some((file) => canStandAlone(file.kind))) frames.push(frameOf(key, group));
      else extras.push(...group.map((file) => file.path));
    }
  }
  return { frames: frames.sort(byMainPath), extras: extras.sort(byCodeUnits) };
}

/** The file that tells about the frame: its raw, else its picture, else its film, else its first file. */
export function mainFile(frame: CardFrame): FrameFile {
  const first = frame.files[0];
  if (first === undefined) throw new Error("a frame has at least one file");
  return first;
}

/** A file with the parts of its name that grouping looks at. */
interface CardFile {
  readonly path: RelativePath;
  readonly folder: RelativePath;
  readonly stem: string;
  readonly extension: string;
  readonly kind: FileKind;
  /** Its DCF file number; "" where folder or name aren't DCF's. */
  readonly dcfNumber: string;
}

type Area = "dcf" | "stems" | "extras";

const cameraTreesLower: ReadonlySet<string> = new Set(cameraTrees.map((tree) => tree.toLowerCase()));

/** DCF directory: 100 to 999 and five free characters, directly in DCIM. DCF file: four free ones and 0001 to 9999. */
const dcfFolder = /^dcim\/[1-9][0-9]{2}[0-9a-z_]{5}\/[^/]+$/i;
const dcfStem = /^[0-9a-z_]{4}(?!0000)([0-9]{4})$/i;

/**
 * Where films lie as plain files. In an M4ROOT tree that is the folder CLIP; the folders beside it hold proxies,
 * thumbnails and an index that only mean something under their own names. AVCHD, XDROOT, BPAV and CONTENTS are such
 * structures as a whole and stay as they are.
 */
const stemsArea = /^(dcim|mp_root|(private\/)?m4root\/clip)\//i;

/** A description beside a film: `C0001M01.XML` belongs to `C0001.MP4`. */
const filmDescription = /^(.+)(M[0-9]{2})$/i;

function areaOf(path: RelativePath): Area {
  // Hidden things in DCIM are a phone's or a computer's own (thumbnail stores): kept, but under their own names.
  if (/(^|\/)\./.test(path)) return "extras";
  if (dcfFolder.test(path)) return "dcf";
  return stemsArea.test(path) ? "stems" : "extras";
}

function cardFile(path: RelativePath, area: Area): CardFile {
  const name = baseName(path);
  const last = extensionOf(name);
  const kind = kindOfFile(last);
  const inner = extensionOf(name.slice(0, name.length - last.length));
  const namesItsRaw = belongsToAnother(kind) && ["raw", "picture", "video"].includes(kindOfFile(inner));
  const extension = namesItsRaw ? inner + last : last;
  const stem = name.slice(0, name.length - extension.length);
  const dcfNumber = area === "dcf" ? (dcfStem.exec(stem)?.[1] ?? "") : "";
  return { path, folder: folderOf(path), stem, extension, kind, dcfNumber };
}

/** Gives a film's description the film's stem, where that film is in the folder. */
function adoptFilmDescriptions(files: readonly CardFile[]): readonly CardFile[] {
  const films = new Set(files.filter((file) => file.kind === "video").map((file) => nameKey(file.stem)));
  return files.map((file) => {
    const parts = filmDescription.exec(file.stem);
    const [stem, mark] = [parts?.[1], parts?.[2]];
    if (stem === undefined || mark === undefined || file.extension.toLowerCase() !== ".xml") return file;
    return films.has(nameKey(stem)) ? { ...file, stem, extension: mark + file.extension } : file;
  });
}

/**
 * What holds a frame together, from widest to narrowest; a narrower one is used only where two files would get the
 * same name. By DCF the number alone counts (`_ABC0001.RAW` and `ABCD0001.JPG` are one object), yet two pictures with
 * one extension are two pictures. A name holds no `/`, so the keys can't meet.
 */
const ties: readonly ((file: CardFile) => string)[] = [
  (file) =>
    file.dcfNumber === "" ? `${file.folder}//${nameKey(file.stem)}` : `${file.folder}/${file.dcfNumber}/`,
  (file) => `${file.folder}//${nameKey(file.stem)}`,
  (file) => `${file.folder}//${file.stem}`,
  (file) => file.path,
];

function split(files: readonly CardFile[], depth: number): [string, readonly CardFile[]][] {
  const tie = ties[depth];
  if (tie === undefined) return [];
  const groups = new Map<string, CardFile[]>();
  for (const file of files) pushTo(groups, tie(file), file);
  return [...groups].flatMap(([key, group]): [string, readonly CardFile[]][] =>
    wouldCollide(group) ? split(group, depth + 1) : [[key, group]],
  );
}

function wouldCollide(group: readonly CardFile[]): boolean {
  return new Set(group.map((file) => nameKey(file.extension))).size < group.length;
}

function frameOf(key: string, group: readonly CardFile[]): CardFrame {
  const ordered = [...group].sort((a, b) => rank(a.kind) - rank(b.kind) || byCodeUnits(a.path, b.path));
  const [main] = ordered;
  if (main === undefined) throw new Error("a group has at least one file");
  return {
    key,
    folder: main.folder,
    stem: main.stem,
    number: main.dcfNumber || (/([0-9]{1,4})[^0-9]*$/.exec(main.stem)?.[1] ?? ""),
    files: ordered.map((file) => ({
      path: file.path,
      role: file === main || rank(file.kind) < rank("memo") ? "frame" : "companion",
      extension: file.extension,
    })),
  };
}

const order: readonly FileKind[] = ["raw", "picture", "video", "memo", "sidecar", "thumbnail", "other"];
const rank = (kind: FileKind): number => order.indexOf(kind);

/** By DCF an object need not hold an image: a sound alone is one. A sidecar or thumbnail alone is not worth a number. */
const canStandAlone = (kind: FileKind): boolean => rank(kind) <= rank("memo");
const belongsToAnother = (kind: FileKind): boolean => kind === "sidecar" || kind === "other";

function pushTo<T>(groups: Map<string, T[]>, key: string, value: T): void {
  const group = groups.get(key);
  if (group === undefined) groups.set(key, [value]);
  else group.push(value);
}

/** Code units, not a locale's order: the same on every computer. */
function byCodeUnits(a: string, b: string): number {
  return a < b ? -1 : a > b ? 1 : 0;
}

function byMainPath(a: CardFrame, b: CardFrame): number {
  return byCodeUnits(mainFile(a).path, mainFile(b).path);
}
