/**
 * When and by which body the frames of a card were taken, to which trip the card belongs, and what its frames want to
 * be called. Reads headers only, and only of frames that have something new.
 */

import { assert } from "../../shared/brand.ts";
import type { CameraFacts, Taken } from "../../shared/camera.ts";
import { type Day, extensionOf, type RelativePath, type TripId, under } from "../../shared/identity.ts";
import type { TripProfile } from "../../shared/trip.ts";
import { instant } from "../../shared/units.ts";
import { assignLetters } from "../core/bodies.ts";
import { type CardFrame, mainFile } from "../core/cardLayout.ts";
import { kindOfFile } from "../core/fileKinds.ts";
import type { WantedFrame } from "../core/filing.ts";
import { stemIn } from "../core/filing.ts";
import { finishPart } from "../core/safeName.ts";
import { compareTaken, whenTaken } from "../core/taken.ts";
import { expand, parseTemplate, type Template } from "../core/template.ts";
import { type CardDay, type TripDecision, tripOfCard } from "../core/tripOfCard.ts";
import type { EnginePorts } from "./ports.ts";
import type { PresentCard } from "./presence.ts";
import type { Survey } from "./survey.ts";

/** A trip that is described and sound. */
export interface KnownTrip {
  readonly id: TripId;
  /** Its folder on every drive. */
  readonly folder: string;
  readonly profile: TripProfile;
}

/** What cameras say about the frames of a card, by the frame's key; gathered once a visit. */
export type CardFacts = Map<string, CameraFacts | undefined>;

/** Asks for the facts of `frames` that aren't there yet. Stops early when the card goes. */
export async function gatherFacts(
  ports: EnginePorts,
  card: PresentCard,
  frames: readonly CardFrame[],
  facts: CardFacts,
): Promise<void> {
  const open = frames.filter((frame) => !facts.has(frame.key));
  const size = ports.limits.metadataBatch;
  for (let at = 0; at < open.length && !card.gone.aborted; at += size) {
    const batch = open.slice(at, at + size);
    const answers = await readFacts(
      ports,
      card,
      batch.map((frame) => mainFile(frame).path),
    );
    batch.forEach((frame, index) => {
      facts.set(frame.key, answers[index]);
    });
    await askOthers(ports, card, batch, facts);
  }
  nameSilentBodies(frames, facts);
}

/**
 * Films often don't say which body took them. Where every frame of a folder that does say is of one body, a silent one
 * beside them is of that body too: a body begins a folder of its own (DCF; common practice, no source).
 */
export function nameSilentBodies(frames: readonly CardFrame[], facts: CardFacts): void {
  const bodies = new Map<RelativePath, Set<string>>();
  const models = new Map<string, CameraFacts>();
  for (const frame of frames) {
    const said = facts.get(frame.key);
    if (said?.serial === undefined || said.serial === "") continue;
    const serials = bodies.get(frame.folder) ?? new Set();
    bodies.set(frame.folder, serials.add(said.serial));
    models.set(said.serial, said);
  }
  for (const frame of frames) {
    const said = facts.get(frame.key);
    const [only, ...others] = bodies.get(frame.folder) ?? [];
    if ((said?.serial ?? "") !== "" || only === undefined || others.length > 0) continue;
    const { make, model } = models.get(only) ?? {};
    if (said?.model !== undefined && said.model !== model) continue;
    const body = {
      serial: only,
      ...(make === undefined ? {} : { make }),
      ...(model === undefined ? {} : { model }),
    };
    facts.set(frame.key, { ...said, ...body });
  }
}

/** A raw that says nothing may have a picture beside it that does. */
async function askOthers(
  ports: EnginePorts,
  card: PresentCard,
  batch: readonly CardFrame[],
  facts: CardFacts,
): Promise<void> {
  const silent = batch.filter((frame) => !saysWhen(facts.get(frame.key)));
  for (const frame of silent) {
    const others = frame.files.filter((file) => file.role === "frame").slice(1);
    if (others.length === 0) continue;
    const answers = await readFacts(
      ports,
      card,
      others.map((file) => file.path),
    );
    const useful = answers.find(saysWhen);
    if (useful !== undefined) facts.set(frame.key, { ...useful, ...facts.get(frame.key) });
  }
}

function saysWhen(facts: CameraFacts | undefined): boolean {
  return [facts?.dateTimeOriginal, facts?.creationDate, facts?.mediaCreateDate].some(
    (value) => value !== undefined,
  );
}

async function readFacts(ports: EnginePorts, card: PresentCard, paths: readonly RelativePath[]) {
  return ports.metadata.read(paths.map((path) => under(card.volume.root, path)));
}

/** Which trip the card's new frames belong to. */
export function decideTrip(
  survey: Survey,
  frames: readonly CardFrame[],
  facts: CardFacts,
  trips: readonly KnownTrip[],
  assigned: TripId | undefined,
): TripDecision {
  const daysFor = (profile: TripProfile): CardDay[] => {
    const dated = frames.map((frame) => ({ frame, taken: takenOf(survey, frame, facts, profile) }));
    return dated.map(({ frame, taken }) => ({
      day: taken.day as Day,
      serial: facts.get(frame.key)?.serial ?? "",
      files: 1,
      dated: taken.basis !== "file-time",
    }));
  };
  return tripOfCard(daysFor, trips, assigned);
}

export function takenOf(
  survey: Survey,
  frame: CardFrame,
  facts: CardFacts,
  profile: Pick<TripProfile, "bodies" | "zone" | "dayStartsMinutes">,
): Taken {
  const said = facts.get(frame.key);
  const main = mainFile(frame);
  const kind = kindOfFile(extensionOf(main.path)) === "video" ? "video" : "still";
  const body = profile.bodies.find((each) => each.serial === (said?.serial ?? ""));
  const modified = survey.files.get(main.path)?.modified ?? instant(0);
  return whenTaken(said, modified, kind, body, profile.zone, profile.dayStartsMinutes);
}

/** What each frame would be called, by its key on the card; running numbers follow the order of taking. */
export function wantedNames(
  ports: EnginePorts,
  survey: Survey,
  frames: readonly CardFrame[],
  facts: CardFacts,
  trip: KnownTrip,
  cardNumber: number,
): ReadonlyMap<string, WantedFrame> {
  const { profile } = trip;
  const folders = template(profile.folders);
  const names = template(profile.names);
  const dated = frames
    .map((frame) => ({ frame, taken: takenOf(survey, frame, facts, profile) }))
    .sort((a, b) => compareTaken(a.taken, b.taken) || (a.frame.key < b.frame.key ? -1 : 1));
  const serials = dated.map(({ frame }) => facts.get(frame.key)?.serial ?? "");
  const letters = assignLetters(profile.bodies, ports.ledger.letters(trip.id), serials);
  const counts = new Map(ports.ledger.countsByDay(trip.id));
  const wanted = new Map<string, WantedFrame>();
  for (const { frame, taken } of dated) {
    const said = facts.get(frame.key);
    const serial = said?.serial ?? "";
    const letter = letters.get(serial) ?? "";
    const count = (counts.get(taken.day) ?? 0) + 1;
    counts.set(taken.day, count);
    const values = {
      trip: profile.trip,
      code: profile.code,
      day: taken.day,
      taken: taken.local,
      body: letter,
      serial,
      model: said?.model ?? "",
      number: frame.number,
      original: frame.stem,
      count,
      card: String(cardNumber),
    };
    // The first folder is the trip's own; it was settled when the trip was first added.
    const folder = expand(folders, values).split("/").slice(1).join("/");
    // Room is left for a number that tells clashing names apart, and for the extension.
    const name = finishPart(expand(names, values), ports.limits.nameBytesMax - 55);
    wanted.set(frame.key, {
      stem: stemIn(folder, name),
      frame: {
        key: cameraKey(said, frame, taken),
        count,
        taken,
        letter,
        serial,
        model: said?.model ?? "",
      },
    });
  }
  return wanted;
}

/** What the camera itself tells frames apart by; "" where that isn't enough to be sure. */
function cameraKey(said: CameraFacts | undefined, frame: CardFrame, taken: Taken): string {
  if (said?.serial === undefined || said.serial === "" || frame.number === "") return "";
  if (taken.basis === "file-time" || taken.camera === "") return "";
  return JSON.stringify([said.model ?? "", said.serial, frame.number, taken.camera]);
}

function template(text: string): Template {
  const parsed = parseTemplate(text);
  assert(parsed.ok, "a profile's templates were checked when it was read");
  return parsed.template;
}
