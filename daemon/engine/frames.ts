/**
 * What the outside sees of frames: days, pages of them, one by itself, a few to look at; put together from ledger,
 * presence and sidecars each time they are asked for.
 */

import type { Taken } from "../../shared/camera.ts";
import { rfc3339 } from "../../shared/format.ts";
import type {
  FrameDaysJson,
  FrameFactsJson,
  FrameFileJson,
  FrameJson,
  FramesJson,
  SampleJson,
} from "../../shared/framesApi.ts";
import { type CardId, extensionOf, type FrameId, nameKey, type TripId } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { inSentence, printable } from "../../shared/text.ts";
import { type Count, millis } from "../../shared/units.ts";
import { sampleOf } from "../core/sample.ts";
import type { FrameFileRow, FrameRow, FrameSighting } from "../ports/frameLedger.ts";
import { currentTrip } from "./currentTrip.ts";
import type { KnownTrip } from "./dating.ts";
import type { Engine } from "./engine.ts";
import { isFilm } from "./framePlace.ts";
import type { SidecarNow } from "./ratings.ts";

/** characters. Longest names of files and of what cameras call themselves, as they are shown. */
const nameMost = 1_000;

/** @throws UserMistake when no trip is described, or none has this id */
export function tripOfFrames(engine: Engine, id: string | undefined): KnownTrip {
  const trip = id === undefined ? currentTrip(engine) : engine.tripBook.find(id as TripId);
  if (trip !== undefined) return trip;
  if (id === undefined)
    throw new UserMistake(
      "No trip is described yet.",
      "Describe one on the page, or in a file for `scrubjay trip add FILE`.",
    );
  throw new UserMistake(
    `No trip is known as ${printable(id, 60)}.`,
    "`scrubjay trip list` shows the known ones.",
  );
}

/** @throws UserMistake when no frame has this id */
export function knownFrame(engine: Engine, id: string): FrameRow {
  const [frame] = engine.ports.ledger.frames.byId([id as FrameId]);
  if (frame !== undefined) return frame;
  throw new UserMistake(`No frame is known as ${printable(id, 60)}.`, "Look at the contact sheet again.");
}

export function frameDaysJson(engine: Engine, wanted: string | undefined): FrameDaysJson {
  const { frames } = engine.ports.ledger;
  const { id, profile } = tripOfFrames(engine, wanted);
  const withFrames = frames.trips().flatMap((trip) => engine.tripBook.find(trip) ?? []);
  return {
    trip: { id, name: profile.trip, zone: profile.zone },
    days: frames.days(id),
    trips: withFrames.map((trip) => ({ id: trip.id, name: trip.profile.trip })),
  };
}

export async function framesJson(
  engine: Engine,
  trip: TripId,
  day: string | undefined,
  from: Count,
  most: Count,
): Promise<FramesJson> {
  const { ledger, clock, limits } = engine.ports;
  const page = ledger.frames.page(trip, day, from, most);
  const done = new AbortController();
  const read = engine.ratings.refresh(page).then(() => false);
  const reading = await Promise.race([
    read,
    clock.sleep(millis(limits.ratingsWait), done.signal).then(() => true),
  ]);
  done.abort();
  const ratings = ledger.frames.sidecars(page.map(({ id }) => id));
  return {
    from,
    total: ledger.frames.count(trip, day),
    frames: page.map((frame) => frameJson(engine, frame, ratings.get(frame.id)?.rating)),
    reading,
  };
}

function frameJson(engine: Engine, frame: FrameRow, rating: number | undefined): FrameJson {
  const kinds = frame.files.map((file) => extensionOf(file.path).slice(1)).filter((kind) => kind !== "");
  return {
    id: frame.id,
    stem: printable(frame.stem, nameMost),
    day: frame.day,
    taken: momentOf(frame.taken),
    letter: printable(frame.letter, 10),
    model: printable(frame.model, 100),
    kinds: kinds.map((kind) => printable(kind, 20)),
    film: isFilm(frame),
    rating: rating ?? null,
    looked: frame.fine === undefined ? null : frame.fine ? "fine" : "not-fine",
    picture: engine.pictures.stateOf(frame, "sheet"),
  };
}

/** RFC 3339 with the trip's offset, from the local time that was settled when the frame was filed. */
function momentOf({ instant, local }: Taken): string {
  const asUtc = Date.parse(`${local.slice(0, 19)}Z`);
  const minutes = Math.round((asUtc - Math.floor(instant / 1000) * 1000) / 60_000);
  // Not an offset that any zone ever had: a record that contradicts itself.
  if (!(Math.abs(minutes) < 24 * 60)) return printable(local, 40);
  const two = (value: number): string => String(value).padStart(2, "0");
  const sign = minutes < 0 ? "-" : "+";
  const ahead = Math.abs(minutes);
  return `${local.slice(0, 19)}${sign}${two(Math.floor(ahead / 60))}:${two(ahead % 60)}`;
}

// --- one frame -----------------------------------------------------------------------------------------------------

const basisWords: { readonly [B in Taken["basis"]]: string } = {
  "camera-offset": "the camera's clock, with the offset from UTC that it wrote",
  "body-zone": "the camera's clock, in the zone that the profile gives this body",
  "trip-zone": "the camera's clock, taken for the trip's time",
  "video-utc": "the film's header, which holds UTC",
  "file-time": "the file's own time; the camera wrote none that could be read",
};

export async function frameFactsJson(engine: Engine, id: string): Promise<FrameFactsJson> {
  const frame = knownFrame(engine, id);
  const trip = engine.tripBook.find(frame.trip);
  const [now, exposure] = await Promise.all([engine.ratings.now(frame), engine.pictures.exposure(frame)]);
  const [last] = engine.ports.ledger.frames.sidecars([frame.id]).values();
  const sightings = engine.ports.ledger.frames.sightings(frame.id);
  return {
    ...frameJson(engine, frame, now === undefined ? last?.rating : now.rating),
    serial: printable(frame.serial, 100),
    basis: basisWords[frame.taken.basis],
    camera: printable(frame.taken.camera, 200),
    goal: trip?.profile.goal.copies ?? 0,
    files: frame.files.map((file) => fileJson(engine, file, trip, sightings)),
    facts: exposure.map(({ name, value }) => ({ name, value: printable(value, 200) })),
    sidecar: sidecarJson(now),
    stamp: now?.stamp ?? "",
    notRatable: now === undefined ? whyNot(engine, frame) : engine.ratings.notRatable(frame),
  };
}

function whyNot(engine: Engine, frame: FrameRow): string {
  const why = engine.ratings.notRatable(frame);
  return why === "" ? "The place of its sidecar can't be read now. Look again in a moment." : why;
}

function sidecarJson(now: SidecarNow | undefined): FrameFactsJson["sidecar"] {
  return now?.path === undefined
    ? null
    : { drive: printable(now.drive.name), path: printable(now.path, nameMost) };
}

function fileJson(
  engine: Engine,
  file: FrameFileRow,
  trip: KnownTrip | undefined,
  sightings: readonly FrameSighting[],
): FrameFileJson {
  const { ledger } = engine.ports;
  const zone = trip?.profile.zone ?? "UTC";
  const drives = new Map([...ledger.drives(), ...ledger.lostDrives()].map((drive) => [drive.id, drive.name]));
  const present = new Set(engine.presence.drives.map((drive) => drive.id));
  const shown = sightings.filter(({ original }) => original === file.original);
  const damage = shown.find((each) => each.damage !== "")?.damage ?? "";
  return {
    path: printable(file.path, nameMost),
    bytes: file.size,
    hash: file.hash,
    copies: file.copies.map(({ drive, path, readBack, checked }) => {
      const name = drives.get(drive) ?? drive;
      const place = trip?.profile.drives.find((each) => nameKey(each.name) === nameKey(name))?.place;
      return {
        drive: printable(name),
        place: place === undefined ? null : printable(place),
        present: present.has(drive),
        path: printable(path, nameMost),
        readBack,
        checked: rfc3339(checked, zone),
      };
    }),
    cards: shown.map(({ card, path }) => ({
      name: engine.nameOfCard(card),
      path: printable(path, nameMost),
    })),
    damage: printable(damage, 200),
  };
}

// --- a few to look at ----------------------------------------------------------------------------------------------

export function sampleJson(engine: Engine, trip: TripId, day: string): SampleJson {
  const { frames } = engine.ports.ledger;
  const names = new Map<string, string>();
  const nameOf = (card: CardId): string => {
    const known = names.get(card) ?? inSentence(engine.nameOfCard(card));
    names.set(card, known);
    return known;
  };
  const sample = sampleOf(
    frames.ofDay(trip, day).map(({ id, letter, local, cards }) => ({
      id,
      letter: printable(letter, 10),
      hour: hourOf(local),
      cards: cards.map(nameOf),
    })),
  );
  const rows = new Map(frames.byId(sample.frames.map(({ id }) => id as FrameId)).map((row) => [row.id, row]));
  return {
    day,
    frames: sample.frames.flatMap(({ id, stands }) => {
      const row = rows.get(id as FrameId);
      return row === undefined ? [] : [{ ...frameJson(engine, row, row.rating), stands }];
    }),
    covers: sample.covers,
  };
}

function hourOf(local: string): number | undefined {
  const hour = /^\d{4}-\d\d-\d\dT(\d\d):/.exec(local)?.[1];
  return hour === undefined ? undefined : Number(hour);
}
