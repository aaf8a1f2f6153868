/** What the API asks about frames, answered out of engine and ledger. */

import type { FrameId } from "../../shared/identity.ts";
import { printable } from "../../shared/text.ts";
import { count } from "../../shared/units.ts";
import type { FramesFace } from "../api/framesFace.ts";
import type { Engine } from "../engine/engine.ts";
import {
  frameDaysJson,
  frameFactsJson,
  framesJson,
  knownFrame,
  sampleJson,
  tripOfFrames,
} from "../engine/frames.ts";
import { sayLooked } from "../engine/looks.ts";

export function framesFace(engine: Engine): FramesFace {
  const { ledger, pictureCache } = engine.ports;
  return {
    days: (trip) => frameDaysJson(engine, trip),
    frames: (trip, from, most, day) =>
      framesJson(engine, tripOfFrames(engine, trip).id, day, count(from), count(most)),
    frame: (id) => frameFactsJson(engine, id),
    want: (ids, size) => {
      const frames = ledger.frames.byId(ids as readonly FrameId[]);
      engine.pictures.want(frames, size);
      const states = new Map(frames.map((frame) => [frame.id, engine.pictures.stateOf(frame, size)]));
      return { states: ids.map((id) => ({ id, picture: states.get(id as FrameId) ?? "none" })) };
    },
    picture: (id, size) => pictureCache.get(id as FrameId, size),
    rate: async (id, rating, stamp) => {
      const now = await engine.ratings.rate(knownFrame(engine, id), rating, stamp);
      const sidecar = { drive: printable(now.drive.name), path: printable(now.path ?? "", 1_000) };
      return { rating: now.rating ?? null, stamp: now.stamp, sidecar };
    },
    sample: async (trip, day) => sampleJson(engine, tripOfFrames(engine, trip).id, day),
    look: async (id, fine) => sayLooked(engine, knownFrame(engine, id), fine),
  };
}
