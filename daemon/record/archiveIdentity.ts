/**
 * `archive.json`: which archive a folder is. Written once, at the first homecoming into it. It names the file system it
 * was written to, so that an empty mount point, or another disk mounted there, isn't taken for the archive.
 */

import { z } from "zod";

export interface ArchiveIdentity {
  /** 32 hex digits. */
  readonly id: string;
  /** The file system's own identity when this was written; "" where it had none. */
  readonly fsId: string;
  /** RFC 3339, UTC. */
  readonly made: string;
}

const shape = z.object({
  scrubjay: z.literal("archive"),
  version: z.literal(1),
  id: z.string().regex(/^[0-9a-f]{32}$/),
  fsId: z.string().max(1_000),
  made: z.string().max(40),
});

export function writeArchiveIdentity(identity: ArchiveIdentity): Uint8Array {
  const text = JSON.stringify({ scrubjay: "archive", version: 1, ...identity }, undefined, 2);
  return new TextEncoder().encode(`${text}\n`);
}

/** The identity, or undefined where the bytes aren't one. */
export function readArchiveIdentity(content: Uint8Array): ArchiveIdentity | undefined {
  let value: unknown;
  try {
    value = JSON.parse(new TextDecoder("utf-8", { fatal: true }).decode(content));
  } catch {
    return undefined;
  }
  const parsed = shape.safeParse(value);
  if (!parsed.success) return undefined;
  const { id, fsId, made } = parsed.data;
  return { id, fsId, made };
}
