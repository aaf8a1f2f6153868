/**
 * Taking in what drives' records tell: facts that others wrote down, on this computer before or on another one. What
 * can't be right is left out; drives that are only told of are known by name and don't count before they come.
 */

import type { Fact, OriginalFact } from "../../shared/facts.ts";
import type { DriveId, OriginalId, RelativePath, TripId } from "../../shared/identity.ts";
import { extensionOf, nameKey } from "../../shared/identity.ts";
import { type Bytes, type Count, count, type Instant } from "../../shared/units.ts";
import { looksLikeCard, mustLookInside } from "../core/cardLayout.ts";
import type { EncodedFact, Ledger } from "../ports/ledger.ts";
import { encodeFact } from "../record/journal.ts";
import type { EnginePorts } from "./ports.ts";

/** @returns how many facts were left out since they contradict what is known, or can't be right. */
export function learnFacts(ports: EnginePorts, told: readonly EncodedFact[]): Count {
  const sound = told.filter(({ fact }) => isSound(fact));
  const missing = originalsOfCopies(ports, sound);
  const contradicting = ports.ledger.learn([...sound, ...missing]);
  hearOfDrives(ports.ledger, sound);
  return count(contradicting + told.length - sound.length);
}

/** A folder called like a camera's would make cards of drives, and one of ours would mix with the record. */
function isSound(fact: Fact): boolean {
  if (fact.kind !== "trip") return true;
  const { folder } = fact;
  return !folder.startsWith(".") && !looksLikeCard([folder]) && !mustLookInside(folder);
}

/**
 * An original whose own line is torn is still told of by its copies: its id says what its bytes are, and where it
 * stands is where it was filed. So it goes on being counted, checked and healed.
 */
function originalsOfCopies(ports: EnginePorts, told: readonly EncodedFact[]): readonly EncodedFact[] {
  const known = new Set<OriginalId>();
  const frames = new Map<string, OriginalFact["frame"]>();
  for (const { fact } of told) {
    if (fact.kind !== "original") continue;
    known.add(fact.original);
    if (fact.frame !== undefined) frames.set(`${fact.trip} ${nameKey(fact.frame.stem)}`, fact.frame);
  }
  const made = new Map<OriginalId, EncodedFact>();
  for (const { fact } of told) {
    if (fact.kind !== "copy" || known.has(fact.original) || made.has(fact.original)) continue;
    if (ports.ledger.original(fact.original) !== undefined) continue;
    const content = /^([0-9a-f]{16})-(\d{1,16})-[0-9a-f]{8}$/.exec(fact.original);
    if (content === null) continue;
    const { trip, at, original, path } = fact;
    const frame = frames.get(`${trip} ${nameKey(stemOf(path))}`);
    const base = { kind: "original", trip, at, original, path } as const;
    const bytes = { hash: content[1] as OriginalFact["hash"], size: Number(content[2]) as Bytes };
    const role = frame === undefined ? { role: "extra" as const } : { role: "frame" as const, frame };
    made.set(original, encodeFact({ ...base, ...bytes, ...role }, ports.hashing));
  }
  return [...made.values()];
}

function stemOf(path: RelativePath): string {
  return path.slice(0, path.length - extensionOf(path).length);
}

/** By their latest names; one that was declared lost is known as lost. */
function hearOfDrives(ledger: Ledger, told: readonly EncodedFact[]): void {
  const latest = new Map<DriveId, { readonly name: string; readonly at: Instant }>();
  const lost = new Map<DriveId, Instant>();
  for (const { fact } of told) {
    if (fact.kind === "drive-lost") lost.set(fact.drive, fact.at);
    if (fact.kind === "drive" && (latest.get(fact.drive)?.at ?? fact.at) <= fact.at)
      latest.set(fact.drive, { name: fact.name, at: fact.at });
  }
  const known = new Set([...ledger.drives(), ...ledger.lostDrives()].map((drive) => drive.id));
  for (const [id, { name, at }] of latest)
    if (!known.has(id)) ledger.hearOfDrive({ id, name: freeName(ledger, name), fsId: "", lastSeen: at });
  for (const [id, at] of lost) ledger.loseDrive(id, at);
}

/** Two drives of one name can't be told apart; the one that is only heard of gets a number. */
function freeName(ledger: Ledger, name: string): string {
  const taken = new Set(ledger.drives().map((drive) => nameKey(drive.name)));
  for (let nth = 1; ; nth += 1) {
    const wanted = nth === 1 ? name : `${name} ${nth}`;
    if (!taken.has(nameKey(wanted))) return wanted;
  }
}

/** Facts of one trip that the ledger doesn't have; what only this computer's own configuration decides is left to it. */
export function newsFor(
  facts: readonly EncodedFact[],
  known: ReadonlySet<string>,
  trip: TripId,
): EncodedFact[] {
  return facts.filter(({ id, fact }) => fact.trip === trip && fact.kind !== "trip" && !known.has(id));
}
