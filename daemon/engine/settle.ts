/**
 * Where files that were just read are filed, written down as the intent before anything gets its name: content and
 * camera decide (`core/filing.ts`), the ledger remembers. What was known already keeps its place.
 */

import { assert } from "../../shared/brand.ts";
import type { Fact, FrameOfOriginal } from "../../shared/facts.ts";
import { type FrameId, nameKey, type OriginalId, type TripId } from "../../shared/identity.ts";
import { fileExtra, fileFrame, type Placed, type ReadFile } from "../core/filing.ts";
import type { CopyJob } from "../core/plan.ts";
import { safePart, safePath } from "../core/safeName.ts";
import type { OriginalRow } from "../ports/ledger.ts";
import { encodeFact } from "../record/journal.ts";
import type { LookedAt, PassContext, Settled } from "./copyPass.ts";

/** Settles where what was read is filed, and writes that down as the intent before anything gets its name. */
export function settle(context: PassContext, job: CopyJob, read: readonly LookedAt[]): readonly Settled[] {
  const { ports, source } = context;
  const facts: Fact[] = [];
  const at = ports.clock.now();
  const settled: Settled[] = [];
  const fresh: LookedAt[] = [];
  for (const each of read) {
    const row = each.file.original === undefined ? undefined : ports.ledger.original(each.file.original);
    if (row === undefined) fresh.push(each);
    else settled.push({ read: each, original: row });
  }

  if (fresh.length === 0) return settled;
  const { card } = source;
  assert(card !== undefined, "only a card gives what isn't known yet");
  const places = placesOf(context, job, fresh);
  fresh.forEach((each, index) => {
    const place = places[index];
    if (place === undefined) throw new Error("every file that was read has a place");
    const { trip } = each.file;
    const original = place.kind === "existing" ? place.original : originalFact(context, each, place, facts);
    facts.push({
      kind: "sighting",
      trip,
      at,
      card,
      path: each.file.path,
      fingerprint: { size: each.streamed.size, modified: each.file.modified, ends: each.streamed.ends },
      original: original.id,
      ...(each.damage === undefined ? {} : { damage: each.damage }),
    });
    settled.push({ read: each, original });
  });
  const encoded = facts.map((fact) => encodeFact(fact, ports.hashing));
  ports.ledger.apply(encoded);
  context.tell(encoded);
  return settled;
}

function placesOf(context: PassContext, job: CopyJob, fresh: readonly LookedAt[]): readonly Placed[] {
  const first = fresh[0];
  if (first === undefined) return [];
  const { ledger } = context.ports;
  const { trip } = first.file;
  const view = {
    originalAt: (key: string) => ledger.originalAt(trip, key),
    frameFilesByContent: (hash: ReadFile["hash"], size: ReadFile["size"]) =>
      ledger.frameFilesByContent(trip, hash, size),
    frameFiles: (frame: FrameId) => ledger.frameFiles(trip, frame),
    framesByKey: (key: string) => ledger.framesByKey(trip, key),
    frameByStem: (key: string) => ledger.frameByStem(trip, key),
  };
  const reads = fresh.map(
    (each): ReadFile => ({
      hash: each.streamed.hash,
      size: each.streamed.size,
      role: each.file.role,
      extension:
        each.file.role === "extra"
          ? `extras/${safePath(each.file.path, context.ports.limits.pathBytesMax)}`
          : safeExtension(context.extensions.get(each.file.path) ?? ""),
    }),
  );
  const wanted = context.wanted.get(job.key);
  if (wanted !== undefined) return fileFrame(reads, wanted, siblingFrame(context, job, trip), view);
  assert(
    reads.every((file) => file.role === "extra"),
    "a frame knows what it wants to be called",
  );
  return reads.map((file) => fileExtra(file, view));
}

/** An extension is a part of a hostile name as well. */
function safeExtension(extension: string): string {
  return safePart(`x${extension}`, longestExtensionBytes + 1).slice(1);
}

/** With `-999` after the stem it fits into what is left free behind a wanted name. */
const longestExtensionBytes = 50;

/** The frame of this trip that other files of the same frame on this card are filed in already. */
function siblingFrame(context: PassContext, job: CopyJob, trip: TripId): FrameOfOriginal | undefined {
  const inJob = job.files.map((file) => file.original);
  for (const original of [...inJob, ...(context.siblings.get(job.key) ?? [])]) {
    if (original === undefined) continue;
    const row = context.ports.ledger.original(original);
    if (row?.frame !== undefined && row.trip === trip) return row.frame;
  }
  return undefined;
}

function originalFact(
  context: PassContext,
  read: LookedAt,
  place: Extract<Placed, { kind: "new" }>,
  facts: Fact[],
): Pick<OriginalRow, "id" | "path" | "hash" | "size"> {
  const { ports } = context;
  const { trip, role } = read.file;
  const { hash, size } = read.streamed;
  const check = (text: string): string => {
    const running = ports.hashing.start();
    running.update(new TextEncoder().encode(JSON.stringify([trip, text])));
    return running.digest();
  };
  const id = `${hash}-${size}-${check(nameKey(place.path)).slice(0, 8)}` as OriginalId;
  const frame =
    place.frame === undefined
      ? undefined
      : { id: check(nameKey(place.frame.stem)) as FrameId, ...place.frame };
  facts.push({
    kind: "original",
    trip,
    at: ports.clock.now(),
    original: id,
    hash,
    size,
    path: place.path,
    role,
    ...(frame === undefined ? {} : { frame }),
  });
  return { id, path: place.path, hash, size };
}
