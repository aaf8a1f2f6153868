/**
 * What the outside sees: the status document, drives, what the days hold and what happened, put together from ledger and
 * presence each time they are asked for. Nothing is decided here; the sentences come from `core/`. Not its job: cards
 * (`cardBoard.ts`) and alerts (`alertView.ts`).
 */

import type {
  DriveStatusJson,
  HappenedJson,
  HoldingsJson,
  StatusJson,
  TripStatusJson,
  WorkJson,
} from "../../shared/api.ts";
import type { EditsStatusJson } from "../../shared/editsApi.ts";
import { rfc3339 } from "../../shared/format.ts";
import { type CardId, type DriveId, nameKey } from "../../shared/identity.ts";
import { sentences } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { count, millis } from "../../shared/units.ts";
import { boardSentences, notSafe } from "../core/board.ts";
import { cardsJson } from "./cardBoard.ts";
import { currentTrip } from "./currentTrip.ts";
import type { KnownTrip } from "./dating.ts";
import { editsStatus } from "./edits/view.ts";
import type { Engine } from "./engine.ts";
import { drivesOf, type TripDriveState } from "./tripDrives.ts";

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
  // What is home is owed no more.
  const home = takesPart && engine.ports.ledger.archives.isHome(trip.id);
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
    owed: home ? { files: 0, bytes: 0 } : { files: share?.owedFiles ?? 0, bytes: share?.owedBytes ?? 0 },
    holds: { files: share?.holdsFiles ?? 0, bytes: share?.holdsBytes ?? 0 },
    readBack: { direct: share?.direct ?? 0, remount: share?.remount ?? 0, cache: share?.cache ?? 0 },
    lastVerified: share?.lastVerified === undefined ? null : rfc3339(share.lastVerified, zone),
    lastSeen: row === undefined ? null : rfc3339(here === undefined ? row.lastSeen : engine.now(), zone),
  };
}

// --- status --------------------------------------------------------------------------------------------------------

export function statusJson(engine: Engine): StatusJson {
  const { ledger } = engine.ports;
  const trip = currentTrip(engine);
  const zone = trip?.profile.zone ?? "UTC";
  const counted =
    trip === undefined
      ? { frames: 0, files: 0, atGoal: 0 }
      : ledger.totals(trip.id, trip.profile.goal.copies);
  const home = trip !== undefined && ledger.archives.isHome(trip.id);
  const totals = home ? { ...counted, atGoal: counted.frames } : counted;
  const lacking = filesLacking(engine);
  // What someone said is of no concern doesn't stand on the board; `cards` still shows it.
  // What was never put in here isn't this board's either.
  const cards = cardsJson(engine).filter(
    (card) =>
      card.present ||
      (card.dismissed !== true &&
        !isOfHome(engine, card.id) &&
        (card.files > 0 || !isHearsay(engine, card.id))),
  );
  const drives = drivesJson(engine);
  const alerts = ledger.alerts();
  const work = workJson(engine);
  const edits = trip === undefined ? undefined : editsStatus(engine, trip);
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
    edits: home || edits === undefined ? undefined : editsView(trip, edits, drives),
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
    warnings: alerts.filter((alert) => alert.severity === "warning").length,
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
    ...(edits === undefined ? {} : { edits }),
    paused: engine.paused,
    at: rfc3339(engine.now(), zone),
  };
}

function editsView(trip: KnownTrip | undefined, edits: EditsStatusJson, drives: readonly DriveStatusJson[]) {
  const present = new Set(drives.filter((drive) => drive.present).map(({ name }) => name));
  return {
    whole: edits.drives.filter(({ behind }) => behind === 0).length,
    goal: trip?.profile.goal.copies ?? 0,
    behind: edits.drives
      .filter(({ behind }) => behind > 0)
      .map(({ drive, behind }) => ({ name: drive, present: present.has(drive), files: behind })),
  };
}

/** A card that is out and whose trip is home waits for nothing. */
function isOfHome(engine: Engine, id: string): boolean {
  const { ledger } = engine.ports;
  const trip = ledger.card(id as CardId)?.trip;
  return trip !== undefined && ledger.archives.isHome(trip);
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

/** The board's trip by shooting day, and what each drive that takes part holds of it. */
export function holdingsJson(engine: Engine): HoldingsJson {
  const trip = currentTrip(engine);
  const at = rfc3339(engine.now(), trip?.profile.zone ?? "UTC");
  if (trip === undefined) return { trip: null, days: [], at };
  const { frames } = engine.ports.ledger;
  const held = frames.heldByDay(trip.id);
  const drives = drivesOf(engine, trip).map(({ name, row }) => ({ id: row?.id, name: printable(name) }));
  const heldOn = (day: string) =>
    drives.map(({ id, name }) => {
      const share = held.find((each) => each.day === day && each.drive === id);
      return {
        drive: name,
        files: share?.files ?? 0,
        bytes: share?.bytes ?? 0,
        unsure: share?.unsure ?? 0,
      };
    });
  const days = frames.shotByDay(trip.id).map((shot) => ({ ...shot, held: heldOn(shot.day) }));
  return { trip: tripJson(trip), days, at };
}

/** Trips with files that are on fewer drives than their goal. */
function filesLacking(engine: Engine) {
  return engine.tripBook.trips.flatMap(({ id, profile }) => {
    if (engine.ports.ledger.archives.isHome(id)) return [];
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
  const away = engine.tripBook.trips.filter((trip) => !engine.ports.ledger.archives.isHome(trip.id));
  const shares = away.flatMap((trip) =>
    drivesOf(engine, trip).map(({ row }) => engine.ports.ledger.share(trip.id, row?.id ?? ("" as DriveId))),
  );
  return {
    files: shares.reduce((sum, share) => sum + share.owedFiles, 0),
    bytes: shares.reduce((sum, share) => sum + share.owedBytes, 0),
  };
}
