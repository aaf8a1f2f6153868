/**
 * How the user's other programs find the running daemon: `<run>/daemon.json` with its port and the token that opens
 * it. Readable by the user only; written when the daemon listens, removed when it stops.
 *
 * Not its job: telling whether that daemon still lives; a call shows that.
 */

import { readFile, rm } from "node:fs/promises";
import { join } from "node:path";
import type { AbsolutePath } from "../../shared/identity.ts";
import { writeAtomically } from "./atomicFile.ts";

export interface RunFile {
  readonly port: number;
  readonly token: string;
  readonly pid: number;
}

const fileName = "daemon.json";

export async function writeRunFile(run: AbsolutePath, content: RunFile): Promise<void> {
  await writeAtomically(run, fileName, `${JSON.stringify(content)}\n`);
}

/** What stands there, or undefined when there is none or it isn't one of ours. */
export async function readRunFile(run: AbsolutePath): Promise<RunFile | undefined> {
  try {
    return parse(await readFile(join(run, fileName), "utf8"));
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code;
    if (code === "ENOENT" || code === "ENOTDIR" || error instanceof SyntaxError) return undefined;
    throw error;
  }
}

/** Removes the file if it is this daemon's: a later one's stays. */
export async function removeRunFile(run: AbsolutePath, pid: number): Promise<void> {
  const content = await readRunFile(run);
  if (content?.pid === pid) await rm(join(run, fileName), { force: true });
}

function parse(text: string): RunFile | undefined {
  const value: unknown = JSON.parse(text);
  if (typeof value !== "object" || value === null) return undefined;
  const { port, token, pid } = value as Record<string, unknown>;
  const sound =
    typeof port === "number" &&
    Number.isInteger(port) &&
    port > 0 &&
    port < 65_536 &&
    typeof token === "string" &&
    /^[0-9a-f]{64}$/.test(token) &&
    typeof pid === "number" &&
    Number.isInteger(pid);
  return sound ? { port, token, pid } : undefined;
}
