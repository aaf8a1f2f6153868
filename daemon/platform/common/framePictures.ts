/**
 * The pictures port: finds what cameras put into their files with ExifTool, and has it decoded by a process of its own.
 * A raw file's own data is never developed; a picture file is decoded itself.
 *
 * Invariants: only finished small pictures come through this process, which has everything else to answer: ExifTool
 * takes an embedded one out into a file of this user's own, and the decoding process reads files itself. Once `make`
 * has answered, no file is held open; an answer belongs to the file that was asked for; a drive is only read.
 */

import { randomBytes } from "node:crypto";
import { constants } from "node:fs";
import { lstat, mkdir, open, readdir, rm } from "node:fs/promises";
import { join } from "node:path";
import type { ExifTool } from "exiftool-vendored";
import { type AbsolutePath, absolutePath } from "../../../shared/identity.ts";
import { type Bytes, millis } from "../../../shared/units.ts";
import type { MadePicture, PictureMaker, PictureSize, ShownFact } from "../../ports/pictures.ts";
import { canBeAsked, type ExiftoolOptions, startExiftool } from "./exiftoolProcess.ts";
import { pathToBytes } from "./pathBytes.ts";
import { brokenOff, PictureChild, tooLong } from "./pictureChild.ts";
import type { PictureAnswer } from "./pictureWorker.ts";

export interface FramePicturesOptions extends ExiftoolOptions {
  /** The decoding process' file, as built. */
  readonly worker: string;
  /** For embedded pictures, each there for a moment; this user's own, made if missing. */
  readonly folder: string;
  readonly sides: { readonly [S in PictureSize]: number };
  readonly bytesMax: Bytes;
  readonly pixelsMax: number;
}

/** A picture in a file, with its size in bytes: `tag` as ExifTool names it, or the file itself. */
export interface Candidate {
  readonly tag: string | undefined;
  readonly bytes: number;
}

interface Found {
  readonly orientation: number;
  readonly candidates: readonly Candidate[];
}

interface Decoded {
  readonly jpeg: Uint8Array;
  readonly side: number;
}

/** Where cameras put finished pictures; in maker notes, sub-IFDs, film headers. */
const pictureTags = ["JpgFromRaw", "PreviewImage", "OtherImage", "ThumbnailImage", "MPImage2", "CoverArt"];
/** bytes. An Exif thumbnail of 160 by 120 pixels is smaller, a preview larger; common practice, no source. */
const thumbnailBytesMost = 14_000;
/** pictures of one file that are tried. Cameras put in two or three; a chain of hundreds is hostile. */
const candidatesMost = 4;
/** bytes. How a file begins is enough to know its format. */
const headBytes = 16;
/** An embedded picture's own file. */
const ownName = /^[0-9a-f]{32}\.embedded$/;

const listArgs: readonly string[] = [
  ...["-json", "-G1", "-a", "-n", "-api", "StructFormat=JSONQ", "-api", "LargeFileSupport=1"],
  ...pictureTags.map((tag) => `-${tag}`),
  "-Orientation",
];

const exposureTags: readonly (readonly [string, string])[] = [
  ["ExposureTime", "Exposure"],
  ["FNumber", "Aperture"],
  ["ISO", "ISO"],
  ["ExposureCompensation", "Compensation"],
  ["FocalLength", "Focal length"],
  ["LensModel", "Lens"],
  ["ImageSize", "Size"],
  ["Duration", "Length"],
];

export class FramePictures implements PictureMaker {
  readonly #options: FramePicturesOptions;
  readonly #child: PictureChild;
  #tool: Promise<ExifTool> | undefined;
  #swept = false;
  #closed = false;

  constructor(options: FramePicturesOptions) {
    this.#options = options;
    this.#child = new PictureChild(options);
  }

  async make(sources: readonly AbsolutePath[], size: PictureSize, stop: AbortSignal): Promise<MadePicture> {
    const wanted = this.#options.sides[size];
    // One limit for the frame, whatever it holds: others wait.
    const until = performance.now() + this.#options.timeout;
    let best: Decoded | undefined;
    let why = "it holds no picture that can be shown";
    for (const source of sources) {
      const found = await this.#find(source);
      for (const candidate of toTry(found.candidates, size)) {
        if (stop.aborted || this.#closed) return { made: false, why: brokenOff };
        const left = until - performance.now();
        if (left <= 0)
          return best === undefined ? { made: false, why: tooLong } : { made: true, jpeg: best.jpeg };
        const answer = await this.#onFile(source, candidate, (file) => {
          const { pixelsMax, bytesMax } = this.#options;
          const { orientation } = found;
          const request = { path: pathToBytes(file), bytesMax, side: wanted, orientation, pixelsMax };
          return this.#child.decode(request, millis(Math.max(1, until - performance.now())), stop);
        });
        if (answer === undefined) continue;
        if (!answer.decoded) why = answer.why;
        else if (best === undefined || answer.side > best.side) best = answer;
        if (best !== undefined && best.side >= wanted) return { made: true, jpeg: best.jpeg };
      }
    }
    return best === undefined ? { made: false, why } : { made: true, jpeg: best.jpeg };
  }

  async exposure(source: AbsolutePath): Promise<readonly ShownFact[]> {
    const args = ["-json", "-api", "StructFormat=JSONQ", "-fast", ...exposureTags.map(([tag]) => `-${tag}`)];
    const tags = await this.#ask(source, args);
    return exposureTags.flatMap(([tag, name]) => {
      const value = tags.get(tag);
      return typeof value === "string" && value.trim() !== "" ? [{ name, value }] : [];
    });
  }

  async close(): Promise<void> {
    if (this.#closed) return;
    this.#closed = true;
    await this.#child.close();
    await (await this.#tool?.catch(() => undefined))?.end();
  }

  async #find(source: AbsolutePath): Promise<Found> {
    const tags = await this.#ask(source, listArgs);
    const embedded: Candidate[] = [];
    for (const [tag, value] of tags) {
      const bytes = /^\(Binary data (\d+) bytes/.exec(typeof value === "string" ? value : "");
      const size = Number(bytes?.[1] ?? 0);
      if (isPictureTag(tag)) embedded.push({ tag, bytes: size });
    }
    const whole = await sizeIfPicture(source);
    return {
      orientation: orientationOf(tags),
      candidates: [...embedded, ...(whole === undefined ? [] : [{ tag: undefined, bytes: whole }])].filter(
        ({ bytes }) => bytes > 0 && bytes <= this.#options.bytesMax,
      ),
    };
  }

  /** The work on the file itself, or on what was taken out of it, which is gone afterwards; undefined: no picture. */
  async #onFile(
    source: AbsolutePath,
    { tag }: Candidate,
    decode: (file: string) => Promise<PictureAnswer>,
  ): Promise<PictureAnswer | undefined> {
    if (tag === undefined) return decode(source);
    const file = join(this.#options.folder, `${randomBytes(16).toString("hex")}.embedded`);
    try {
      await ownFolder(this.#options.folder);
      if (!this.#swept) await sweep(this.#options.folder);
      this.#swept = true;
      await this.#takeOut(source, tag, file);
      const taken = await sizeIfPicture(file);
      return taken === undefined || taken > this.#options.bytesMax ? undefined : await decode(file);
    } catch {
      return undefined;
    } finally {
      await rm(file, { force: true }).catch(() => undefined);
    }
  }

  async #takeOut(source: AbsolutePath, tag: string, file: string): Promise<void> {
    if (!canBeAsked(source) || !canBeWritten(file) || !(await isPlainFile(source))) return;
    // Made here first, so that nobody else can read what ExifTool writes into it.
    await (await open(file, "wx", 0o600)).close();
    this.#tool ??= startExiftool(this.#options);
    const tool = await this.#tool;
    await tool.extractBinaryTag(tag, source, file, { forceWrite: true, ignoreMinorErrors: true });
  }

  /** Nothing where the file can't be read or is no picture. */
  async #ask(source: AbsolutePath, args: readonly string[]): Promise<ReadonlyMap<string, unknown>> {
    if (this.#closed || !canBeAsked(source) || !(await isPlainFile(source))) return new Map();
    try {
      this.#tool ??= startExiftool(this.#options);
      const tool = await this.#tool;
      const answer: object = await tool.readRaw(source, { readArgs: [...args], useMWG: false });
      const tags = new Map(Object.entries(answer));
      // An answer about anything else (a folder's first file, the rest of an earlier answer) is no answer.
      return tags.get("SourceFile") === source ? tags : new Map();
    } catch {
      return new Map();
    }
  }
}

/** ExifTool takes `%` for the beginning of a code there (its documentation, -W), and knows no way to write it. */
function canBeWritten(file: string): boolean {
  return canBeAsked(absolutePath(file)) && !file.includes("%");
}

/** @throws where something else is there, such as a link to a folder */
async function ownFolder(folder: string): Promise<void> {
  await mkdir(folder, { recursive: true, mode: 0o700 });
  if (!(await lstat(folder)).isDirectory()) throw new Error("a link is no folder of ours");
}

/** What an earlier run had no time to remove. */
async function sweep(folder: string): Promise<void> {
  for (const name of await readdir(folder))
    if (ownName.test(name)) await rm(join(folder, name), { force: true });
}

/**
 * A few of them, the smallest that will do first, or the largest first; thumbnails only where nothing else is there.
 */
export function toTry(candidates: readonly Candidate[], size: PictureSize): readonly Candidate[] {
  const bySize = [...candidates].sort((a, b) => a.bytes - b.bytes);
  const thumbnails = bySize.filter(({ bytes }) => bytes <= thumbnailBytesMost).reverse();
  const others = bySize.filter(({ bytes }) => bytes > thumbnailBytesMost);
  const inOrder = size === "large" ? bySize.reverse() : [...others, ...thumbnails];
  return inOrder.slice(0, candidatesMost);
}

function isPictureTag(tag: string): boolean {
  return /^[A-Za-z0-9_-]+:[A-Za-z0-9]+$/.test(tag) && pictureTags.includes(tag.slice(tag.indexOf(":") + 1));
}

/** The main picture's own (Exif 2.32, tag 274), not its thumbnail's; 1 where it says none that holds. */
function orientationOf(tags: ReadonlyMap<string, unknown>): number {
  const keys = ["IFD0:Orientation", ...[...tags.keys()].filter((key) => key.endsWith(":Orientation"))];
  for (const key of keys) {
    const value = Number(tags.get(key));
    if (Number.isInteger(value) && value >= 1 && value <= 8) return value;
  }
  return 1;
}

/** By how it begins: JPEG, PNG, TIFF, GIF, WebP (RIFF), HEIF and AVIF (ISO/IEC 14496-12 `ftyp`). */
function isPicture(bytes: Uint8Array): boolean {
  const head = Buffer.from(bytes.subarray(0, headBytes)).toString("latin1");
  return (
    head.startsWith("\xff\xd8\xff") ||
    head.startsWith("\x89PNG\r\n\x1a\n") ||
    head.startsWith("II*\0") ||
    head.startsWith("MM\0*") ||
    head.startsWith("GIF8") ||
    (head.startsWith("RIFF") && head.slice(8, 12) === "WEBP") ||
    (head.slice(4, 8) === "ftyp" && /^(avif|avis|heic|heix|mif1|msf1)/.test(head.slice(8, 12)))
  );
}

// O_NONBLOCK: opening a pipe of a picture's name would wait for ever.
const toRead = constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK;

/** ExifTool would wait for ever for what comes out of a pipe. */
async function isPlainFile(source: AbsolutePath): Promise<boolean> {
  try {
    return (await lstat(pathToBytes(source))).isFile();
  } catch {
    return false;
  }
}

/** The file's size; undefined where it is no picture by how it begins. */
async function sizeIfPicture(source: string): Promise<number | undefined> {
  try {
    const handle = await open(pathToBytes(source), toRead);
    try {
      const stat = await handle.stat();
      if (!stat.isFile()) return undefined;
      const head = new Uint8Array(headBytes);
      await handle.read(head, 0, headBytes, 0);
      return isPicture(head) ? stat.size : undefined;
    } finally {
      await handle.close();
    }
  } catch {
    return undefined;
  }
}
