/**
 * `drive.json`: who a drive is. Written once by `drive add`, never copied from drive to drive. It names the file
 * system it was written to, so that a copied folder isn't taken for the drive itself.
 */

import { z } from "zod";
import type { DriveId } from "../../shared/identity.ts";

export interface DriveIdentity {
  readonly id: DriveId;
  readonly name: string;
  /** The file system's own identity when this was written; "" where it had none. */
  readonly fsId: string;
  /** RFC 3339, UTC. */
  readonly made: string;
  /** Whose drive it is; absent on drives that were introduced before owners were written. */
  readonly owner?: string;
}

const shape = z.object({
  scrubjay: z.literal("drive"),
  version: z.literal(1),
  id: z.string().regex(/^[0-9a-f]{32}$/),
  name: z.string().min(1).max(100),
  fsId: z.string().max(200),
  made: z.string().max(40),
  owner: z
    .string()
    .regex(/^[0-9a-f]{32}$/)
    .optional(),
});

export function writeIdentity(identity: DriveIdentity): Uint8Array {
  const text = JSON.stringify({ scrubjay: "drive", version: 1, ...identity }, undefined, 2);
  return new TextEncoder().encode(`${text}\n`);
}

/** The identity, or undefined where the bytes aren't one. */
export function readIdentity(content: Uint8Array): DriveIdentity | undefined {
  let value: unknown;
  try {
    value = JSON.parse(new TextDecoder("utf-8", { fatal: true }).decode(content));
  } catch {
    return undefined;
  }
  const parsed = shape.safeParse(value);
  if (!parsed.success) return undefined;
  const { id, name, fsId, made, owner } = parsed.data;
  return { id: id as DriveId, name, fsId, made, ...(owner === undefined ? {} : { owner }) };
}
