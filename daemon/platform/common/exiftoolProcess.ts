/**
 * How ExifTool is started for whatever is asked of it: a few processes that stay open while there is something to do
 * and end by themselves afterwards, without the user's own configuration, never trying twice what hung. What is asked,
 * and what the answers mean, is each adapter's own.
 */

import { ExifTool, exiftoolPath } from "exiftool-vendored";
import type { AbsolutePath } from "../../../shared/identity.ts";
import type { Count, Millis } from "../../../shared/units.ts";

export interface ExiftoolOptions {
  readonly processes: Count;
  /** For one file, and for starting a process. */
  readonly timeout: Millis;
  /** What starts the process and its arguments, such as one that ends it together with this one; empty for none. */
  readonly launcher: readonly string[];
}

export async function startExiftool(options: ExiftoolOptions): Promise<ExifTool> {
  const [launcher, ...launcherArgs] = options.launcher;
  const program = await exiftoolPath();
  return new ExifTool({
    maxProcs: options.processes,
    taskTimeoutMillis: options.timeout,
    spawnTimeoutMillis: options.timeout,
    minDelayBetweenSpawnMillis: 100,
    // A second try of a file that hangs would only hang twice as long.
    taskRetries: 0,
    maxIdleMsPerProcess: idleMsMax,
    pass: endOfAnswer,
    fail: endOfAnswer,
    ignoreMinorErrors: true,
    // An empty -config must come first: a configuration file of the user's would change what tags mean.
    exiftoolPath: launcher ?? program,
    exiftoolArgs: [
      ...(launcher === undefined ? [] : [...launcherArgs, program]),
      ...["-config", "", "-stay_open", "True", "-@", "-"],
    ],
    // Some formats' UTC times are shown in the process's zone whatever the options say; so that zone is UTC.
    exiftoolEnv: { ...pathOnly(process.env["PATH"]), TZ: "UTC" },
  });
}

/**
 * A line of its own, which no name and no value can be, for JSON escapes line breaks. If any `{ready}` were taken for
 * the end, a model of that name would cut its own answer short and spoil the next file's.
 */
const endOfAnswer = /(?:^|\n)\{ready\}\r?\n?$/;

/** ms. A process of about 40 MB that has nothing to do ends; starting one again takes under a second. */
const idleMsMax = 30_000;

/**
 * Files are asked for over lines of text: a line break would begin another argument, and a byte that isn't UTF-8
 * (a lone surrogate here) would arrive as another name. Nothing is asked for such names.
 */
export function canBeAsked(path: AbsolutePath): boolean {
  return path.startsWith("/") ? !/[\p{Cc}\p{Cs}]/u.test(path) : /^[A-Za-z]:\/[^\p{Cc}\p{Cs}]*$/u.test(path);
}

function pathOnly(path: string | undefined): { PATH?: string } {
  return path === undefined ? {} : { PATH: path };
}
