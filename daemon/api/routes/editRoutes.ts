/** The API's routes about work files: what there is, its versions, putting one back, and conflicts. */

import type { FastifyInstance } from "fastify";
import { z } from "zod";
import type { EditsFace } from "../editsFace.ts";
import { parse, text } from "../parse.ts";

/** files. So many are told of at once. */
const filesMost = 500;
/** characters. A path below a trip's folder has at most 1,000 bytes. */
const pathMost = 1_000;

export function addEditRoutes(server: FastifyInstance, face: EditsFace): void {
  server.get("/v1/edits", async (request) => {
    const { trip, from, most } = parse(editsQuery, request.query);
    return face.edits(trip, from, most);
  });
  server.get("/v1/edits/versions", async (request) => {
    const { trip, path } = parse(versionsQuery, request.query);
    return face.versions(trip, path);
  });
  server.post("/v1/edits/restore", async (request) => {
    const { trip, path, at } = parse(restoreBody, request.body);
    return face.restore(trip, path, at);
  });
  server.get("/v1/edits/conflicts/:id", async (request) => {
    const { id } = parse(conflictParams, request.params);
    return face.conflict(id);
  });
  server.post("/v1/edits/conflicts/:id/seen", async (request) => {
    const { id } = parse(conflictParams, request.params);
    face.seen(id);
    return {};
  });
}

const whole = z
  .string()
  .regex(/^\d{1,9}$/)
  .transform(Number);
const editsQuery = z.strictObject({
  trip: text(200).optional(),
  from: whole,
  most: whole.refine((most) => most >= 1 && most <= filesMost),
});
const versionsQuery = z.strictObject({ trip: text(200).optional(), path: text(pathMost) });
const restoreBody = z.strictObject({ trip: text(200).optional(), path: text(pathMost), at: text(40) });
const conflictParams = z.strictObject({ id: z.string().regex(/^[0-9a-f]{16}$/) });
