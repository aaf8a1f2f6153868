/**
 * What happened as a table for other programs: RFC 4180, one header line, UTF-8. Names of cards and drives are written
 * by others, so that no cell may begin as a formula would.
 */

import type { HappenedJson } from "../../shared/api.ts";

export function csvOf(events: readonly HappenedJson[]): string {
  const rows = events.map(({ number, at, kind, text }) => [String(number), at, kind, text]);
  return [["number", "at", "kind", "text"], ...rows].map((row) => `${row.map(cell).join(",")}\r\n`).join("");
}

/** An apostrophe before `=`, `+`, `-`, `@`: spreadsheets take what follows as text. */
function cell(value: string): string {
  const harmless = /^[=+\-@\t\r]/.test(value) ? `'${value}` : value;
  return /[",\r\n]/.test(harmless) ? `"${harmless.replaceAll('"', '""')}"` : harmless;
}
