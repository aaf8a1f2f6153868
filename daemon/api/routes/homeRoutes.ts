/** The API's routes about homecomings, and freeing drives after one. */

import type { FastifyInstance } from "fastify";
import { z } from "zod";
import type { HomeFace } from "../homeFace.ts";
import { parse, text } from "../parse.ts";

/** characters. Longer than any path a system takes (Linux PATH_MAX 4096). */
const folderMost = 4_096;

export function addHomeRoutes(server: FastifyInstance, face: HomeFace): void {
  server.get("/v1/homecoming", async (request) => {
    const { trip } = parse(homeQuery, request.query);
    return face.state(trip);
  });
  server.post("/v1/homecoming", async (request) => {
    const { trip, to, rehearsal, history } = parse(homeBody, request.body);
    return face.begin({ trip, to, rehearsal: rehearsal === true, history: history === true });
  });
  server.post("/v1/homecoming/stop", async () => {
    face.stop();
    return {};
  });
  server.post("/v1/drives/retire", async (request) => face.retire(parse(retireBody, request.body).name));
}

const homeQuery = z.strictObject({ trip: text(200).optional() });
const homeBody = z.strictObject({
  trip: text(200).optional(),
  to: text(folderMost).optional(),
  rehearsal: z.boolean().optional(),
  history: z.boolean().optional(),
});
const retireBody = z.strictObject({ name: text(200) });
