/**
 * The page's built files, read once into memory when the daemon starts: what isn't among them can't be asked for,
 * whatever a path says.
 */

import { readdirSync, readFileSync } from "node:fs";
import { extname, join } from "node:path";

export interface PageFile {
  readonly content: Buffer;
  readonly type: string;
}

/** By their path on the server, such as `/assets/page-1a2b.js`. */
export type PageFiles = ReadonlyMap<string, PageFile>;

const types: Readonly<Record<string, string>> = {
  ".css": "text/css; charset=utf-8",
  ".html": "text/html; charset=utf-8",
  ".js": "text/javascript; charset=utf-8",
  ".svg": "image/svg+xml",
};

/** @returns no file where the page wasn't built. */
export function readPageFiles(folder: string): PageFiles {
  const files = new Map<string, PageFile>();
  for (const name of namesBelow(folder)) {
    const type = types[extname(name)];
    if (type === undefined) continue;
    files.set(`/${name}`, { content: readFileSync(join(folder, name)), type });
  }
  return files;
}

function namesBelow(folder: string): readonly string[] {
  try {
    const names = readdirSync(folder, { recursive: true, encoding: "utf8" });
    return names.map((name) => name.replaceAll("\\", "/"));
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === "ENOENT") return [];
    throw error;
  }
}
