/**
 * Paths as text and as bytes. A name on Linux is any bytes but NUL and `/`; most are UTF-8, and a card may hold one
 * that isn't. A byte that is no UTF-8 stands in the text as a lone surrogate U+DC80 to U+DCFF (the way of Python's
 * PEP 383), so that `pathToBytes(pathFromBytes(raw))` is `raw` for all raw bytes.
 * Not its job: making such text fit for people (`shared/text.ts`).
 */

import { FileFault } from "../../../shared/problems.ts";

// `ignoreBOM` keeps a leading U+FEFF: it is part of the name.
const strictUtf8 = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true });
const loneSurrogate = /\p{Cs}/u;

/** The text of a path, whatever its bytes. */
export function pathFromBytes(raw: Uint8Array): string {
  const whole = decoded(raw);
  if (whole !== undefined) return whole;
  let text = "";
  let at = 0;
  while (at < raw.length) {
    const lead = raw[at] ?? 0;
    const length = sequenceLength(lead);
    const char = at + length <= raw.length ? decoded(raw.subarray(at, at + length)) : undefined;
    text += char ?? String.fromCharCode(0xdc00 + lead);
    at += char === undefined ? 1 : length;
  }
  return text;
}

/** The bytes of a path. Fails with `bad-name` for text that stands for no bytes: any other lone surrogate, or NUL. */
export function pathToBytes(path: string): Buffer {
  if (path.includes("\0")) throw new FileFault("bad-name", path);
  if (!loneSurrogate.test(path)) return Buffer.from(path, "utf8");
  const parts: Buffer[] = [];
  for (const char of path) {
    const code = char.codePointAt(0) ?? 0;
    if (code >= 0xdc80 && code <= 0xdcff) parts.push(Buffer.of(code - 0xdc00));
    else if (code >= 0xd800 && code <= 0xdfff) throw new FileFault("bad-name", path);
    else parts.push(Buffer.from(char, "utf8"));
  }
  return Buffer.concat(parts);
}

function decoded(raw: Uint8Array): string | undefined {
  try {
    return strictUtf8.decode(raw);
  } catch {
    return undefined; // Not UTF-8 is an answer here.
  }
}

/** How many bytes a UTF-8 character with this first byte has; 1 for bytes that can't begin one. */
function sequenceLength(lead: number): number {
  if (lead >= 0xf0) return 4;
  if (lead >= 0xe0) return 3;
  if (lead >= 0xc0) return 2;
  return 1;
}
