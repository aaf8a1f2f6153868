/**
 * The pictures port: finds what cameras put into their files with ExifTool, and has it decoded by a process of its own.
 * A raw file's own data is never developed; a picture file is decoded itself.
 *
 * Invariants: files are read and closed before anything is decoded, so that no drive is kept busy by a hostile picture;
 * an answer belongs to the file that was asked for; nothing is written.
 */

import { constants } from "node:fs";
import { lstat, open } from "node:fs/promises";
import type { ExifTool } from "exiftool-vendored";
import type { AbsolutePath } from "../../../shared/identity.ts";
import type { Bytes } from "../../../shared/units.ts";
import type { MadePicture, PictureMaker, PictureSize, ShownFact } from "../../ports/pictures.ts";
import { canBeAsked, type ExiftoolOptions, startExiftool } from "./exiftoolProcess.ts";
import { pathToBytes } from "./pathBytes.ts";
import { PictureChild } from "./pictureChild.ts";
import type { PictureAnswer } from "./pictureWorker.ts";

export interface FramePicturesOptions extends ExiftoolOptions {
  /** The decoding process' file, as built. */
  readonly worker: string;
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
/**
 * bytes. What ExifTool takes out of a file comes as text through this process: 8 MB hold it up for a quarter of a second
 * (two-core machine), so more isn't asked for; a smaller picture in the file does.
 */
const embeddedBytesMost = 16_000_000;
/** pictures of one file that are tried. Cameras put in two or three; a chain of hundreds is hostile. */
const candidatesMost = 4;
/** bytes. How a file begins is enough to know its format. */
const headBytes = 16;

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
        if (performance.now() > until)
          return best === undefined ? { made: false, why: tooLong } : { made: true, jpeg: best.jpeg };
        if (stop.aborted || this.#closed) return { made: false, why: "it was broken off" };
        const bytes = await this.#bytesOf(source, candidate, stop);
        if (bytes === undefined) continue;
        const orientation = isHeif(bytes) ? 1 : found.orientation;
        const { pixelsMax } = this.#options;
        const request = { bytes, side: wanted, orientation, pixelsMax };
        const answer = await orBrokenOff(this.#child.decode(request), stop);
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
      if (size > 0 && size <= embeddedBytesMost && isPictureTag(tag)) embedded.push({ tag, bytes: size });
    }
    const whole = await sizeIfPicture(source);
    return {
      orientation: orientationOf(tags),
      candidates: [...embedded, ...(whole === undefined ? [] : [{ tag: undefined, bytes: whole }])].filter(
        ({ bytes }) => bytes > 0 && bytes <= this.#options.bytesMax,
      ),
    };
  }

  async #bytesOf(
    source: AbsolutePath,
    { tag }: Candidate,
    stop: AbortSignal,
  ): Promise<Uint8Array | undefined> {
    if (tag === undefined) return readWhole(source, this.#options.bytesMax, stop);
    const answer = await this.#ask(source, ["-json", "-b", "-G1", "-a", `-${tag}`]);
    const value = answer.get(tag);
    if (typeof value !== "string" || !value.startsWith("base64:")) return undefined;
    const bytes = Buffer.from(value.slice("base64:".length), "base64");
    return isPicture(bytes) ? bytes : undefined;
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

const tooLong = "decoding it takes too long";

/** Decoding doesn't need the file any more: a drive that is to leave needn't wait for it. */
function orBrokenOff(answer: Promise<PictureAnswer>, stop: AbortSignal): Promise<PictureAnswer> {
  return new Promise((resolve) => {
    const breakOff = (): void => resolve({ decoded: false, why: "it was broken off" });
    stop.addEventListener("abort", breakOff);
    void answer.then(resolve).finally(() => stop.removeEventListener("abort", breakOff));
    if (stop.aborted) breakOff();
  });
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
    isHeif(bytes)
  );
}

/** ISO/IEC 23008-12: its own turning is part of decoding it. */
function isHeif(bytes: Uint8Array): boolean {
  const head = Buffer.from(bytes.subarray(0, headBytes)).toString("latin1");
  return head.slice(4, 8) === "ftyp" && /^(avif|avis|heic|heix|mif1|msf1)/.test(head.slice(8, 12));
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
async function sizeIfPicture(source: AbsolutePath): Promise<number | undefined> {
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

/** bytes. Read at once, so that breaking off takes no longer. */
const partBytes = 4 * 1024 * 1024;

async function readWhole(
  source: AbsolutePath,
  most: Bytes,
  stop: AbortSignal,
): Promise<Uint8Array | undefined> {
  try {
    const handle = await open(pathToBytes(source), toRead);
    try {
      const { size } = await handle.stat();
      if (size > most) return undefined;
      const into = new Uint8Array(size);
      let filled = 0;
      while (filled < size) {
        if (stop.aborted) return undefined;
        const { bytesRead } = await handle.read(into, filled, Math.min(partBytes, size - filled), filled);
        if (bytesRead === 0) break;
        filled += bytesRead;
      }
      return into.subarray(0, filled);
    } finally {
      await handle.close();
    }
  } catch {
    return undefined;
  }
}
