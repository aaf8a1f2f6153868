/**
 * The sidecar port: `xmpRating.ts` changes a rating's characters and no others, ExifTool reads what a sidecar says (ISO
 * 16684-1) and proves the change. Works on files of its own in this computer's folder, never on a drive.
 *
 * Invariant: a sidecar is handed back only if read again it says the rating that was asked for and everything else that
 * the earlier one said; else it is refused. ExifTool writes none: it would write anew what it doesn't know.
 */

import { randomBytes } from "node:crypto";
import { mkdir, rm, writeFile } from "node:fs/promises";
import { join } from "node:path";
import type { ExifTool } from "exiftool-vendored";
import { absolutePath } from "../../../shared/identity.ts";
import type { RatedSidecar, Rating, SidecarTool } from "../../ports/sidecars.ts";
import { type ExiftoolOptions, startExiftool } from "./exiftoolProcess.ts";
import { withRatingInText } from "./xmpRating.ts";

export interface XmpSidecarsOptions extends ExiftoolOptions {
  /** For files that are there for a moment. */
  readonly folder: string;
}

type Tags = ReadonlyMap<string, unknown>;

const ratingTag = "XMP-xmp:Rating";
/** What may differ between a sidecar and the same with another rating. */
const mayChange: ReadonlySet<string> = new Set([ratingTag, "XMP-xmp:MetadataDate"]);
/** The BOM stays a part of the text: decoded and encoded again, the bytes are the same. */
const strictUtf8 = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true });

const ratingArgs: readonly string[] = ["-json", "-G1", "-n", "-api", "StructFormat=JSONQ", `-${ratingTag}`];
const allArgs: readonly string[] = [
  ...["-json", "-G1", "-a", "-n", "-b", "-struct", "-api", "StructFormat=JSONQ"],
  ...["-XMP:all", "-Warning", "-Error"],
];

/** Flat, and as they stand: `-n` leaves values unconverted, `-b` whole (exiftool.org, Application Documentation). */
const propertyArgs: readonly string[] = [
  ...["-json", "-G1", "-a", "-n", "-b", "-XMP:all", "-FileType", "-Warning", "-Error"],
];
/** Says who wrote the packet; no property of the XMP data model (XMP Specification part 1, 7.3.3). */
const packetGroup = "x";

export class XmpSidecars implements SidecarTool {
  readonly #options: XmpSidecarsOptions;
  #tool: Promise<ExifTool> | undefined;

  constructor(options: XmpSidecarsOptions) {
    this.#options = options;
  }

  async ratings(contents: readonly Uint8Array[]): Promise<readonly Rating[]> {
    return Promise.all(
      contents.map((content) =>
        this.#onFile(content, async (file) => ratingOf(await this.#read(file, ratingArgs))),
      ),
    );
  }

  async withRating(earlier: Uint8Array | undefined, rating: number, now: string): Promise<RatedSidecar> {
    if (earlier === undefined) return this.#proved(freshSidecar(rating, now), rating, new Map());
    const text = decoded(earlier);
    if (text === undefined) return { rated: false, why: "it isn't in UTF-8" };
    const changed = withRatingInText(text, rating, now);
    if (!changed.rated) return changed;
    const before = await this.#onFile(earlier, (file) => this.#read(file, allArgs));
    if (before === undefined || hasFault(before)) return { rated: false, why: "it can't be read as XMP" };
    return this.#proved(new TextEncoder().encode(changed.text), rating, before);
  }

  async properties(content: Uint8Array): Promise<ReadonlyMap<string, string> | undefined> {
    const tags = await this.#onFile(content, (file) => this.#read(file, propertyArgs));
    if (tags === undefined || hasFault(tags) || tags.get("File:FileType") !== "XMP") return undefined;
    return propertiesOf(tags);
  }

  async close(): Promise<void> {
    await (await this.#tool?.catch(() => undefined))?.end();
  }

  async #proved(content: Uint8Array, rating: number, before: Tags): Promise<RatedSidecar> {
    const after = await this.#onFile(content, (file) => this.#read(file, allArgs));
    if (after === undefined || hasFault(after) || ratingOf(after) !== rating)
      return { rated: false, why: "it doesn't take the rating" };
    return kept(before) === kept(after)
      ? { rated: true, content }
      : { rated: false, why: "something else in it would change" };
  }

  /** The content as a file, which is gone afterwards; undefined where that, or the work on it, fails. */
  async #onFile<T>(content: Uint8Array, work: (file: string) => Promise<T>): Promise<T | undefined> {
    const { folder } = this.#options;
    const file = join(folder, `${randomBytes(8).toString("hex")}.xmp`);
    try {
      await mkdir(folder, { recursive: true, mode: 0o700 });
      await writeFile(file, content, { mode: 0o600, flag: "wx" });
      return await work(file);
    } catch {
      return undefined;
    } finally {
      await rm(file, { force: true }).catch(() => undefined);
    }
  }

  async #read(file: string, args: readonly string[]): Promise<Tags> {
    const tool = await this.#started();
    const answer: object = await tool.readRaw(file, { readArgs: [...args], useMWG: false });
    const tags = new Map<string, unknown>(Object.entries(answer));
    return tags.get("SourceFile") === absolutePath(file) ? tags : new Map();
  }

  #started(): Promise<ExifTool> {
    this.#tool ??= startExiftool(this.#options);
    return this.#tool;
  }
}

function decoded(content: Uint8Array): string | undefined {
  try {
    return strictUtf8.decode(content);
  } catch {
    return undefined;
  }
}

/** ISO 16684-1: a Real, -1 or 0 to 5; what is anything else says nothing. */
function ratingOf(tags: Tags | undefined): Rating {
  const value = tags?.get(ratingTag);
  if (typeof value !== "string" && typeof value !== "number") return undefined;
  const text = String(value).trim();
  if (!/^[+-]?\d{1,3}(\.\d{1,10})?$/.test(text)) return undefined;
  const rating = Number(text);
  return rating === -1 || (rating >= 0 && rating <= 5) ? rating : undefined;
}

/**
 * A property is known by its namespace and name, written `prefix:name` (XMP Specification part 1, ISO 16684-1, 6.2).
 * ExifTool gives both with prefixes of its own and names that begin with a capital: `XMP-dc:Subject` is `dc:subject`.
 */
function propertiesOf(tags: Tags): ReadonlyMap<string, string> {
  const found = new Map<string, string>();
  for (const [tag, value] of tags) {
    const [, prefix = "", name = ""] = /^XMP-([^:]+):(.+)$/.exec(tag) ?? [];
    if (name !== "" && prefix !== packetGroup) found.set(`${prefix}:${name}`, textOf(value));
  }
  return found;
}

function textOf(value: unknown): string {
  if (Array.isArray(value)) return value.map(textOf).join(", ");
  return typeof value === "object" ? JSON.stringify(value) : String(value);
}

/** Minor ones (`[minor]`) concern form alone. */
function hasFault(tags: Tags): boolean {
  return [...tags].some(
    ([tag, value]) => /(^|:)(Warning|Error)$/.test(tag) && !String(value).startsWith("[minor]"),
  );
}

/** Everything that has to stay, in one text to compare. */
function kept(tags: Tags): string {
  const staying = [...tags].filter(([tag]) => tag.startsWith("XMP-") && !mayChange.has(tag));
  return JSON.stringify(staying.sort(([a], [b]) => (a < b ? -1 : 1)));
}

/** XMP Specification part 3: a sidecar is a whole XML document with its declaration. */
function freshSidecar(rating: number, now: string): Uint8Array {
  return new TextEncoder().encode(`<?xml version="1.0" encoding="UTF-8"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
  <rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
   <xmp:MetadataDate>${now}</xmp:MetadataDate>
   <xmp:Rating>${rating}</xmp:Rating>
  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
`);
}
