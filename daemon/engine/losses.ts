/**
 * Copies that were looked at and aren't what was verified: written down as losses, so that they count no more, are owed
 * again and are made good by the next round. One that was moved is followed to where it stands.
 *
 * Nothing on the drive is touched here; a damaged file is set aside only when a good copy is about to take its name
 * (`publisher.ts`).
 */

import type { Fact, LossReason } from "../../shared/facts.ts";
import { counted } from "../../shared/format.ts";
import type { RelativePath, TripId } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import type { EncodedFact } from "../ports/ledger.ts";
import { encodeFact } from "../record/journal.ts";
import type { BlockPool } from "./bounds.ts";
import { type Examined, type Found, findMoved, type NewPlace } from "./examine.ts";
import type { EnginePorts } from "./ports.ts";
import type { Publisher } from "./publisher.ts";
import { readBack } from "./readBack.ts";
import type { WrittenCopy } from "./standing.ts";

/** A copy that isn't good any more. */
export interface Lost extends WrittenCopy {
  readonly examined: Exclude<Examined, { what: "good" }>;
}

/** What was concluded of it. */
export interface Concluded extends WrittenCopy {
  readonly why: LossReason;
  readonly movedTo: RelativePath | undefined;
}

/**
 * @param tell makes facts known to every drive that is in
 * @param stillThere throws FileFault when the drive went meanwhile; asked after all that was read, before anything is
 * concluded from it
 * @throws FileFault when the drive can't be read or written; what was concluded by then holds
 */
export async function concludeLosses(
  ports: EnginePorts,
  publisher: Publisher,
  tell: (facts: readonly EncodedFact[]) => void,
  stillThere: () => Promise<void>,
  pool: BlockPool,
  lost: readonly Lost[],
): Promise<readonly Concluded[]> {
  const moved = new Map<WrittenCopy, NewPlace>();
  for (const trip of new Set(lost.map((each) => each.original.trip))) {
    const missing = lost.filter((each) => each.original.trip === trip && each.examined.what === "missing");
    if (missing.length === 0) continue;
    const places = await findMoved(ports, publisher, trip, missing, pool);
    for (const each of missing) {
      const place = places.get(each.original.id);
      if (place !== undefined) moved.set(each, place);
    }
  }
  await stillThere();
  if (publisher.drive.gone.aborted) return [];
  const concluded: Concluded[] = [];
  for (const each of lost) {
    // What stands there may be another original that was moved onto this name: then that one is followed, and this one
    // isn't damaged but gone from here, perhaps to where the other one stood.
    if (!(await followArrival(ports, publisher, tell, pool, each))) {
      concluded.push(await concludeOne(ports, publisher, tell, each, moved.get(each)));
      continue;
    }
    const gone: Lost = { ...each, examined: { what: "missing" } };
    const places = await findMoved(ports, publisher, each.original.trip, [gone], pool);
    concluded.push(await concludeOne(ports, publisher, tell, gone, places.get(each.original.id)));
  }
  if (concluded.length > 0) publisher.listMayBeStale();
  noteEach(ports, publisher, concluded);
  return concluded;
}

/**
 * Bytes that are another original's, under this one's name: someone moved that one here.
 * @returns whether it was followed
 */
async function followArrival(
  ports: EnginePorts,
  publisher: Publisher,
  tell: (facts: readonly EncodedFact[]) => void,
  pool: BlockPool,
  { copy, original, examined }: Lost,
): Promise<boolean> {
  const { ledger } = ports;
  if (examined.what === "missing" || examined.found === undefined) return false;
  const { found, readBack: how } = examined;
  const { trip } = original;
  const copies = ledger.copiesOn(publisher.drive.id, trip);
  for (const arrived of ledger.originalsByContent(trip, found.hash, found.size)) {
    const elsewhere = copies.find((each) => each.original === arrived.id);
    if (arrived.id === original.id || elsewhere?.path === copy.path) continue;
    // Where it is known to stand on this drive it may stand still: then this is only one more of it.
    if (elsewhere !== undefined && (await standsStill(ports, publisher, trip, elsewhere.path, pool, found)))
      continue;
    const before = elsewhere ?? { ...copy, original: arrived.id };
    const place = { path: copy.path, readBack: how };
    await concludeOne(ports, publisher, tell, { copy: before, original: arrived, examined }, place);
    return true;
  }
  return false;
}

async function standsStill(
  { files, hashing }: EnginePorts,
  publisher: Publisher,
  trip: TripId,
  path: RelativePath,
  pool: BlockPool,
  { hash, size }: Found,
): Promise<boolean> {
  try {
    const at = publisher.pathOf(trip, path);
    if ((await files.facts(at)).size !== size) return false;
    return (await readBack(files, at, pool, hashing)).hash === hash;
  } catch (fault) {
    if (fault instanceof FileFault && fault.code !== "gone") return false;
    throw fault;
  }
}

async function concludeOne(
  ports: EnginePorts,
  publisher: Publisher,
  tell: (facts: readonly EncodedFact[]) => void,
  { copy, original, examined }: Lost,
  place: NewPlace | undefined,
): Promise<Concluded> {
  const { ledger, clock, hashing } = ports;
  // Named before the new place is written down, so that only what was claimed until now is taken back.
  const copies = ledger.copyFacts(original.id, publisher.drive.id);
  if (place !== undefined) {
    const published = await publisher.publish({
      original: original.id,
      trip: original.trip,
      hash: original.hash,
      size: original.size,
      path: place.path,
      readBack: place.readBack,
      temp: undefined,
    });
    if (!published.published) throw published.fault;
  }
  const why = place !== undefined ? "moved" : examined.what;
  const found = examined.what === "missing" ? undefined : examined.found;
  const fact: Fact = {
    kind: "loss",
    trip: original.trip,
    at: clock.now(),
    original: original.id,
    drive: publisher.drive.id,
    path: copy.path,
    why,
    copies,
    ...(found === undefined ? {} : { found }),
  };
  const encoded = [encodeFact(fact, hashing)];
  ledger.apply(encoded);
  tell(encoded);
  return { copy, original, why, movedTo: place?.path };
}

const words: { readonly [W in LossReason]: string } = {
  missing: "gone",
  damaged: "damaged",
  changed: "changed by another program",
  moved: "moved, and followed",
};

function noteEach(
  { ledger, clock }: EnginePorts,
  { drive }: Publisher,
  concluded: readonly Concluded[],
): void {
  for (const why of ["missing", "damaged", "changed", "moved"] as const) {
    const those = concluded.filter((each) => each.why === why);
    if (those.length === 0) continue;
    const names = those.map(({ copy, movedTo }) =>
      movedTo === undefined ? copy.path : `${copy.path} → ${movedTo}`,
    );
    const text = `${counted(those.length, "copy", "copies")} ${words[why]}: ${names.join(", ")}`;
    ledger.note("copy", drive.id, text, clock.now());
  }
}
