/**
 * Numbers, sizes, spans and times as people read them: thousands separators, decimal sizes (IEC 80000-13: k, M, G are
 * powers of ten), times in the trip's zone. One form everywhere: terminal, notices, page.
 */

import type { Bytes, Instant, Millis } from "./units.ts";

const whole = new Intl.NumberFormat("en-GB", { maximumFractionDigits: 0 });

/** `1,824` */
export const formatCount = (value: number): string => whole.format(value);

/** `1,824 files`, `1 file` */
export function counted(value: number, one: string, many = `${one}s`): string {
  return `${formatCount(value)} ${value === 1 ? one : many}`;
}

/** `0 B`, `999 B`, `1.5 kB`, `64 GB`: three significant digits at most, decimal units. */
export function formatBytes(size: Bytes): string {
  const units = ["B", "kB", "MB", "GB", "TB", "PB"];
  let value: number = size;
  let unit = 0;
  while (value >= 999.5 && unit < units.length - 1) {
    value /= 1000;
    unit += 1;
  }
  const digits = unit === 0 || value >= 99.95 ? 0 : 1;
  return `${value.toFixed(digits).replace(/\.0$/, "")} ${units[unit]}`;
}

/** `under 1 s`, `45 s`, `4 min`, `1 h 20 min` */
export function formatSpan(span: Millis): string {
  const seconds = Math.round(span / 1000);
  if (seconds < 1) return "under 1 s";
  if (seconds < 90) return `${seconds} s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 90) return `${minutes} min`;
  const rest = minutes % 60;
  return rest === 0 ? `${minutes / 60} h` : `${Math.floor(minutes / 60)} h ${rest} min`;
}

/** RFC 3339 with the zone's offset at that moment: `2027-06-06T22:41:05+01:00`. */
export function rfc3339(at: Instant, zone: string): string {
  const parts = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone,
    calendar: "iso8601",
    hourCycle: "h23",
    year: "numeric",
    month: "2-digit",
    day: "2-digit",
    hour: "2-digit",
    minute: "2-digit",
    second: "2-digit",
    timeZoneName: "longOffset",
  }).formatToParts(at);
  const part = (type: string): string => parts.find((each) => each.type === type)?.value ?? "";
  const offset = part("timeZoneName").replace("GMT", "");
  const date = `${part("year").padStart(4, "0")}-${part("month")}-${part("day")}`;
  return `${date}T${part("hour")}:${part("minute")}:${part("second")}${offset === "" ? "+00:00" : offset}`;
}

/** `22:41` in the zone, for today; with the date before it otherwise: `6 June, 22:41`. */
export function clockTime(at: Instant, zone: string): string {
  return new Intl.DateTimeFormat("en-GB", {
    timeZone: zone,
    hour: "2-digit",
    minute: "2-digit",
    hourCycle: "h23",
    day: "numeric",
    month: "long",
  }).format(at);
}
