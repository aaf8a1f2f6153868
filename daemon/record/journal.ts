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
/** A journal is read from a medium that may have been anywhere: what it says is put together with paths here. */
const tripId = text.regex(/^[a-z0-9-]{1,100}$/);
const inside = text.refine((path) => path.split("/").every(isPlainPart));
const base = { trip: tripId, at: whole };
const original = text.max(200);
const drive = text.regex(/^[0-9a-z]{1,64}$/);
/** The name of another fact: its own check. */
const factName = text.regex(/^[0-9a-f]{16}$/);
const factOwner = text.regex(/^[0-9a-f]{32}$/);
const readBack = z.enum(["direct", "remount", "cache"]);
const taken = z.object({
  instant: whole,
  local: text,
  day: text,
  basis: z.enum(["camera-offset", "body-zone", "trip-zone", "video-utc", "file-time"]),
  camera: text,
});
const frame = z.object({
  id: text,
  stem: inside,
  key: text,
  count: whole,
  taken,
  letter: text,
  serial: text,
  model: text,
});
const shapes = z.discriminatedUnion("kind", [
  z.object({
    kind: z.literal("trip"),
    ...base,
    folder: inside.refine((name) => !name.includes("/")),
    profile: text,
  }),
  z.object({ kind: z.literal("drive"), ...base, drive, name: text }),
  z.object({ kind: z.literal("card"), ...base, card: text, label: text, number: whole }),
  z.object({
    kind: z.literal("original"),
    ...base,
    original,
    hash: text,
    size: whole,
    path: inside,
    role: z.enum(["frame", "companion", "extra"]),
    frame: frame.optional(),
  }),
  z.object({
    kind: z.literal("sighting"),
    ...base,
    card: text,
    path: text,
    fingerprint: z.object({ size: whole, modified: whole, ends: text }),
    original,
    damage: text.optional(),
  }),
  z.object({
    kind: z.literal("copy"),
    ...base,
    original,
    drive,
    path: inside,
    readBack,
    again: whole.optional(),
  }),
  z.object({
    kind: z.literal("loss"),
    ...base,
    original,
    drive,
    path: inside,
    why: z.enum(["missing", "damaged", "changed", "moved"]),
    copies: z.array(text),
    found: z.object({ hash: text, size: whole }).optional(),
  }),
  z.object({ kind: z.literal("checked"), ...base, drive, readBack, originals: z.array(original) }),
  z.object({ kind: z.literal("drive-lost"), ...base, drive }),
  z.object({ kind: z.literal("accepted"), ...base, card: text, path: text, original, damage: text }),
  z.object({ kind: z.literal("dismissed"), ...base, card: text }),
  z.object({ kind: z.literal("look"), ...base, frame: text.max(200), fine: z.boolean() }),
  z.object({
    kind: z.literal("edit"),
    ...base,
    path: inside,
    hash: text.max(16),
    size: whole,
    modified: whole,
    drive,
    after: z.array(factName).max(100),
  }),
  z.object({ kind: z.literal("edit-copy"), ...base, edit: factName, drive, readBack }),
  z.object({ kind: z.literal("edit-seen"), ...base, edit: factName }),
  z.object({
    kind: z.literal("archived"),
    ...base,
    archive: factOwner,
    readBack,
    files: z.array(z.object({ path: inside, hash: text.max(16), size: whole })),
  }),
  z.object({
    kind: z.literal("home"),
    ...base,
    archives: z.array(factOwner).max(100),
    complete: z.boolean(),
  }),
  z.object({ kind: z.literal("drive-retired"), ...base, drive }),
  z.object({ kind: z.literal("vanished"), ...base, card: text, path: text, size: whole, modified: whole }),
]);

/** A part of a path that stays where it is put, and that the checksum list can hold: filed names are made so. */
function isPlainPart(part: string): boolean {
  return part !== "" && part !== "." && part !== ".." && !/[\0\n\r\\]/.test(part) && part.isWellFormed();
}

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
