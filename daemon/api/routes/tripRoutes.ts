/** The API's routes about trips as they are described, and about volumes that may become drives. */

import type { FastifyInstance } from "fastify";
import { z } from "zod";
import { parse, text } from "../parse.ts";
import type { TripsFace } from "../tripsFace.ts";

/** Characters. Twice what a profile may have, so that one that is too long is told so by its own fault. */
const longestText = 200_000;
/** bytes. Such a text as JSON: most are ASCII, and each character that isn't takes up to three bytes. */
const textBytesMax = 640 * 1024;
/** Changes of a form that are sent together. */
const changesMost = 200;
/** Characters of one value; what is longer than a value may be is told so by its fault. */
const longestValue = 5_000;

export function addTripRoutes(server: FastifyInstance, face: TripsFace): void {
  const withText = { bodyLimit: textBytesMax };
  server.get("/v1/trips", async () => face.entries());
  server.post("/v1/trips/check", withText, async (request) => {
    const { text: profile, trip } = parse(checkBody, request.body);
    return face.check(profile, trip ?? undefined);
  });
  server.post("/v1/trips/edit", withText, async (request) => {
    const { text: profile, changes } = parse(editBody, request.body);
    return { text: face.edit(profile, changes) };
  });
  server.post("/v1/trips/begin", async (request) => {
    const { copyOf } = parse(beginBody, request.body);
    return { text: await face.begin(copyOf ?? undefined) };
  });
  server.post("/v1/trips", withText, async (request) => {
    const { trip, stamp, text: profile } = parse(saveBody, request.body);
    return face.save(trip ?? undefined, stamp ?? undefined, profile);
  });
  server.get("/v1/volumes", async () => face.volumes());
}

/** May be empty, unlike names. NUL is in no YAML document (YAML 1.2.2, 5.1). */
const free = (longest: number) =>
  z
    .string()
    .max(longest)
    .refine((value) => !value.includes("\0"));

const tripId = text(100);
const change = z.strictObject({
  key: text(200),
  value: z.union([free(longestValue), z.boolean(), z.null()]),
});
const checkBody = z.strictObject({ text: free(longestText), trip: tripId.nullable() });
const editBody = z.strictObject({ text: free(longestText), changes: z.array(change).max(changesMost) });
const beginBody = z.strictObject({ copyOf: tripId.nullable() });
const saveBody = z.strictObject({
  trip: tripId.nullable(),
  stamp: z
    .string()
    .regex(/^[0-9a-f]{64}$/)
    .nullable(),
  text: free(longestText),
});
