/**
 * Real frames on which the names of a profile can be tried: those filed in its trip, else those of cards that are in.
 * Reads what is known already; no card and no drive is touched.
 */

import type { CameraFacts, Taken } from "../../shared/camera.ts";
import type { Fact, FrameOfOriginal, OriginalFact } from "../../shared/facts.ts";
import type { CardId, FrameId, OriginalId, TripId } from "../../shared/identity.ts";
import { baseName, extensionOf, type RelativePath } from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { groupFrames, mainFile } from "../core/cardLayout.ts";
import { kindOfFile } from "../core/fileKinds.ts";
import type { TriedFrame } from "../core/profileExamples.ts";
import type { Engine } from "./engine.ts";
import type { CardVisit } from "./visits.ts";

/** Frames kept of each body and day; the others wouldn't show anything new. */
const perBodyAndDay = 2;
/** Frames kept in all. */
const most = 60;

/** Frames filed in the trip; none where there are none yet. */
export function filedFrames({ ports }: Engine, trip: TripId): readonly TriedFrame[] {
  const chosen = new Map<OriginalId, OriginalFact & { readonly frame: FrameOfOriginal }>();
  const frames = new Set<FrameId>();
  const kinds = new Map<string, number>();
  const paths = new Map<OriginalId, { readonly card: CardId; readonly path: RelativePath }>();
  const numbers = new Map<CardId, number>();
  for (const { json } of ports.ledger.factsOf(trip)) {
    const fact = JSON.parse(json) as Fact;
    if (fact.kind === "card") numbers.set(fact.card, fact.number);
    if (fact.kind === "sighting" && chosen.has(fact.original)) paths.set(fact.original, fact);
    if (fact.kind !== "original" || fact.role !== "frame" || fact.frame === undefined) continue;
    const { frame } = fact;
    const kind = `${frame.serial} ${frame.taken.day}`;
    const known = kinds.get(kind) ?? 0;
    if (frames.has(frame.id) || known >= perBodyAndDay || chosen.size >= most) continue;
    frames.add(frame.id);
    kinds.set(kind, known + 1);
    chosen.set(fact.original, { ...fact, frame });
  }
  return [...chosen.values()].map(({ original, path, frame }) => {
    const seen = paths.get(original);
    return filedFrame(seen?.path ?? path, path, frame, numbers.get(seen?.card ?? ("" as CardId)));
  });
}

/** @param seen its path on the card, where that is known */
function filedFrame(
  seen: RelativePath,
  path: RelativePath,
  { taken, serial, model, count }: FrameOfOriginal,
  card: number | undefined,
): TriedFrame {
  const [onCard] = groupFrames([{ path: seen, size: bytes(0) }]).frames;
  const extension = extensionOf(path);
  const base = baseName(seen);
  return {
    facts: { serial, model, ...saidOf(taken) },
    kind: kindOfFile(extension) === "video" ? "video" : "still",
    modified: instant(taken.instant),
    number: onCard?.number ?? "",
    original: onCard?.stem ?? base.slice(0, base.length - extensionOf(base).length),
    extension,
    card: String(card ?? 0),
    count: count === 0 ? undefined : count,
  };
}

/** The camera's own words as it gave them, so that another zone or clock can be tried on them. */
function saidOf({ basis, camera }: Taken): CameraFacts {
  if (basis === "file-time") return {};
  return basis === "video-utc" ? { mediaCreateDate: camera } : { dateTimeOriginal: camera };
}

/** Frames of the cards that are in, as far as their cameras were asked. */
export function framesOnCards(engine: Engine): readonly TriedFrame[] {
  return engine.desk.visits.flatMap((visit) => framesOf(engine, visit)).slice(0, most);
}

function framesOf({ ports }: Engine, { survey, facts, card }: CardVisit): readonly TriedFrame[] {
  const frames = survey?.frames.filter((frame) => facts.has(frame.key)) ?? [];
  const number = ports.ledger.card(card.id)?.number ?? 0;
  // Spread over the whole card, since its days follow each other.
  const step = Math.max(1, Math.ceil(frames.length / (most / 2)));
  return frames
    .filter((_, index) => index % step === 0)
    .map((frame) => {
      const { path } = mainFile(frame);
      const extension = extensionOf(path);
      return {
        facts: facts.get(frame.key),
        kind: kindOfFile(extension) === "video" ? "video" : "still",
        modified: survey?.files.get(path)?.modified ?? instant(0),
        number: frame.number,
        original: frame.stem,
        extension,
        card: String(number),
        count: undefined,
      };
    });
}
