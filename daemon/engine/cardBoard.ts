/**
 * Cards as the outside sees them: how each stands, and what is told of it. The circumstances are looked up here each
 * time; what follows from them is `cardJudgement.ts`.
 */

import type { CardStatusJson } from "../../shared/api.ts";
import type { LossReason } from "../../shared/facts.ts";
import { rfc3339 } from "../../shared/format.ts";
import type { CardId, DriveId, OriginalId, TripId } from "../../shared/identity.ts";
import { printable } from "../../shared/text.ts";
import type { CardRow } from "../ports/ledger.ts";
import { type CardCircumstances, type CardJudgement, judgementOf } from "./cardJudgement.ts";
import type { KnownTrip } from "./dating.ts";
import type { Engine } from "./engine.ts";
import { cardName } from "./survey.ts";
import { drivesOf, type TripDriveState } from "./tripDrives.ts";

/** How a card stands now. */
export interface JudgedCard extends CardJudgement {
  readonly row: CardRow;
  /** `Card 7`, as it begins a sentence. */
  readonly name: string;
  /** The trip it belongs to, as far as known. */
  readonly trip: KnownTrip | undefined;
}

/** undefined for a card that was never seen. */
export function judgedCard(engine: Engine, card: CardId): JudgedCard | undefined {
  const row = engine.ports.ledger.card(card);
  return row === undefined ? undefined : judged(engine, row, new Surroundings(engine));
}

export function judgedCards(engine: Engine): readonly JudgedCard[] {
  const around = new Surroundings(engine);
  return engine.ports.ledger.cards().map((row) => judged(engine, row, around));
}

function judged(engine: Engine, row: CardRow, around: Surroundings): JudgedCard {
  const { ledger } = engine.ports;
  const { circumstances, trip } = circumstancesOf(engine, row, around);
  const judgement = judgementOf(ledger.cardMark(row.id), () => ledger.cardFiles(row.id), circumstances);
  return { ...judgement, row, name: circumstances.name, trip };
}

export function cardsJson(engine: Engine): readonly CardStatusJson[] {
  const around = new Surroundings(engine);
  return engine.ports.ledger.cards().map((row) => cardJson(engine, judged(engine, row, around), around));
}

function cardJson(
  engine: Engine,
  { row, name, trip, told }: JudgedCard,
  around: Surroundings,
): CardStatusJson {
  const here = engine.presence.cards.find((each) => each.id === row.id);
  const zone = trip?.profile.zone ?? "UTC";
  return {
    ...told,
    id: row.id,
    label: printable(row.label),
    name,
    trip: trip?.profile.trip ?? null,
    present: here !== undefined,
    mount: here?.volume.root ?? null,
    vanished: around.vanished.get(row.id) ?? [],
    undated: (engine.desk.visitOf(row.id)?.undated ?? []).map((path) => printable(path)),
    dismissed: row.dismissed,
    judgedAt: rfc3339(engine.now(), zone),
    lastSeen: rfc3339(row.lastSeen, zone),
  };
}

/** How many cards are not clear: those that are in, and those that went with files that no drive has. */
export function unclearCards(engine: Engine): number {
  const present = new Set(engine.presence.cards.map((card) => card.id));
  return judgedCards(engine).filter(
    ({ row, news, verdict }) =>
      !verdict.clear && (present.has(row.id) || (!row.dismissed && news.length > 0)),
  ).length;
}

/** By card, harmless to read. */
export function vanishedByCard(engine: Engine): ReadonlyMap<CardId, readonly string[]> {
  const byCard = new Map<CardId, string[]>();
  for (const { card, path } of engine.ports.ledger.vanished())
    byCard.set(card, [...(byCard.get(card) ?? []), printable(path, 1_000)]);
  return byCard;
}

type Losses = ReadonlyMap<OriginalId, readonly (readonly [OriginalId, DriveId, LossReason])[]>;

/** What many cards have in common, looked up once. Lives no longer than one question. */
class Surroundings {
  readonly vanished: ReadonlyMap<CardId, readonly string[]>;
  readonly faults = new Map<string, (readonly [path: string, detail: string])[]>();
  readonly doubtful: readonly DriveId[];
  readonly goals: CardCircumstances["goals"];
  readonly archives: CardCircumstances["archives"];
  readonly #engine: Engine;
  readonly #trips = new Map<
    string,
    { readonly drives: readonly TripDriveState[]; readonly losses: Losses }
  >();

  constructor(engine: Engine) {
    this.#engine = engine;
    this.vanished = vanishedByCard(engine);
    for (const { medium, path, detail } of engine.ports.ledger.faults())
      this.faults.set(medium, [...(this.faults.get(medium) ?? []), [path, detail]]);
    this.doubtful = engine.presence.drives.map(({ id }) => id).filter((id) => engine.bay.isDoubtful(id));
    this.archives = engine.tripBook.trips.flatMap(({ id }) => archivesOf(engine, id));
    this.goals = engine.tripBook.trips.map(({ id, profile }) => [id, profile.goal.copies] as const);
  }

  of(trip: KnownTrip) {
    const before = this.#trips.get(trip.id);
    if (before !== undefined) return before;
    const drives = drivesOf(this.#engine, trip);
    const losses = new Map<OriginalId, (readonly [OriginalId, DriveId, LossReason])[]>();
    for (const { row } of drives) {
      if (row === undefined) continue;
      for (const { original, why } of this.#engine.ports.ledger.losses(row.id, trip.id)) {
        const ofOriginal = losses.get(original) ?? [];
        losses.set(original, ofOriginal);
        ofOriginal.push([original, row.id, why]);
      }
    }
    const looked = { drives, losses };
    this.#trips.set(trip.id, looked);
    return looked;
  }
}

/**
 * Where a trip is home, as its latest homecoming found. An archive counts as a copy like a drive: only where this computer
 * met it, and once for each medium, so none that stands on a drive or beside another archive.
 */
function archivesOf(engine: Engine, trip: TripId): CardCircumstances["archives"] {
  const { ledger } = engine.ports;
  const home = ledger.archives.home(trip);
  if (home?.complete !== true) return [];
  const taken = new Set(ledger.drives().map(({ fsId }) => fsId));
  return home.archives.flatMap((id) => {
    const place = ledger.archives.placeOf(id);
    if (place === undefined || taken.has(place.fsId)) return [];
    taken.add(place.fsId);
    const { folder } = place;
    const unsure = ledger.archives.wasReadFromCache(trip, printable(folder, 1_000));
    return [{ id, folder, trip, unsure }];
  });
}

function circumstancesOf(
  engine: Engine,
  row: CardRow,
  around: Surroundings,
): {
  readonly circumstances: CardCircumstances;
  readonly trip: KnownTrip | undefined;
} {
  const visit = engine.desk.visitOf(row.id);
  const tripId = visit?.decision?.decision === "trip" ? visit.decision.trip : (row.trip ?? row.assigned);
  const trip = engine.tripBook.trips.find((each) => each.id === tripId);
  const undecided = visit?.decision !== undefined && visit.decision.decision !== "trip";
  const ofTrip = trip === undefined ? undefined : around.of(trip);
  const present = engine.presence.cards.some((each) => each.id === row.id);
  const circumstances: CardCircumstances = {
    name: cardName(row.number, row.label, row.id),
    present,
    surveyed: present ? visit?.survey !== undefined : row.surveyed !== undefined,
    confirmed: !present || visit?.confirmed === true,
    goal: trip === undefined || undecided ? null : trip.profile.goal.copies,
    goals: around.goals,
    drives: (ofTrip?.drives ?? []).map((drive) => ({
      id: drive.row?.id ?? null,
      name: drive.name,
      present: drive.present,
      lost: drive.lost,
    })),
    archives: around.archives,
    faults: around.faults.get(row.id) ?? [],
    losses: lossesAmong(engine, row.id, ofTrip?.losses),
    doubtful: around.doubtful,
    vanished: around.vanished.get(row.id)?.length ?? 0,
    unseen: !present && row.surveyed === undefined && row.totalBytes === 0,
  };
  return { circumstances, trip };
}

function lossesAmong(engine: Engine, card: CardId, losses: Losses | undefined) {
  if (losses === undefined || losses.size === 0) return [];
  return engine.ports.ledger
    .cardFiles(card)
    .flatMap(({ original }) => (original === undefined ? [] : (losses.get(original) ?? [])));
}
