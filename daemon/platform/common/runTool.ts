/** Asks a program of the system something. Not its job: what the answer means, and programs that run on. */

import { execFile } from "node:child_process";
import type { Millis } from "../../../shared/units.ts";

/** Where system tools are on computers whose users don't have them on their path. */
const systemFolders = "/usr/sbin:/sbin:/usr/local/sbin";

/** What it printed, or undefined if it isn't there, failed, or took longer than `limit`. Never rejects. */
export function runTool(
  command: string,
  args: readonly string[],
  limit: Millis,
): Promise<string | undefined> {
  return new Promise((resolve) => {
    const path = `${process.env["PATH"] ?? ""}:${systemFolders}`;
    // LC_ALL: what programs print is read here, not by a person.
    const env = { ...process.env, PATH: path, LC_ALL: "C.UTF-8" };
    execFile(command, [...args], { env, timeout: limit, maxBuffer: 16_000_000 }, (error, stdout) => {
      resolve(error === null ? stdout : undefined);
    });
  });
}
