/**
 * The journal's lines: RFC 8259 objects, one a line, UTF-8, each with the XXH64 of its fact's text, so that a torn or
 * altered line is seen and dropped while all others hold.
 *
 *     {"check":"9f86d081884c7d65","fact":{"kind":"copy",…}}
 *
 * Sizes and times are below 2^53; hashes are strings.
 */

import { z } from "zod";
import type { Fact } from "../../shared/facts.ts";
import type { ContentHash } from "../../shared/identity.ts";
import type { Hashing } from "../ports/hashing.ts";
import type { EncodedFact } from "../ports/ledger.ts";

const text = z.string();
const whole = z.number().int();
const base = { trip: text, at: whole };
const taken = z.object({
  instant: whole,
  local: text,
  day: text,
  basis: z.enum(["camera-offset", "body-zone", "trip-zone", "video-utc", "file-time"]),
  camera: text,
});
const frame = z.object({
  id: text,
  stem: text,
  key: text,
  count: whole,
  taken,
  letter: text,
  serial: text,
  model: text,
});
const shapes = z.discriminatedUnion("kind", [
  z.object({ kind: z.literal("trip"), ...base, folder: text, profile: text }),
  z.object({ kind: z.literal("drive"), ...base, drive: text, name: text }),
  z.object({ kind: z.literal("card"), ...base, card: text, label: text, number: whole }),
  z.object({
    kind: z.literal("original"),
    ...base,
    original: text,
    hash: text,
    size: whole,
    path: text,
    role: z.enum(["frame", "companion", "extra"]),
    frame: frame.optional(),
  }),
  z.object({
    kind: z.literal("sighting"),
    ...base,
    card: text,
    path: text,
    fingerprint: z.object({ size: whole, modified: whole, ends: text }),
    original: text,
  }),
  z.object({
    kind: z.literal("copy"),
    ...base,
    original: text,
    drive: text,
    path: text,
    readBack: z.enum(["direct", "remount", "cache"]),
  }),
]);

const encoder = new TextEncoder();
const head = '{"check":"';
const middle = '","fact":';
const checkLength = 16;

/** The fact with its text and that text's check. */
export function encodeFact(fact: Fact, hashing: Hashing): EncodedFact {
  const json = JSON.stringify(fact);
  return { id: hashOfText(json, hashing), json, fact };
}

/** One journal line, with its end. */
export function journalLine(fact: { readonly id: string; readonly json: string }): string {
  return `${head}${fact.id}${middle}${fact.json}}\n`;
}

/** Reads a journal: every whole line's fact in order, and how many lines were torn or altered. */
export function readJournal(
  content: Uint8Array,
  hashing: Hashing,
): { readonly facts: readonly EncodedFact[]; readonly spoilt: number; readonly endsWhole: boolean } {
  const facts: EncodedFact[] = [];
  let spoilt = 0;
  let start = 0;
  const decoder = new TextDecoder("utf-8");
  while (start < content.length) {
    const lineEnd = content.indexOf(0x0a, start);
    const end = lineEnd < 0 ? content.length : lineEnd;
    if (end > start) {
      const fact = readLine(decoder.decode(content.subarray(start, end)), hashing);
      if (fact === undefined) spoilt += 1;
      else facts.push(fact);
    }
    start = end + 1;
  }
  return { facts, spoilt, endsWhole: content.length === 0 || content.at(-1) === 0x0a };
}

function readLine(line: string, hashing: Hashing): EncodedFact | undefined {
  const middleAt = head.length + checkLength;
  if (
    !line.startsWith(head) ||
    !line.endsWith("}") ||
    line.slice(middleAt, middleAt + middle.length) !== middle
  )
    return undefined;
  const id = line.slice(head.length, middleAt);
  const json = line.slice(middleAt + middle.length, -1);
  if (hashOfText(json, hashing) !== id) return undefined;
  let value: unknown;
  try {
    value = JSON.parse(json);
  } catch {
    return undefined;
  }
  const parsed = shapes.safeParse(value);
  // The shape was just checked; the brands of identity and units exist for the compiler only.
  return parsed.success ? { id, json, fact: parsed.data as unknown as Fact } : undefined;
}

function hashOfText(json: string, hashing: Hashing): ContentHash {
  const running = hashing.start();
  running.update(encoder.encode(json));
  return running.digest();
}
