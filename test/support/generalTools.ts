/**
 * What general tools say about files: find, sha256sum (coreutils, FIPS 180-4) and xxhsum (the xxHash project's own).
 * None of the project's code, so that it can't agree with its own mistakes. Each throws where its tool fails.
 */

import { execFileSync } from "node:child_process";

const room = { encoding: "utf8", maxBuffer: 64 * 1024 * 1024 } as const;

/** Every regular file below a folder, by find. */
export function filesBelow(folder: string): readonly string[] {
  const said = execFileSync("find", [".", "-type", "f", "-print0"], { ...room, cwd: folder });
  return said
    .split("\0")
    .filter((path) => path !== "")
    .map((path) => path.slice(2))
    .sort();
}

/** SHA-256 of every regular file below a folder, by its path there. Names with `\` or line ends aren't provided for. */
export function sha256Below(folder: string): ReadonlyMap<string, string> {
  const find = [".", "-type", "f", "-exec", "sha256sum", "{}", "+"];
  const said = execFileSync("find", find, { ...room, cwd: folder });
  const sums = said.split("\n").flatMap((line): [string, string][] => {
    const match = /^([0-9a-f]{64}) {2}\.\/(.+)$/.exec(line);
    return match?.[1] === undefined || match[2] === undefined ? [] : [[match[2], match[1]]];
  });
  return new Map(sums.sort(([a], [b]) => (a < b ? -1 : 1)));
}

/** SHA-256 of one file or image. */
export function sha256Of(file: string): string {
  return execFileSync("sha256sum", [file], room).slice(0, 64);
}

/** How many files the checksum list of a trip's folder names and xxhsum finds as listed. Throws if one isn't. */
export function xxhsumAgrees(tripFolder: string): number {
  const said = execFileSync("xxhsum", ["-c", "checksums.xxh64"], { ...room, cwd: tripFolder });
  return said.match(/: OK$/gm)?.length ?? 0;
}
