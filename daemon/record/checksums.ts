/**
 * `checksums.xxh64`: lines `HASH  PATH` as the xxhsum tool reads them (xxhsum manual, GNU lines: 16 hex digits, two
 * spaces, name, LF). Paths are relative to the trip's folder. Filed names never hold line ends or backslashes, since
 * tools differ in escaping them (xxhsum 0.8.1 doesn't, 0.8.2 does).
 */

import { assert } from "../../shared/brand.ts";
import type { ContentHash, RelativePath } from "../../shared/identity.ts";

export interface ChecksumEntry {
  readonly hash: ContentHash;
  readonly path: RelativePath;
}

/** Whether a list can hold this name as it is; every name that is filed can be held. */
export function isListable({ path }: ChecksumEntry): boolean {
  return !/[\n\r\\]/.test(path) && path.isWellFormed();
}

export function checksumLine({ hash, path }: ChecksumEntry): string {
  assert(isListable({ hash, path }), "filed names need no escaping in a checksum list");
  return `${hash}  ${path}\n`;
}

/** The entries of a list, and whether it is whole: every line well formed and the last one ended. */
export function readChecksums(content: Uint8Array): {
  readonly entries: readonly ChecksumEntry[];
  readonly whole: boolean;
} {
  const entries: ChecksumEntry[] = [];
  const lines = new TextDecoder("utf-8").decode(content).split("\n");
  let whole = lines.pop() === "";
  for (const line of lines) {
    const match = /^([0-9a-f]{16}) {2}(.+)$/.exec(line);
    if (match === null) whole = false;
    else entries.push({ hash: match[1] as ContentHash, path: match[2] as RelativePath });
  }
  return { entries, whole };
}
