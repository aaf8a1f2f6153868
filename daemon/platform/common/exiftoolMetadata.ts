/**
 * The metadata port over ExifTool, which knows every maker's raw format. A few processes stay open while there is
 * something to read and end by themselves afterwards.
 *
 * Invariants: times stay the strings that the camera wrote (no date objects, no zone of this computer); an answer
 * belongs to the file that was asked for or is undefined; nothing is written and nothing printed; a file that takes
 * too long costs its own answer only. Not its job: what the times mean (`daemon/core/taken.ts`).
 */

import type { ExifTool } from "exiftool-vendored";
import type { CameraFacts } from "../../../shared/camera.ts";
import type { AbsolutePath } from "../../../shared/identity.ts";
import type { MetadataReader } from "../../ports/metadata.ts";
import { canBeAsked, type ExiftoolOptions, startExiftool } from "./exiftoolProcess.ts";

export class ExiftoolMetadata implements MetadataReader {
  readonly #options: ExiftoolOptions;
  #tool: Promise<ExifTool> | undefined;
  #closed = false;

  constructor(options: ExiftoolOptions) {
    this.#options = options;
  }

  async read(paths: readonly AbsolutePath[]): Promise<readonly (CameraFacts | undefined)[]> {
    return Promise.all(paths.map((path) => this.#readOne(path)));
  }

  /** The version in use. @throws where it can't be started (on Linux and macOS it needs Perl). */
  async version(): Promise<string> {
    return (await this.#started()).version();
  }

  async close(): Promise<void> {
    if (this.#closed) return;
    this.#closed = true;
    await (await this.#tool)?.end();
  }

  #started(): Promise<ExifTool> {
    this.#tool ??= startExiftool(this.#options);
    return this.#tool;
  }

  async #readOne(path: AbsolutePath): Promise<CameraFacts | undefined> {
    if (this.#closed || !canBeAsked(path)) return undefined;
    try {
      const tool = await this.#started();
      const answer: object = await tool.readRaw(path, { readArgs: [...readArgs], useMWG: false });
      return factsOf(path, new Map(Object.entries(answer)));
    } catch {
      // Not a picture, damaged, gone, or too slow. The caller files such a frame by its file's time and says so.
      return undefined;
    }
  }
}

/**
 * Only the tags needed, with the group each stands in (`-G1`), every one of them (`-a`). StructFormat=JSONQ quotes
 * numbers too, so that serial `0012.50` stays text. QuickTimeUTC=0 gives a film's header time as it stands.
 */
const readArgs: readonly string[] = [
  ...["-json", "-G1", "-a", "-fast"],
  ...["-api", "StructFormat=JSONQ", "-api", "QuickTimeUTC=0", "-api", "LargeFileSupport=1"],
  ...["-Make", "-Model", "-SerialNumber", "-CameraSerialNumber", "-InternalSerialNumber"],
  ...["-DateTimeOriginal", "-SubSecTimeOriginal", "-OffsetTimeOriginal"],
  ...["-ModifyDate", "-OffsetTime", "-OffsetTimeDigitized"],
  ...["-CreationDate", "-CreationDateValue", "-CreateDate", "-MediaCreateDate", "-TrackCreateDate"],
];

type Tags = ReadonlyMap<string, unknown>;

function factsOf(path: AbsolutePath, tags: Tags): CameraFacts | undefined {
  // An answer about anything else (a folder's first file, the rest of an earlier answer) is no answer.
  if (tags.get("SourceFile") !== path) return undefined;
  const taken = splitOffset(first(tags, "DateTimeOriginal", ["ExifIFD", "IFD0", "H264", "RIFF"]));
  const facts = {
    make: first(tags, "Make", ["IFD0"])?.trim(),
    model: first(tags, "Model", ["IFD0"])?.trim(),
    serial: serialOf(tags),
    dateTimeOriginal: taken.time,
    subSecOriginal: first(tags, "SubSecTimeOriginal", ["ExifIFD"]),
    offsetOriginal: offsetOf(tags, taken),
    creationDate: withOffset(first(tags, "CreationDate", ["Keys"]) ?? first(tags, "CreationDateValue", [])),
    mediaCreateDate: headerTime(tags),
  };
  const known = Object.entries(facts).filter(([, value]) => value !== undefined);
  return known.length === 0 ? undefined : (Object.fromEntries(known) as CameraFacts);
}

/** A tag's text from the first of these groups that has one, else from any group, what an editor added (XMP) last. */
function first(tags: Tags, tag: string, groups: readonly string[]): string | undefined {
  const others = [...tags.keys()].filter((key) => key.endsWith(`:${tag}`));
  const keys = [
    ...groups.map((group) => `${group}:${tag}`),
    ...others.filter((key) => !key.startsWith("XMP")),
    ...others,
  ];
  for (const key of keys) {
    const value = text(tags.get(key));
    if (value !== undefined) return value;
  }
  return undefined;
}

/** Only text counts. One that is all blanks says nothing, though Exif 2.2 has fields filled with them. */
function text(value: unknown): string | undefined {
  return typeof value === "string" && value.trim() !== "" ? value : undefined;
}

/**
 * The standard's own BodySerialNumber (Exif 2.3, A431h, named SerialNumber here) before a maker's note, and that
 * before DNG's CameraSerialNumber: raw and JPEG of one body then agree, and it is what is engraved on the body. The
 * internal number is not what people read on a body, yet tells two bodies apart, so it comes last.
 */
function serialOf(tags: Tags): string | undefined {
  const serial =
    first(tags, "SerialNumber", ["ExifIFD"]) ??
    first(tags, "CameraSerialNumber", ["IFD0"]) ??
    first(tags, "InternalSerialNumber", []);
  return serial?.trim();
}

interface SplitTime {
  readonly time: string | undefined;
  readonly offset: string | undefined;
}

/** AVCHD and some others write the offset behind the time; Exif has it in a tag of its own. */
function splitOffset(value: string | undefined): SplitTime {
  const parts = /^(\d{4}:\d\d:\d\d \d\d:\d\d:\d\d)(?:\.\d+)?([+-]\d\d:\d\d)?(?: DST)?$/.exec(value ?? "");
  return parts === null ? { time: value, offset: undefined } : { time: parts[1], offset: parts[2] };
}

/**
 * OffsetTimeOriginal. Where it is missing, the offset of another moment (OffsetTime belongs to DateTime,
 * OffsetTimeDigitized to DateTimeDigitized; Exif 2.31) counts only if that moment reads the same: then it is the
 * camera's own and not that of a computer that changed the file later.
 */
function offsetOf(tags: Tags, taken: SplitTime): string | undefined {
  const own = text(tags.get("ExifIFD:OffsetTimeOriginal")) ?? taken.offset;
  if (own !== undefined || taken.time === undefined) return own;
  if (text(tags.get("ExifIFD:CreateDate")) === taken.time) {
    const digitized = text(tags.get("ExifIFD:OffsetTimeDigitized"));
    if (digitized !== undefined) return digitized;
  }
  return text(tags.get("IFD0:ModifyDate")) === taken.time ? text(tags.get("ExifIFD:OffsetTime")) : undefined;
}

/** A creation date without an offset is no more than a wall clock: of no use beside the header time. */
function withOffset(value: string | undefined): string | undefined {
  const parts = /^(\d{4}:\d\d:\d\d \d\d:\d\d:\d\d)(?:\.\d+)?(Z|[+-]\d\d:\d\d)$/.exec(value ?? "");
  return parts === null ? undefined : `${parts[1]}${parts[2] === "Z" ? "+00:00" : parts[2]}`;
}

/** mvhd, else the first track's times (ISO/IEC 14496-12, 8.2.2 and 8.3.2); zero means that none was written. */
function headerTime(tags: Tags): string | undefined {
  const candidates = ["QuickTime:CreateDate", "Track1:MediaCreateDate", "Track1:TrackCreateDate"];
  for (const key of candidates) {
    const { time } = splitOffset(text(tags.get(key)));
    if (time !== undefined && !/^[0 :]+$/.test(time)) return time;
  }
  return undefined;
}
