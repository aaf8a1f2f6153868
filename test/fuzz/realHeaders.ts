/**
 * Real headers of many makers, where the folder named in SCRUBJAY_SAMPLES, or `../shared/samples` beside the checkout,
 * exists. Most of their image data is cut off, so a check is right to call them damaged; what is said of each is for a
 * person to read.
 */

import { existsSync, readdirSync, readFileSync } from "node:fs";
import { join, resolve } from "node:path";
import { probeFor } from "../../daemon/core/structure/probe.ts";
import { whatIsWrong } from "../support/probing.ts";

/** @param checkout the project's folder. */
export function samplesFolder(checkout: string): string | undefined {
  const folder = process.env["SCRUBJAY_SAMPLES"] ?? resolve(checkout, "../shared/samples");
  return existsSync(folder) ? folder : undefined;
}

export interface HeaderFound {
  readonly name: string;
  /** What is said of the file as it is; undefined is well. */
  readonly wrong: string | undefined;
  /** Of 16 cuts, how many are called damaged. */
  readonly cutsFound: number;
}

/** Each file of a kind that is checked. */
export function probeRealHeaders(folder: string): readonly HeaderFound[] {
  return readdirSync(folder)
    .filter((name) => probeFor(name) !== undefined)
    .map((name) => {
      const content = readFileSync(join(folder, name));
      const cuts = Array.from({ length: 16 }, (_, n) =>
        whatIsWrong(name, content.subarray(0, Math.floor((content.length * n) / 16))),
      );
      const cutsFound = cuts.filter((wrong) => wrong !== undefined).length;
      return { name, wrong: whatIsWrong(name, content), cutsFound };
    });
}
