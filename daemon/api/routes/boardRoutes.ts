/** The API's routes about the board, cards and drives: shapes checked here, answered by the face. */

import type { FastifyInstance, FastifyReply } from "fastify";
import { z } from "zod";
import { millis } from "../../../shared/units.ts";
import type { BoardFace } from "../face.ts";
import { emptyBody, parse, text } from "../parse.ts";

/** How many drives are rebuilt from at once. */
const mountsMost = 20;
/** bytes. As many mount paths. */
const mountsBytesMax = mountsMost * 16 * 1024;
/** seconds. A day; a caller who wants longer asks again. */
const waitSecondsMax = 86_400;
/** seconds when the caller says none. */
const waitSecondsDefault = 600;

export function addBoardRoutes(server: FastifyInstance, face: BoardFace, stopping: AbortSignal): void {
  server.get("/v1/status", async () => face.status());
  server.get("/v1/cards", async () => face.cards());
  server.get("/v1/drives", async () => face.drives());
  server.get("/v1/holdings", async () => face.holdings());
  server.get("/v1/happened", async (request) => {
    const { before } = parse(happenedQuery, request.query);
    return face.happened(before);
  });

  server.post("/v1/drives", async (request) => {
    const { mount, name } = parse(driveBody, request.body);
    return face.addDrive(mount, name);
  });
  server.post("/v1/cards/:id/trip", async (request) => {
    const { id } = parse(cardParams, request.params);
    const { trip } = parse(tripBody, request.body);
    await face.assignCard(id, trip);
    return {};
  });
  server.post("/v1/cards/:id/dismiss", async (request) => {
    const { id } = parse(cardParams, request.params);
    parse(emptyBody, request.body);
    return face.dismissCard(id);
  });
  server.post("/v1/cards/:id/accept", async (request) => {
    const { id } = parse(cardParams, request.params);
    const { path } = parse(pathBody, request.body);
    return face.acceptDamage(id, path);
  });
  server.post("/v1/drives/lose", async (request) => {
    const { name } = parse(nameBody, request.body);
    return face.loseDrive(name);
  });
  server.post("/v1/scrub", async (request, reply) => {
    const { drive } = parse(scrubBody, request.body);
    return face.scrub(drive ?? undefined, goneOrStopping(reply, stopping));
  });
  server.post("/v1/rebuild", { bodyLimit: mountsBytesMax }, async (request) => {
    const { mounts, owner } = parse(rebuildBody, request.body);
    return face.rebuild(mounts, owner ?? undefined);
  });
  server.post("/v1/eject", async (request) => {
    const { name } = parse(nameBody, request.body);
    return face.eject(name);
  });
  server.post("/v1/pause", async (request) => {
    parse(emptyBody, request.body);
    await face.pause();
    return {};
  });
  server.post("/v1/continue", async (request) => {
    parse(emptyBody, request.body);
    await face.goOn();
    return {};
  });
  server.post("/v1/refresh", async (request) => {
    parse(emptyBody, request.body);
    await face.refresh();
    return {};
  });
  server.get("/v1/wait", async (request, reply) => {
    const { timeout } = parse(waitQuery, request.query);
    return face.wait(millis(Math.round(timeout * 1000)), goneOrStopping(reply, stopping));
  });
}

const driveBody = z.strictObject({ mount: text(4096), name: text(200) });
const cardParams = z.strictObject({ id: text(100) });
const tripBody = z.strictObject({ trip: text(200) });
const nameBody = z.strictObject({ name: text(200) });
const pathBody = z.strictObject({ path: text(4096) });
const scrubBody = z.strictObject({ drive: text(200).nullable() });
const rebuildBody = z.strictObject({
  mounts: z.array(text(4096)).min(1).max(mountsMost),
  owner: text(200).nullable(),
});
const happenedQuery = z.strictObject({
  before: z
    .string()
    .regex(/^\d{1,15}$/)
    .transform(Number)
    .optional(),
});
const waitQuery = z.strictObject({
  timeout: z
    .string()
    .regex(/^\d{1,6}(\.\d{1,3})?$/)
    .transform(Number)
    .refine((seconds) => seconds <= waitSecondsMax)
    .default(waitSecondsDefault),
});

/** Aborts when the caller went away or the daemon stops: nobody waits for the answer any longer. */
function goneOrStopping(reply: FastifyReply, stopping: AbortSignal): AbortSignal {
  const gone = new AbortController();
  reply.raw.on("close", () => gone.abort());
  return AbortSignal.any([gone.signal, stopping]);
}
