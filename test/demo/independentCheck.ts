/**
 * Whether the drives hold what the card holds, found out without any of Scrubjay's code, lists or hashes: SHA-256
 * (FIPS 180-4) over every file, by Node's own OpenSSL.
 */

import { createHash } from "node:crypto";
import { createReadStream, lstatSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { pipeline } from "node:stream/promises";

export interface FileSum {
  /** Below the folder asked for, parts joined by `/`. */
  readonly path: string;
  readonly sha256: string;
  readonly bytes: number;
  /** Whole milliseconds since the epoch. */
  readonly modified: number;
}

/** Every file below a folder, in the order of their paths. Links are not followed and not listed. */
export async function sumsOf(folder: string): Promise<readonly FileSum[]> {
  const sums: FileSum[] = [];
  const walk = async (inside: string): Promise<void> => {
    const entries = readdirSync(join(folder, inside), { withFileTypes: true });
    for (const entry of entries.sort((a, b) => (a.name < b.name ? -1 : 1))) {
      const path = inside === "" ? entry.name : `${inside}/${entry.name}`;
      if (entry.isDirectory()) await walk(path);
      else if (entry.isFile()) {
        const facts = lstatSync(join(folder, path));
        const hash = createHash("sha256");
        await pipeline(createReadStream(join(folder, path), { highWaterMark: 1024 * 1024 }), hash);
        sums.push({
          path,
          sha256: hash.digest("hex"),
          bytes: facts.size,
          modified: Math.floor(facts.mtimeMs),
        });
      }
    }
  };
  await walk("");
  return sums;
}

/** Files of `wanted` whose content is nowhere in `held`; a content wanted twice must be held twice. */
export function missingFrom(held: readonly FileSum[], wanted: readonly FileSum[]): readonly FileSum[] {
  const left = new Map<string, number>();
  for (const { sha256 } of held) left.set(sha256, (left.get(sha256) ?? 0) + 1);
  return wanted.filter(({ sha256 }) => {
    const number = left.get(sha256) ?? 0;
    left.set(sha256, number - 1);
    return number <= 0;
  });
}
