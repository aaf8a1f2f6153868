/**
 * Names that every drive can hold. What stands on a card or in a profile is somebody's text; what is written to a
 * drive must be a legal name on ext4, FAT32, exFAT, NTFS and HFS+ alike, since the same tree stands on all of them.
 *
 * Invariants: a result holds no separator, no control or steering character, is no `.`, `..` or device name, and has
 * its bound. Two different names stay different: what is not allowed is percent-encoded (RFC 3986 section 2.1, UTF-8,
 * upper case), a `%` that could be taken for such an encoding too, and a shortened name carries a check value of the
 * whole. A name that was legal comes back as it was; NFC and NFD are kept as found.
 * Not its job: whether two names are one on a drive (`nameKey` in shared/identity.ts).
 */

import { assert } from "../../shared/brand.ts";
import { extensionOf, type RelativePath } from "../../shared/identity.ts";

/** UTF-16 units that a part may have on exFAT, NTFS and HFS+ (exFAT specification 7.7.3). */
const longestUnits = 255;
/** An extension longer than this is no extension worth keeping when a name is shortened. */
const longestExtensionBytes = 32;
/** Below this nothing useful is left of a shortened name. */
const smallestBound = 16;

/** The code points that some file system refuses or some screen obeys; `%` is judged apart. */
const forbidden = /[\p{Cc}\p{Cf}\p{Cs}\p{Zl}\p{Zp}"*/:<>?\\|]/u;

/** Device names of Windows, judged by the part before the first dot (Microsoft, Naming Files, Paths, and Namespaces). */
const deviceName = /^(?:con|prn|aux|nul|(?:com|lpt)[1-9¹²³])$/i;

/**
 * One path component, legal everywhere, at most `longestBytes` (16 or more) in UTF-8 and 255 UTF-16 units long,
 * composed or decomposed.
 */
export function safePart(name: string, longestBytes = 255): string {
  return finishPart(encodeCharacters(name), longestBytes);
}

/** Every part made safe; a path over `longestBytes` has its middle folders replaced by one that carries their check value. */
export function safePath(path: RelativePath, longestBytes = 1000): RelativePath {
  if (path === "") return path;
  return fitPath(path.split("/").map(encodeCharacters).join("/") as RelativePath, longestBytes);
}

/** Percent-encodes what no part of a path may hold, `/` included. Names' ends, devices and lengths: `finishPart`. */
export function encodeCharacters(text: string): string {
  let result = "";
  let index = 0;
  for (const char of text) {
    const mistakable = char === "%" && /^[0-9A-Fa-f]{2}/.test(text.slice(index + 1, index + 3));
    result += mistakable || forbidden.test(char) ? percentEncode(char) : char;
    index += char.length;
  }
  return result;
}

/**
 * What a part with encoded characters still needs: an end that Windows keeps, no device name, no empty name, the
 * bound. Unlike `safePart` it changes nothing when done twice.
 */
export function finishPart(part: string, longestBytes = 255): string {
  if (part === "") return "_";
  let result = part.replace(/[. ]$/, percentEncode);
  const beforeDot = result.split(".", 1)[0] ?? "";
  if (deviceName.test(beforeDot.trimEnd())) result = percentEncode(result.slice(0, 1)) + result.slice(1);
  return shortened(result, longestBytes);
}

/** A path of encoded parts with each part finished and the whole within `longestBytes`. */
export function fitPath(path: RelativePath, longestBytes = 1000): RelativePath {
  const parts = path.split("/").map((part) => finishPart(part));
  const whole = parts.join("/");
  if (bytesOf(whole) <= longestBytes) return whole as RelativePath;
  const first = parts[0] ?? "";
  if (parts.length === 1) return finishPart(first, longestBytes) as RelativePath;
  const middle = parts.slice(1, -1);
  const folded = middle.length === 0 ? [] : [`folders-${hash8(middle.join("/"))}`];
  // The first folder and the name share what the rest leaves: the name first, since it is what people look for.
  const room = longestBytes - bytesOf(folded.join("")) - folded.length - 1;
  const forName = Math.min(255, Math.max(Math.floor(room / 2), room - bytesOf(first)));
  const name = finishPart(parts[parts.length - 1] ?? "", forName);
  const top = finishPart(first, Math.min(255, room - bytesOf(name)));
  return [top, ...folded, name].join("/") as RelativePath;
}

/** FNV-1a, 32 bits, over the text's UTF-8 bytes, as 8 lower-case hex digits. Keeps names apart; proves nothing. */
export function hash8(text: string): string {
  let hash = 0x811c9dc5;
  for (const char of text) {
    for (const byte of utf8(char)) hash = Math.imul(hash ^ byte, 0x01000193);
  }
  return (hash >>> 0).toString(16).padStart(8, "0");
}

/** The length in bytes that a text has in UTF-8. */
export function bytesOf(text: string): number {
  let total = 0;
  for (const char of text) total += utf8(char).length;
  return total;
}

function shortened(name: string, longestBytes: number): string {
  assert(longestBytes >= smallestBound, "a name's bound leaves room for a name");
  if (fits(name, longestBytes)) return name;
  const ending = extensionOf(name);
  const extension = bytesOf(ending) > Math.min(longestExtensionBytes, longestBytes - 10) ? "" : ending;
  const tail = `~${hash8(name)}${extension}`;
  // An escape `%XX` or a surrogate pair is kept whole or left out whole.
  const units = name.slice(0, name.length - extension.length).match(/%[0-9A-F]{2}|[\s\S]/gu) ?? [];
  let stem = "";
  for (const unit of units) {
    if (!fits(stem + unit + tail, longestBytes)) break;
    stem += unit;
  }
  return stem + tail;
}

/** HFS+ stores names decomposed, which may take more units than the composed form has bytes. */
function fits(name: string, longestBytes: number): boolean {
  return bytesOf(name) <= longestBytes && name.normalize("NFD").length <= longestUnits;
}

function percentEncode(char: string): string {
  return utf8(char)
    .map((byte) => `%${byte.toString(16).toUpperCase().padStart(2, "0")}`)
    .join("");
}

/** UTF-8 (RFC 3629) of one code point; U+DC80 to U+DCFF alone is the undecodable byte that it stands for. */
function utf8(char: string): number[] {
  const point = char.codePointAt(0) ?? 0;
  if (point < 0x80) return [point];
  if (point >= 0xdc80 && point <= 0xdcff) return [point - 0xdc00];
  if (point < 0x800) return [0xc0 | (point >> 6), 0x80 | (point & 63)];
  if (point < 0x10000) return [0xe0 | (point >> 12), 0x80 | ((point >> 6) & 63), 0x80 | (point & 63)];
  return [0xf0 | (point >> 18), 0x80 | ((point >> 12) & 63), 0x80 | ((point >> 6) & 63), 0x80 | (point & 63)];
}
