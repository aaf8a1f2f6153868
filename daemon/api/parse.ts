/** The shapes that requests are made of, and what is said of one that has another. */

import { z } from "zod";

/** A request whose shape is wrong; answered with 400. */
export class WrongShape extends Error {}

/** @throws WrongShape */
export function parse<T>(schema: z.ZodType<T>, value: unknown): T {
  const parsed = schema.safeParse(value);
  if (parsed.success) return parsed.data;
  const where = parsed.error.issues.map((issue) => issue.path.join(".") || "the whole").join(", ");
  throw new WrongShape(`This request has the wrong shape: ${where}.`);
}

/** Not empty, without NUL. @param longest characters */
export const text = (longest: number) =>
  z
    .string()
    .min(1)
    .max(longest)
    .refine((value) => !value.includes("\0"));

export const emptyBody = z.strictObject({});
