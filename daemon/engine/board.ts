/**
 * What the outside sees: alerts, verdicts and the status document, put together from ledger and presence each time
 * they are asked for. Nothing is decided here; the sentences come from `core/`.
 */

import type {
  CardStatusJson,
  DriveStatusJson,
  HappenedJson,
  StatusJson,
  TripStatusJson,
  WorkJson,
} from "../../shared/api.ts";
import type { LossReason } from "../../shared/facts.ts";
import { rfc3339 } from "../../shared/format.ts";
import { type CardId, type DriveId, nameKey, type OriginalId } from "../../shared/identity.ts";
import { type MediumFaultCode, sentences } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { bytes, count, millis } from "../../shared/units.ts";
import type { AlertCard, AlertDrive, AlertFault, AlertView } from "../core/alerts.ts";
import { boardSentences, notSafe } from "../core/board.ts";
import { reserveOf } from "../core/plan.ts";
import { type Verdict, type VerdictDrive, verdictOf } from "../core/verdict.ts";
import type { CardFileState, CardRow, DriveRow, Fault } from "../ports/ledger.ts";
import type { KnownTrip } from "./dating.ts";
import type { Engine } from "./engine.ts";

/** How many lacking files a card names in JSON; the rest is counted. */
const lackingMost = 1_000;

/** A drive of a trip, with what is known of it. */
interface TripDriveState {
  readonly name: string;
  readonly role: DriveStatusJson["role"];
  readonly place: string | undefined;
  readonly row: DriveRow | undefined;
  readonly present: boolean;
  /** The drive of this name was declared lost, and no other took its name. */
  readonly lost: boolean;
}

function drivesOf(engine: Engine, trip: KnownTrip): readonly TripDriveState[] {
  const rows = engine.ports.ledger.drives();
  const lost = new Set(engine.ports.ledger.lostDrives().map((drive) => nameKey(drive.name)));
  const present = new Set(engine.presence.drives.map((drive) => drive.id));
  return trip.profile.drives.map((drive) => {
    const row = rows.find((each) => nameKey(each.name) === nameKey(drive.name));
    return {
      name: drive.name,
      role: drive.role,
      place: drive.place,
      row,
      present: row !== undefined && present.has(row.id),
      lost: row === undefined && lost.has(nameKey(drive.name)),
    };
  });
}

// --- alerts --------------------------------------------------------------------------------------------------------

export function alertView(engine: Engine): AlertView {
  const cards = [...engine.desk.visits].filter((visit) => !visit.card.gone.aborted);
  return {
    trips: engine.tripBook.trips.map((trip) => ({
      id: trip.id,
      name: trip.profile.trip,
      goal: trip.profile.goal,
      cardHasNews: cards.some((visit) => {
        const { decision } = visit;
        return decision?.decision === "trip" && decision.trip === trip.id && hasNews(engine, visit.card.id);
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
    unfinished: unfinishedCards(engine),
    ...alertsOfCards(engine),
    nowhere: nowhereOf(engine),
    spoilt: engine.bay.spoiltRecords(),
  };
}

/** What is the matter with cards whether they are in or not. */
function alertsOfCards(engine: Engine): Pick<AlertView, "damaged" | "withdrawn" | "vanished" | "emptied"> {
  const { ledger } = engine.ports;
  const vanishedFrom = vanishedByCard(engine);
  const rows = ledger.cards().filter((row) => !row.dismissed);
  const named = rows.map((row) => ({ row, id: row.id, name: engine.nameOfCard(row.id) }));
  const damaged = named.map(({ id, name }) => ({
    id,
    name,
    files: ledger
      .cardFiles(id)
      .filter((file) => file.damage !== "" && !file.accepted && file.role !== "leaving")
      .map((file) => ({ path: printable(file.path), why: printable(file.damage, 200) })),
  }));
  const withdrawn = named.flatMap(({ row, id, name }) => {
    const verdict = row.cleared === undefined ? undefined : cardVerdict(engine, id)?.verdict;
    return verdict === undefined || verdict.clear ? [] : [{ id, name, sentence: verdict.sentence }];
  });
  const vanished = named.map(({ id, name }) => ({ id, name, paths: vanishedFrom.get(id) ?? [] }));
  return {
    damaged: damaged.filter((card) => card.files.length > 0),
    withdrawn,
    vanished: vanished.filter((card) => card.paths.length > 0),
    emptied: emptiedCards(engine, rows),
  };
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

/** A formatted card is another one by its identity; by label and size it may be one that went too early. */
function emptiedCards(engine: Engine, rows: readonly CardRow[]): AlertView["emptied"] {
  const present = new Set(engine.presence.cards.map((card) => card.id));
  return engine.desk.visits.flatMap(({ card, survey }) => {
    const empty = survey !== undefined && survey.frames.length === 0;
    if (!empty || card.gone.aborted) return [];
    const others = rows.filter(
      ({ id, label, totalBytes }) =>
        !present.has(id) &&
        label === card.volume.label &&
        totalBytes === card.volume.totalBytes &&
        cardVerdict(engine, id)?.verdict.clear === false,
    );
    if (others.length === 0) return [];
    return [
      {
        id: card.id,
        name: engine.nameOfCard(card.id),
        others: others.map(({ id }) => engine.nameOfCard(id)),
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
function unfinishedCards(engine: Engine): AlertView["unfinished"] {
  const present = new Set(engine.presence.cards.map((card) => card.id));
  const { ledger } = engine.ports;
  const failed = new Set(ledger.faults().map((fault) => `${fault.medium} ${fault.path}`));
  return ledger.cards().flatMap(({ id, dismissed }) => {
    if (dismissed || present.has(id)) return [];
    const open = ledger.cardFiles(id).filter((file) => isNews(file) && !failed.has(`${id} ${file.path}`));
    const files = open.length;
    return files > 0 ? [{ id, name: engine.nameOfCard(id), files }] : [];
  });
}

/** Whether the card holds files that were never read, so that what they will owe isn't known yet. */
function hasNews(engine: Engine, card: CardId): boolean {
  return engine.ports.ledger.cardFiles(card).some(isNews);
}

/** No drive is known to hold it: never read, or read and not written whole. */
export function isNews(file: CardFileState): boolean {
  return file.role !== "leaving" && !file.copied;
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

// --- cards ---------------------------------------------------------------------------------------------------------

export interface CardVerdict {
  readonly name: string;
  readonly files: number;
  readonly states: readonly CardFileState[];
  readonly trip: KnownTrip | undefined;
  readonly verdict: Verdict;
}

/** How a card stands now; undefined for one that was never seen. */
export function cardVerdict(engine: Engine, card: CardId): CardVerdict | undefined {
  const { ledger } = engine.ports;
  const row = ledger.card(card);
  if (row === undefined) return undefined;
  const visit = engine.desk.visitOf(card);
  const states = ledger.cardFiles(card);
  const counting = states.filter((file) => file.role !== "leaving");
  const tripId = visit?.decision?.decision === "trip" ? visit.decision.trip : (row.trip ?? row.assigned);
  const trip = engine.tripBook.trips.find((each) => each.id === tripId);
  const faults = new Map(
    ledger
      .faults()
      .filter((fault) => fault.medium === card)
      .map((fault) => [fault.path, fault.detail]),
  );
  const paths = new Set(states.map((file) => file.path as string));
  // Files may be filed in an earlier trip: each is held to the strictest goal among those concerned.
  const goals = new Set(counting.map((file) => file.trip).filter((id) => id !== undefined));
  const strictest = [...goals].map(
    (id) => engine.tripBook.trips.find((each) => each.id === id)?.profile.goal.copies ?? 0,
  );
  const undecided = visit?.decision !== undefined && visit.decision.decision !== "trip";
  const goal = trip === undefined || undecided ? undefined : Math.max(trip.profile.goal.copies, ...strictest);
  const name = engine.nameOfCard(card);
  const drives: readonly VerdictDrive[] =
    trip === undefined
      ? []
      : drivesOf(engine, trip).map((drive) => ({
          id: drive.row?.id,
          name: drive.name,
          present: drive.present,
          lost: drive.lost,
        }));
  const present = engine.presence.cards.some((each) => each.id === card);
  const lostOn = lostCopies(engine, trip, drives);
  const doubtful = new Set(
    engine.presence.drives.filter(({ id }) => engine.bay.isDoubtful(id)).map((drive) => drive.id),
  );
  const verdict = verdictOf({
    name,
    present,
    surveyed: present ? visit?.survey !== undefined : row.surveyed !== undefined,
    confirmed: !present || visit?.confirmed === true,
    goal: counting.length === 0 ? (goal ?? 0) : goal,
    drives,
    files: counting.map((file) => ({
      path: file.path,
      heldBy: file.drives.filter((drive) => !doubtful.has(drive)),
      unsure: file.unsure,
      known: file.original !== undefined,
      fault: faults.get(file.path),
      damage: file.damage === "" || file.accepted ? undefined : printable(file.damage, 200),
      lostOn: new Map([...lostOn(file), ...[...doubtful].map((drive) => [drive, cantBeRead] as const)]),
    })),
    unreadFolders: [...faults.keys()].filter((path) => !paths.has(path)) as CardFileState["path"][],
    vanished: ledger.vanished().filter((file) => file.card === card).length,
    hearsay: !present && row.surveyed === undefined && states.length === 0 && row.totalBytes === 0,
  });
  return { name, files: counting.length, states, trip, verdict };
}

/** What became of copies of a file, by drive. */
function lostCopies(engine: Engine, trip: KnownTrip | undefined, drives: readonly VerdictDrive[]) {
  const lost = new Map<OriginalId, Map<DriveId, string>>();
  for (const { id } of drives) {
    if (id === undefined || trip === undefined) continue;
    for (const { original, why } of engine.ports.ledger.losses(id, trip.id)) {
      const ofOriginal = lost.get(original) ?? new Map<DriveId, string>();
      lost.set(original, ofOriginal.set(id, lossWords[why]));
    }
  }
  const none: ReadonlyMap<DriveId, string> = new Map();
  return (file: CardFileState) => (file.original === undefined ? none : (lost.get(file.original) ?? none));
}

const cantBeRead = "what it holds can't be looked at now";

const lossWords: { readonly [W in LossReason]: string } = {
  missing: "its copy there is gone",
  damaged: "its copy there is damaged",
  changed: "its copy there was changed by another program",
  moved: "its copy there was moved",
};

export function cardsJson(engine: Engine): readonly CardStatusJson[] {
  const vanished = vanishedByCard(engine);
  return engine.ports.ledger.cards().flatMap((row): CardStatusJson[] => {
    const card = cardVerdict(engine, row.id);
    if (card === undefined) return [];
    const { states, verdict, trip } = card;
    const here = engine.presence.cards.find((each) => each.id === row.id);
    const counting = states.filter((file) => file.role !== "leaving");
    const ofFrames = counting.filter((file) => file.role !== "extra");
    const zone = trip?.profile.zone ?? "UTC";
    return [
      {
        id: row.id,
        label: printable(row.label),
        name: card.name,
        trip: trip?.profile.trip ?? null,
        present: here !== undefined,
        mount: here?.volume.root ?? null,
        files: states.length,
        bytes: counting.reduce((sum, file) => sum + file.size, 0),
        frames: new Set(ofFrames.map((file) => file.frame)).size,
        frameFiles: ofFrames.length,
        extras: counting.length - ofFrames.length,
        leavings: states
          .filter((file) => file.role === "leaving")
          .map((file) => ({ path: printable(file.path), why: file.why })),
        damaged: counting
          .filter((file) => file.damage !== "")
          .map(({ path, damage, accepted }) => ({
            path: printable(path, 1_000),
            why: printable(damage, 200),
            accepted,
          })),
        vanished: vanished.get(row.id) ?? [],
        undated: (engine.desk.visitOf(row.id)?.undated ?? []).map((path) => printable(path)),
        held: trip === undefined ? [] : drivesOf(engine, trip).map((drive) => heldOf(drive, counting)),
        dismissed: row.dismissed,
        clear: verdict.clear,
        verdict: verdict.sentence,
        judgedAt: rfc3339(engine.now(), zone),
        lacking: verdict.lacking
          .slice(0, lackingMost)
          .map((file) => ({ ...file, path: printable(file.path, 1_000) })),
        lackingTotal: verdict.lacking.length,
        lastSeen: rfc3339(row.lastSeen, zone),
      },
    ];
  });
}

function vanishedByCard(engine: Engine): ReadonlyMap<CardId, readonly string[]> {
  const byCard = new Map<CardId, string[]>();
  for (const { card, path } of engine.ports.ledger.vanished())
    byCard.set(card, [...(byCard.get(card) ?? []), printable(path, 1_000)]);
  return byCard;
}

function heldOf(drive: TripDriveState, files: readonly CardFileState[]) {
  const id = drive.row?.id;
  const held = id === undefined ? [] : files.filter((file) => file.drives.includes(id));
  const unsure = id === undefined ? [] : held.filter((file) => file.unsure.includes(id));
  return { drive: printable(drive.name), files: held.length, unsure: unsure.length };
}

// --- drives --------------------------------------------------------------------------------------------------------

export function drivesJson(engine: Engine): readonly DriveStatusJson[] {
  const trip = currentTrip(engine);
  const zone = trip?.profile.zone ?? "UTC";
  const named = trip === undefined ? [] : drivesOf(engine, trip);
  const ids = new Set(named.map((drive) => drive.row?.id));
  const others = engine.ports.ledger
    .drives()
    .filter((row) => !ids.has(row.id))
    .map((row): TripDriveState => {
      const present = engine.presence.drives.some((drive) => drive.id === row.id);
      return { name: row.name, role: null, place: undefined, row, present, lost: false };
    });
  const names = new Set([...named, ...others].map((drive) => nameKey(drive.name)));
  const lost = engine.ports.ledger
    .lostDrives()
    .filter(({ name }) => !names.has(nameKey(name)))
    .map(
      ({ name }): TripDriveState => ({
        name,
        role: null,
        place: undefined,
        row: undefined,
        present: false,
        lost: true,
      }),
    );
  return [...named, ...others, ...lost].map((drive) => driveJson(engine, drive, trip, zone));
}

function driveJson(
  engine: Engine,
  drive: TripDriveState,
  trip: KnownTrip | undefined,
  zone: string,
): DriveStatusJson {
  const { row } = drive;
  const here = engine.presence.drives.find((each) => each.id === row?.id);
  const takesPart = trip !== undefined && drive.role !== null;
  const share = takesPart ? engine.ports.ledger.share(trip.id, row?.id ?? ("" as DriveId)) : undefined;
  return {
    id: row?.id ?? null,
    name: printable(drive.name),
    role: drive.role,
    place: drive.place === undefined ? null : printable(drive.place),
    present: here !== undefined,
    lost: drive.lost,
    mount: here?.volume.root ?? null,
    freeBytes: here === undefined ? null : engine.bay.freeOf(here),
    totalBytes: here?.traits.totalBytes ?? null,
    owed: { files: share?.owedFiles ?? 0, bytes: share?.owedBytes ?? 0 },
    holds: { files: share?.holdsFiles ?? 0, bytes: share?.holdsBytes ?? 0 },
    readBack: { direct: share?.direct ?? 0, remount: share?.remount ?? 0, cache: share?.cache ?? 0 },
    lastVerified: share?.lastVerified === undefined ? null : rfc3339(share.lastVerified, zone),
    lastSeen: row === undefined ? null : rfc3339(here === undefined ? row.lastSeen : engine.now(), zone),
  };
}

// --- status --------------------------------------------------------------------------------------------------------

/** The trip of today, else the one that was copied to last, else the next one. */
export function currentTrip(engine: Engine): KnownTrip | undefined {
  const today = (trip: KnownTrip): string => rfc3339(engine.now(), trip.profile.zone).slice(0, 10);
  const running = engine.tripBook.trips.find(
    (trip) => trip.profile.from <= today(trip) && today(trip) <= trip.profile.to,
  );
  if (running !== undefined) return running;
  const latest = engine.ports.ledger.latestTripWithOriginals();
  const used = engine.tripBook.trips.find((trip) => trip.id === latest);
  if (used !== undefined) return used;
  const byStart = [...engine.tripBook.trips].sort((a, b) => (a.profile.from < b.profile.from ? -1 : 1));
  return byStart.find((trip) => trip.profile.from > today(trip)) ?? byStart.at(-1);
}

export function statusJson(engine: Engine): StatusJson {
  const { ledger } = engine.ports;
  const trip = currentTrip(engine);
  const zone = trip?.profile.zone ?? "UTC";
  const totals =
    trip === undefined
      ? { frames: 0, files: 0, atGoal: 0 }
      : ledger.totals(trip.id, trip.profile.goal.copies);
  const lacking = filesLacking(engine);
  // What someone said is of no concern doesn't stand on the board; `cards` still shows it.
  // What was never put in here isn't this board's either.
  const cards = cardsJson(engine).filter(
    (card) => card.present || (card.dismissed !== true && (card.files > 0 || !isHearsay(engine, card.id))),
  );
  const drives = drivesJson(engine);
  const alerts = ledger.alerts();
  const work = workJson(engine);
  const sentencesOfBoard = boardSentences({
    tripDescribed: trip !== undefined,
    frames: { total: totals.frames, atGoal: totals.atGoal },
    filesLacking: lacking.reduce((sum, each) => sum + each.files, 0),
    otherTrip: lacking.find((each) => each.id !== trip?.id),
    cards,
    drives: drives
      .filter((drive) => drive.role !== null)
      .map((drive) => ({
        name: drive.name,
        introduced: drive.id !== null,
        lost: drive.lost === true,
        present: drive.present,
        owedFiles: drive.owed.files,
      })),
    work:
      work === undefined
        ? undefined
        : {
            kind: work.kind,
            from: work.from,
            left: work.secondsLeft === null ? undefined : millis(work.secondsLeft * 1000),
          },
    paused: engine.paused,
    urgent: alerts.find((alert) => alert.severity === "urgent")?.next,
  });
  return {
    trip: trip === undefined ? null : tripJson(trip),
    ...sentencesOfBoard,
    safe: sentencesOfBoard.headline !== notSafe,
    frames: { total: totals.frames, files: totals.files, atGoal: totals.atGoal },
    drives,
    cards,
    work: work === undefined ? [] : [work],
    alerts: alerts.map(({ code, severity, about, happened, safe, next, since }) => ({
      code,
      severity,
      about: printable(about),
      text: sentences({ happened, safe, next }),
      happened,
      safe,
      next,
      since: rfc3339(since, zone),
    })),
    paused: engine.paused,
    at: rfc3339(engine.now(), zone),
  };
}

function isHearsay(engine: Engine, id: string): boolean {
  const row = engine.ports.ledger.card(id as CardId);
  return row?.surveyed === undefined && row?.totalBytes === 0;
}

/** What happened, latest first; names of drives and cards in place of their ids. */
export function happenedJson(engine: Engine, before: number | undefined): readonly HappenedJson[] {
  const { ledger, limits } = engine.ports;
  const zone = currentTrip(engine)?.profile.zone ?? "UTC";
  const drives = [...ledger.drives(), ...ledger.lostDrives()];
  const names = new Map<string, string>(drives.map((drive) => [drive.id, drive.name]));
  for (const card of ledger.cards()) names.set(card.id, engine.nameOfCard(card.id));
  return ledger.events(before, count(limits.eventsMost)).map(({ number, at, kind, about, text }) => {
    const name = names.get(about);
    const said = name === undefined ? text : `${name}: ${text}`;
    return { number, at: rfc3339(at, zone), kind, text: printable(said, 2_000) };
  });
}

/** Trips with files that are on fewer drives than their goal. */
function filesLacking(engine: Engine) {
  return engine.tripBook.trips.flatMap(({ id, profile }) => {
    const { files, filesAtGoal } = engine.ports.ledger.totals(id, profile.goal.copies);
    return files > filesAtGoal ? [{ id, name: profile.trip, files: files - filesAtGoal }] : [];
  });
}

function tripJson(trip: KnownTrip): TripStatusJson {
  const { trip: name, code, from, to, zone, goal } = trip.profile;
  return { id: trip.id, name, code, from, to, zone, goal };
}

function workJson(engine: Engine): WorkJson | undefined {
  const { work } = engine;
  if (work === undefined) return undefined;
  const steady = engine.ports.clock.steady();
  return {
    kind: work.kind,
    from: printable(work.from),
    to: work.to.map((name) => printable(name)),
    doneBytes: work.progress.doneBytes,
    totalBytes: work.progress.totalBytes,
    bytesPerSecond: work.progress.bytesPerSecond(steady),
    secondsLeft: work.progress.secondsLeft(steady) ?? null,
  };
}

/** What the drives of all trips owe, plugged in or not. */
export function owedOfTrips(engine: Engine): { readonly files: number; readonly bytes: number } {
  const shares = engine.tripBook.trips.flatMap((trip) =>
    drivesOf(engine, trip).map(({ row }) => engine.ports.ledger.share(trip.id, row?.id ?? ("" as DriveId))),
  );
  return {
    files: shares.reduce((sum, share) => sum + share.owedFiles, 0),
    bytes: shares.reduce((sum, share) => sum + share.owedBytes, 0),
  };
}

/** How many cards are not clear: those that are in, and those that went with files that no drive has. */
export function unclearCards(engine: Engine): number {
  const present = new Set(engine.presence.cards.map((card) => card.id));
  const concerned = engine.ports.ledger
    .cards()
    .filter(({ id, dismissed }) => present.has(id) || (!dismissed && hasNews(engine, id)));
  return concerned.filter(({ id }) => cardVerdict(engine, id)?.verdict.clear !== true).length;
}
