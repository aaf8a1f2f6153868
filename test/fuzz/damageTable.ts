/**
 * How much damage the structure checks find: whole files, damaged in four ways at every sixteenth of their length, and
 * how many of each were called damaged. Whole files that are called damaged are false positives.
 */

import { seeded } from "../cards/generate/random.ts";
import { whatIsWrong } from "../support/probing.ts";
import { type Kind, kinds, type WholeFile } from "./wholeFiles.ts";

export const ways = ["cut short", "zeros to the end", "a sixteenth missing", "a sixteenth random"] as const;
export type Way = (typeof ways)[number];

export interface DamageFound {
  readonly kind: Kind;
  readonly files: number;
  /** Names of whole files that were called damaged, and what was said. */
  readonly falsePositives: readonly string[];
  readonly byWay: { readonly [W in Way]: { readonly tried: number; readonly missed: readonly string[] } };
}

/** @param seed of the random bytes. */
export function findDamage(files: readonly WholeFile[], seed: number): readonly DamageFound[] {
  const random = seeded(seed);
  return kinds.map((kind) => {
    const ofKind = files.filter((file) => file.kind === kind);
    const falsePositives = ofKind.flatMap(({ name, content }) => {
      const wrong = whatIsWrong(name, content);
      return wrong === undefined ? [] : [`${name}: ${wrong}`];
    });
    const tryAll = (way: Way): DamageFound["byWay"][Way] => {
      const missed: string[] = [];
      let tried = 0;
      for (const { name, content } of ofKind) {
        for (let sixteenth = 0; sixteenth < 16; sixteenth += 1) {
          const damaged = damage(content, way, sixteenth, random);
          if (damaged.equals(content)) continue;
          tried += 1;
          if (whatIsWrong(name, damaged) === undefined) missed.push(`${name} at ${sixteenth}/16`);
        }
      }
      return { tried, missed };
    };
    const byWay = {
      "cut short": tryAll("cut short"),
      "zeros to the end": tryAll("zeros to the end"),
      "a sixteenth missing": tryAll("a sixteenth missing"),
      "a sixteenth random": tryAll("a sixteenth random"),
    };
    return { kind, files: ofKind.length, falsePositives, byWay };
  });
}

/** The table for a person, and below it what the numbers can't say themselves. */
export function tableOf(found: readonly DamageFound[]): string {
  const head = ["found / tried", "whole files", ...ways];
  const rows = found.map(({ kind, files, byWay }) => [
    kind,
    String(files),
    ...ways.map((way) => `${byWay[way].tried - byWay[way].missed.length} / ${byWay[way].tried}`),
  ]);
  const widths = head.map((_, column) => Math.max(...[head, ...rows].map((row) => row[column]?.length ?? 0)));
  const line = (row: readonly string[]): string =>
    row.map((cell, column) => cell.padEnd(widths[column] ?? 0)).join("  ");
  const wrong = found.flatMap((each) => each.falsePositives);
  const whole = found.reduce((sum, each) => sum + each.files, 0);
  return [
    ...[head, ...rows].map((row) => line(row).trimEnd()),
    `False positives: ${wrong.length} of ${whole} whole files`,
    ...wrong.map((each) => `  ${each}`),
    "WAV: sound has no structure and silence is legal, so beyond the header only its length can be checked.",
    "TIFF, film: bytes changed inside picture data are found by their hash alone.",
  ].join("\n");
}

/** Cut at 0: an empty file. */
export function damage(content: Buffer, way: Way, sixteenth: number, random: () => number): Buffer {
  const at = Math.floor((content.length * sixteenth) / 16);
  const end = Math.floor((content.length * (sixteenth + 1)) / 16);
  switch (way) {
    case "cut short":
      return content.subarray(0, at);
    case "zeros to the end":
      return Buffer.concat([content.subarray(0, at), Buffer.alloc(content.length - at)]);
    case "a sixteenth missing":
      return Buffer.concat([content.subarray(0, at), content.subarray(end)]);
    case "a sixteenth random": {
      const noise = Buffer.from(Uint8Array.from({ length: end - at }, () => random() * 256));
      return Buffer.concat([content.subarray(0, at), noise, content.subarray(end)]);
    }
  }
}
