/**
 * What alerts are made from, put together from ledger and presence each time it is asked for. Nothing is decided here:
 * which alerts hold, and their sentences, is `core/alerts.ts`.
 */

import type { LossReason } from "../../shared/facts.ts";
import { rfc3339 } from "../../shared/format.ts";
import { baseName, type CardId, type Day, type DriveId, type TripId } from "../../shared/identity.ts";
import type { MediumFaultCode } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { bytes, instant, millis } from "../../shared/units.ts";
import type { AlertCard, AlertDrive, AlertFault, AlertView } from "../core/alerts.ts";
import type { FillView } from "../core/forecast.ts";
import { reserveOf } from "../core/plan.ts";
import type { Verdict } from "../core/verdict.ts";
import type { Fault } from "../ports/ledger.ts";
import { type JudgedCard, judgedCard, judgedCards, vanishedByCard } from "./cardBoard.ts";
import type { KnownTrip } from "./dating.ts";
import type { Engine } from "./engine.ts";
import { drivesOf, type TripDriveState } from "./tripDrives.ts";

export function alertView(engine: Engine): AlertView {
  const cards = [...engine.desk.visits].filter((visit) => !visit.card.gone.aborted);
  // A trip that is home is quiet: no drive is waited for.
  const away = engine.tripBook.trips.filter((trip) => !engine.ports.ledger.archives.isHome(trip.id));
  return {
    trips: away.map((trip) => ({
      id: trip.id,
      name: trip.profile.trip,
      goal: trip.profile.goal,
      cardHasNews: cards.some((visit) => {
        const { decision } = visit;
        return decision?.decision === "trip" && decision.trip === trip.id && newsOn(engine, visit.card.id);
      }),
      drives: drivesOf(engine, trip).map((drive) => alertDrive(engine, trip, drive)),
    })),
    cards: cards.map((visit): AlertCard => {
      const { decision } = visit;
      const several = decision?.decision === "several" ? decision.trips : [];
      return {
        id: visit.card.id,
        name: engine.nameOfCard(visit.card.id),
        decision: decision?.decision ?? "waiting",
        candidates: several.map(
          (id) => engine.tripBook.trips.find((trip) => trip.id === id)?.profile.trip ?? id,
        ),
        outside: decision?.decision === "trip" ? decision.outside : 0,
        ...visit.days,
      };
    }),
    faults: groupFaults(engine, [...engine.ports.ledger.faults(), ...lossesAsFaults(engine)]),
    ambiguous: engine.presence.ambiguous,
    strangers: engine.presence.strangers,
    unreadable: engine.presence.unreadable,
    ...alertsOfCards(engine),
    nowhere: nowhereOf(engine),
    conflicts: conflictsOf(engine),
    doubted: doubtedFrames(engine),
    filling: away.map((trip) => fillView(engine, trip)),
    spoilt: engine.bay.spoiltRecords(),
  };
}

/** What the days took and what the drives that are in have room for. */
function fillView(engine: Engine, trip: KnownTrip): FillView {
  const { ledger, limits } = engine.ports;
  const { zone, dayStartsMinutes, to } = trip.profile;
  const drives = drivesOf(engine, trip).flatMap(({ name, row }) => {
    const here = engine.presence.drives.find((each) => each.id === row?.id);
    if (here === undefined) return [];
    const reserve = reserveOf(here.traits.totalBytes, limits);
    const { owedBytes } = ledger.share(trip.id, here.id);
    return [{ name, roomBytes: engine.bay.freeOf(here) - reserve - owedBytes }];
  });
  return {
    id: trip.id,
    days: ledger.frames.days(trip.id).map(({ day, bytes: size }) => ({ day: day as Day, bytes: size })),
    today: rfc3339(instant(engine.now() - dayStartsMinutes * 60_000), zone).slice(0, 10) as Day,
    to,
    drives,
  };
}

/** What is the matter with cards whether they are in or not. */
function alertsOfCards(
  engine: Engine,
): Pick<AlertView, "damaged" | "withdrawn" | "vanished" | "emptied" | "unfinished"> {
  const vanishedFrom = vanishedByCard(engine);
  const present = new Set(engine.presence.cards.map((card) => card.id));
  const isHome = (trip: TripId | undefined): boolean =>
    trip !== undefined && engine.ports.ledger.archives.isHome(trip);
  const cards = judgedCards(engine).filter(
    ({ row }) => !row.dismissed && (present.has(row.id) || !isHome(row.trip)),
  );
  const damaged = cards.map(({ row, name, damaged: files }) => ({ id: row.id, name, files }));
  // What is kept for a damage or a doubt alone has all its copies, and an alert that says so.
  const withdrawn = cards.flatMap(({ row, name, verdict }) =>
    row.cleared === undefined || verdict.clear || keptAlone(verdict)
      ? []
      : [{ id: row.id, name, sentence: verdict.sentence }],
  );
  const vanished = cards.map(({ row, name }) => ({
    id: row.id,
    name,
    paths: vanishedFrom.get(row.id) ?? [],
  }));
  return {
    damaged: damaged.filter((card) => card.files.length > 0),
    withdrawn,
    vanished: vanished.filter((card) => card.paths.length > 0),
    emptied: emptiedCards(engine, cards),
    unfinished: unfinishedCards(engine, cards),
  };
}

function keptAlone({ lacking }: Verdict): boolean {
  return lacking.length > 0 && lacking.every(({ verified, goal }) => goal > 0 && verified >= goal);
}

/** Whether the card holds files that were never read, so that what they will owe isn't known yet. */
function newsOn(engine: Engine, card: CardId): boolean {
  return (judgedCard(engine, card)?.news.length ?? 0) > 0;
}

/** Originals that no drive holds any more, and which cards showed them last; what a card that is in still gives isn't. */
function nowhereOf(engine: Engine): AlertView["nowhere"] {
  const { ledger } = engine.ports;
  const present = new Set(engine.presence.cards.map((card) => card.id));
  const rows = ledger.nowhere().filter(({ card }) => card === undefined || !present.has(card));
  const cards = new Set(rows.flatMap(({ card }) => card ?? []));
  return {
    paths: rows.map(({ path }) => printable(path)),
    cards: [...cards].map((card) => engine.nameOfCard(card)),
  };
}

/** Frames that someone found not fine, with each card that gave them. */
function conflictsOf(engine: Engine): AlertView["conflicts"] {
  return engine.tripBook.trips.flatMap((trip) => {
    const paths = engine.ports.ledger.edits.conflicts(trip.id).map(({ path }) => printable(path, 200));
    return paths.length === 0 ? [] : [{ trip: trip.id, paths: [...new Set(paths)] }];
  });
}

function doubtedFrames(engine: Engine): AlertView["doubted"] {
  const groups = new Map<string, { about: string; card: string | undefined; frames: string[] }>();
  for (const { trip, stem, cards } of engine.ports.ledger.frames.doubted())
    for (const card of cards.length === 0 ? [undefined] : cards) {
      const about = card ?? trip;
      const name = card === undefined ? undefined : engine.nameOfCard(card);
      const group = groups.get(about) ?? { about, card: name, frames: [] };
      groups.set(about, group);
      group.frames.push(printable(baseName(stem)));
    }
  return [...groups.values()];
}

/** A formatted card is another one by its identity; by label and size it may be one that went too early. */
function emptiedCards(engine: Engine, cards: readonly JudgedCard[]): AlertView["emptied"] {
  const present = new Set(engine.presence.cards.map((card) => card.id));
  return engine.desk.visits.flatMap(({ card, survey }) => {
    const empty = survey !== undefined && survey.frames.length === 0;
    if (!empty || card.gone.aborted) return [];
    const others = cards.filter(
      ({ row, verdict }) =>
        !present.has(row.id) &&
        row.label === card.volume.label &&
        row.totalBytes === card.volume.totalBytes &&
        !verdict.clear,
    );
    if (others.length === 0) return [];
    return [
      {
        id: card.id,
        name: engine.nameOfCard(card.id),
        others: others.map(({ name }) => name),
      },
    ];
  });
}

const faultOfLoss: { readonly [W in LossReason]: MediumFaultCode | undefined } = {
  missing: "copy-missing",
  damaged: "copy-spoilt",
  changed: "copy-changed",
  moved: undefined,
};

/** Copies that were lost on drives of trips and aren't made good yet. */
function lossesAsFaults(engine: Engine): readonly Fault[] {
  return engine.tripBook.trips.flatMap((trip) =>
    drivesOf(engine, trip).flatMap(({ row }) => {
      const losses = row === undefined ? [] : engine.ports.ledger.losses(row.id, trip.id);
      return losses.flatMap(({ path, why }): Fault[] => {
        const code = faultOfLoss[why];
        if (code === undefined || row === undefined) return [];
        return [{ medium: row.id, path, code, detail: "", at: engine.now() }];
      });
    }),
  );
}

/** Cards that went with files on them that were never read; those that can't be read have an alert of their own. */
function unfinishedCards(engine: Engine, cards: readonly JudgedCard[]): AlertView["unfinished"] {
  const present = new Set(engine.presence.cards.map((card) => card.id));
  const failed = new Set(engine.ports.ledger.faults().map((fault) => `${fault.medium} ${fault.path}`));
  return cards.flatMap(({ row: { id }, name, news }) => {
    if (present.has(id)) return [];
    const files = news.filter((path) => !failed.has(`${id} ${path}`)).length;
    return files > 0 ? [{ id, name, files }] : [];
  });
}

function alertDrive(engine: Engine, trip: KnownTrip, drive: TripDriveState): AlertDrive {
  const { row } = drive;
  const share = engine.ports.ledger.share(trip.id, row?.id ?? ("" as DriveId));
  let files = 0;
  let size = 0;
  if (row !== undefined && drive.present)
    for (const visit of engine.desk.visits) {
      const lacking = visit.unfit.get(row.id);
      const ofTrip = visit.decision?.decision === "trip" && visit.decision.trip === trip.id;
      if (lacking === undefined || !ofTrip) continue;
      files += lacking.files;
      size += lacking.bytes;
    }
  // What a card can't get onto a drive and what another drive can't are the same files, mostly: never counted twice.
  const fromDrives = row === undefined ? undefined : engine.catchUp.unfit.get(row.id);
  if (files === 0 && fromDrives?.trip === trip.id) {
    files = fromDrives.files;
    size = fromDrives.bytes;
  }
  const here = engine.presence.drives.find((each) => each.id === row?.id);
  const room =
    here === undefined ? 0 : engine.bay.freeOf(here) - reserveOf(here.traits.totalBytes, engine.ports.limits);
  return {
    name: drive.name,
    id: row?.id,
    place: drive.place,
    present: drive.present,
    lost: drive.lost,
    away: row === undefined || drive.present ? undefined : millis(Math.max(0, engine.now() - row.lastSeen)),
    holdsFiles: share.holdsFiles,
    owedFiles: share.owedFiles,
    owedBytes: share.owedBytes,
    unfit: files === 0 ? undefined : { files, bytes: bytes(Math.max(0, size - Math.max(0, room))) },
  };
}

function groupFaults(engine: Engine, faults: readonly Fault[]): readonly AlertFault[] {
  const groups = new Map<string, AlertFault & { paths: string[] }>();
  const drives = new Map<string, string>(engine.ports.ledger.drives().map((drive) => [drive.id, drive.name]));
  for (const fault of faults) {
    const key = `${fault.medium} ${fault.code}`;
    const mediumName = drives.get(fault.medium) ?? engine.nameOfCard(fault.medium as CardId);
    const group = groups.get(key) ?? {
      medium: fault.medium,
      mediumName,
      code: fault.code,
      paths: [],
      detail: fault.detail,
    };
    if (fault.path !== "") group.paths.push(printable(fault.path));
    groups.set(key, group);
  }
  return [...groups.values()];
}
