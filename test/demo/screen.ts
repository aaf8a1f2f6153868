/** What the demo shows: one line of progress, redrawn in place on a terminal, and plain tables. */

import type { StatusJson } from "../../shared/api.ts";
import { counted, formatBytes, formatSpan } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { bytes, millis } from "../../shared/units.ts";

/** `42 %, 3 s left: 123 MB of 289 MB to Blue and Slate, 98 MB/s`; "" while nothing is at work. */
export function progressLine(status: StatusJson): string {
  const work = status.work.find((each) => each.kind === "copy") ?? status.work[0];
  if (work === undefined) return "";
  if (work.kind === "survey") return `looking at ${printable(work.from)}`;
  const speed = work.bytesPerSecond > 0 ? `, ${formatBytes(bytes(work.bytesPerSecond))}/s` : "";
  const left = work.secondsLeft === null ? "" : `, ${formatSpan(millis(work.secondsLeft * 1000))} left`;
  const share = work.totalBytes > 0 ? Math.floor((work.doneBytes / work.totalBytes) * 100) : 0;
  const drives = work.to.map((name) => printable(name)).join(" and ");
  return `${share} %${left}: ${formatBytes(bytes(work.doneBytes))} of ${formatBytes(bytes(work.totalBytes))} to ${drives}${speed}`;
}

/** How a drive's copies were read back: `198 files past the cache (direct)`. */
export function readBackWords(readBack: {
  readonly direct: number;
  readonly remount: number;
  readonly cache: number;
}): string {
  const said = [
    readBack.direct > 0 ? `${counted(readBack.direct, "file")} past the cache (direct)` : "",
    readBack.remount > 0 ? `${counted(readBack.remount, "file")} after a new mount (remount)` : "",
    readBack.cache > 0 ? `${counted(readBack.cache, "file")} perhaps from the cache (cache)` : "",
  ].filter((part) => part !== "");
  return said.length === 0 ? "nothing read back yet" : said.join(", ");
}

/** Two columns, the first as wide as its widest. */
export function table(rows: readonly (readonly [string, string])[]): string {
  const width = Math.max(0, ...rows.map(([name]) => name.length));
  return rows.map(([name, value]) => `  ${name.padEnd(width)}  ${value}`).join("\n");
}

/** A line that takes the place of the one before on a terminal; elsewhere each new one is printed below. */
export class LiveLine {
  readonly #out: NodeJS.WriteStream;
  #shown = "";

  constructor(out: NodeJS.WriteStream) {
    this.#out = out;
  }

  show(line: string): void {
    if (line === "" || line === this.#shown) return;
    this.#shown = line;
    if (!this.#out.isTTY) this.#out.write(`  ${line}\n`);
    // Never wider than the terminal: a wrapped line can't be redrawn in place.
    else this.#out.write(`\r\u001b[K  ${line.slice(0, Math.max(20, (this.#out.columns ?? 80) - 3))}`);
  }

  clear(): void {
    if (this.#out.isTTY && this.#shown !== "") this.#out.write("\r\u001b[K");
    this.#shown = "";
  }
}
