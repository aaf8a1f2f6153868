/**
 * The trips that are described: read from the configuration, kept as facts in the ledger, and looked up by the rest of
 * the engine. A profile with faults changes nothing; what was known of the trip holds.
 */

import { nameKey, type TripId } from "../../shared/identity.ts";
import { printable } from "../../shared/text.ts";
import { looksLikeCard, mustLookInside } from "../core/cardLayout.ts";
import { readProfile } from "../core/profile.ts";
import { safePart } from "../core/safeName.ts";
import type { EncodedFact } from "../ports/ledger.ts";
import { encodeFact } from "../record/journal.ts";
import type { KnownTrip } from "./dating.ts";
import type { EnginePorts } from "./ports.ts";

export class TripBook {
  readonly #ports: EnginePorts;
  #trips: readonly KnownTrip[] = [];
  #texts = new Map<TripId, string>();

  constructor(ports: EnginePorts) {
    this.#ports = ports;
  }

  get trips(): readonly KnownTrip[] {
    return this.#trips;
  }

  find(trip: TripId | undefined): KnownTrip | undefined {
    return this.#trips.find((each) => each.id === trip);
  }

  /** Trips in which a drive of this name takes part, but for those that it was freed of. */
  tripsOf(driveName: string): readonly KnownTrip[] {
    const key = nameKey(driveName);
    return this.#trips.filter(
      (trip) =>
        trip.profile.drives.some((drive) => nameKey(drive.name) === key) && !this.isFreed(driveName, trip.id),
    );
  }

  /** Whether the drive of this name was freed of the trip. Another medium under its name has no part in it either. */
  isFreed(driveName: string, trip: TripId): boolean {
    const key = nameKey(driveName);
    return this.#ports.ledger.archives.retiredNames(trip).some((name) => nameKey(name) === key);
  }

  /** The profile's text, as it was written. */
  textOf(trip: TripId): string {
    return this.#texts.get(trip) ?? "";
  }

  /**
   * Reads the configuration again.
   * @returns what was learnt, and the trips that were known under another text before.
   */
  async read(): Promise<{ readonly facts: readonly EncodedFact[]; readonly changed: readonly KnownTrip[] }> {
    const facts = await this.#takeIn();
    const before = this.#texts;
    const texts = new Map<TripId, string>();
    const trips: KnownTrip[] = [];
    for (const row of this.#ports.ledger.trips()) {
      const { profile } = readProfile(row.profile);
      if (profile === undefined) continue;
      texts.set(row.id, row.profile);
      trips.push({ id: row.id, folder: row.folder, profile });
    }
    this.#texts = texts;
    this.#trips = trips;
    const changed = trips.filter(({ id }) => before.has(id) && before.get(id) !== texts.get(id));
    return { facts, changed };
  }

  async #takeIn(): Promise<readonly EncodedFact[]> {
    const { ledger, clock, hashing } = this.#ports;
    const known = new Map(ledger.trips().map((row) => [row.id, row]));
    const facts: EncodedFact[] = [];
    for (const { id, text } of await this.#files()) {
      const before = known.get(id);
      if (before?.profile === text) continue;
      const { profile } = readProfile(text);
      if (profile === undefined) continue;
      const folder = before?.folder ?? this.#freeFolder(profile.trip, id);
      const at = clock.now();
      const fact = encodeFact({ kind: "trip", trip: id, at, folder, profile: text }, hashing);
      ledger.apply([fact]);
      ledger.note("trip", id, `described as ${printable(profile.trip)}`, at);
      facts.push(fact);
    }
    return facts;
  }

  /** Trip files that can't be listed change nothing: what is known of the trips holds. */
  async #files(): Promise<readonly { readonly id: TripId; readonly text: string }[]> {
    try {
      return await this.#ports.tripFiles.list();
    } catch (failure) {
      const { ledger, clock } = this.#ports;
      const text = printable(String(failure));
      if (ledger.sayOnce(`trip files ${text}`, clock.now())) ledger.note("trip", "", text, clock.now());
      return [];
    }
  }

  /** Two trips of one name don't share a folder, and a folder called like a camera's would make a drive a card. */
  #freeFolder(name: string, id: TripId): string {
    const wanted = safePart(name);
    const taken =
      this.#ports.ledger.trips().some((row) => nameKey(row.folder) === nameKey(wanted)) ||
      looksLikeCard([wanted]) ||
      mustLookInside(wanted);
    return taken ? safePart(`${name} ${id}`) : wanted;
  }
}
