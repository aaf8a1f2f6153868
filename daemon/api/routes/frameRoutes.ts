/** The API's routes about frames: the contact sheet, one frame, its pictures, rating and looking. */

import type { FastifyInstance } from "fastify";
import { z } from "zod";
import type { RefusalJson } from "../../../shared/api.ts";
import type { FramesFace } from "../framesFace.ts";
import { parse, text } from "../parse.ts";

/** frames. So many are told of, or asked to be made, at once. */
const framesMost = 500;
/** characters. A frame's id is shorter; those in other computers' records are bounded by this. */
const idMost = 200;
/** bytes. As many ids, each character escaped. */
const pictureBytesMax = framesMost * (idMost * 6 + 3) + 1_000;
/** Frames' ids mean one frame for good, so what was shown of one may be shown again: by this browser only, for a day. */
const pictureHeaders = { "content-type": "image/jpeg", "cache-control": "private, max-age=86400" } as const;

export function addFrameRoutes(server: FastifyInstance, face: FramesFace): void {
  server.get("/v1/frame-days", async (request) => {
    const { trip } = parse(daysQuery, request.query);
    return face.days(trip);
  });
  server.get("/v1/frames", async (request) => {
    const { trip, from, most, day } = parse(framesQuery, request.query);
    return face.frames(trip, from, most, day);
  });
  server.get("/v1/frames/:id", async (request) => {
    const { id } = parse(frameParams, request.params);
    return face.frame(id);
  });
  server.get("/v1/frames/:id/picture", async (request, reply) => {
    const { id } = parse(frameParams, request.params);
    const { size } = parse(pictureQuery, request.query);
    const jpeg = await face.picture(id, size);
    if (jpeg === undefined) return reply.code(404).send(noPicture);
    return reply.headers(pictureHeaders).send(Buffer.from(jpeg.buffer, jpeg.byteOffset, jpeg.byteLength));
  });
  server.post("/v1/pictures", { bodyLimit: pictureBytesMax }, async (request) => {
    const { frames, size } = parse(picturesBody, request.body);
    return face.want(frames, size);
  });
  server.post("/v1/frames/:id/rate", async (request) => {
    const { id } = parse(frameParams, request.params);
    const { rating, stamp } = parse(rateBody, request.body);
    return face.rate(id, rating, stamp);
  });
  server.post("/v1/frames/:id/look", async (request) => {
    const { id } = parse(frameParams, request.params);
    const { fine } = parse(lookBody, request.body);
    await face.look(id, fine);
    return {};
  });
  server.get("/v1/frame-sample", async (request) => {
    const { trip, day } = parse(sampleQuery, request.query);
    return face.sample(trip, day);
  });
}

const noPicture: RefusalJson = {
  error: {
    message: "There is no picture of this frame, or none yet.",
    next: "Ask for it to be made; where no drive with the frame is here, plug one in.",
    exit: 1,
  },
};

const whole = z
  .string()
  .regex(/^\d{1,9}$/)
  .transform(Number);
const size = z.enum(["sheet", "large"]);
/** A civil date, or "" for frames of none. */
const day = z.string().regex(/^(\d{4}-\d{2}-\d{2})?$/);

const daysQuery = z.strictObject({ trip: text(200).optional() });
const framesQuery = z.strictObject({
  trip: text(200),
  from: whole,
  most: whole.refine((most) => most >= 1 && most <= framesMost),
  day: day.optional(),
});
const frameParams = z.strictObject({ id: text(idMost) });
const pictureQuery = z.strictObject({ size });
const picturesBody = z.strictObject({ frames: z.array(text(idMost)).max(framesMost), size });
/** -1 rejected, 0 to 5 (ISO 16684-1, xmp:Rating). The stamp names the sidecar that was shown, "" for none. */
const rateBody = z.strictObject({
  rating: z.number().int().min(-1).max(5),
  stamp: z.string().regex(/^([0-9a-f]{16}-\d{1,9})?$/),
});
const lookBody = z.strictObject({ fine: z.boolean() });
const sampleQuery = z.strictObject({ trip: text(200), day });
