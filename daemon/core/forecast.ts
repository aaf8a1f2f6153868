/**
 * When a drive will be full: what the last days took, against the room it has and the days the trip still has. A forecast
 * is said days before, not then; it decides nothing.
 */

import { Temporal } from "temporal-polyfill";
import { counted, formatBytes } from "../../shared/format.ts";
import type { Day } from "../../shared/identity.ts";
import type { Alert } from "../../shared/problems.ts";
import { asArgument, printable } from "../../shared/text.ts";
import { type Bytes, bytes } from "../../shared/units.ts";

/** What was taken on one shooting day. */
export interface DayTaken {
  readonly day: Day;
  readonly bytes: Bytes;
}

export interface FillingDrive {
  readonly name: string;
  /** What may still be written, the reserve and what it owes already taken off; may be negative. */
  readonly roomBytes: number;
}

export interface FillView {
  readonly id: string;
  /** Shooting days with frames, in order. */
  readonly days: readonly DayTaken[];
  readonly today: Day;
  readonly to: Day;
  /** Drives of the trip whose room is known. */
  readonly drives: readonly FillingDrive[];
}

/** days. The last so many count: a trip has its own pace, and it changes. */
const paceDays = 3;
/** days. Fewer than this left is a warning, more a note: enough to buy a drive or to free room. */
const soonDays = 3;

/**
 * What a day takes: the mean of the last shooting days. Today counts once it is more than that, since it isn't over.
 * @returns 0 while nothing is known
 */
export function pace(days: readonly DayTaken[], today: Day): Bytes {
  const over = days.filter(({ day }) => day < today).slice(-paceDays);
  const mean = over.length === 0 ? 0 : over.reduce((sum, each) => sum + each.bytes, 0) / over.length;
  const now = days.find(({ day }) => day === today)?.bytes ?? 0;
  return bytes(Math.ceil(Math.max(mean, now)));
}

/** Drives that won't last for the rest of the trip. */
export function fillsSoon(view: FillView): readonly Alert[] {
  const daily = pace(view.days, view.today);
  const daysLeft = view.today > view.to ? 0 : daysBetween(view.today, view.to);
  if (daily === 0 || daysLeft === 0) return [];
  return view.drives.flatMap((drive): Alert[] => {
    const lasts = Math.max(0, drive.roomBytes) / daily;
    if (lasts >= daysLeft) return [];
    const name = printable(drive.name);
    const whole = Math.floor(lasts);
    const span = whole === 0 ? "with the next day's frames" : `in about ${counted(whole, "day")}`;
    return [
      {
        code: "drive-fills-soon",
        severity: lasts < soonDays ? "warning" : "note",
        about: `${view.id}/${drive.name}`,
        happened: `${name} is full ${span}: it has room for ${formatBytes(bytes(Math.max(0, drive.roomBytes)))}, a day took ${formatBytes(daily)} lately, and the trip has ${counted(daysLeft, "more day", "more days")}.`,
        safe: "What is on it stays as it is. Nothing is lost when it fills: the other drives go on.",
        next: `Free room on ${name}, or have a larger drive at hand: \`scrubjay drive replace ${asArgument(drive.name)} NAME\`.`,
      },
    ];
  });
}

/** Days after `from` up to and with `to`. */
function daysBetween(from: Day, to: Day): number {
  return Temporal.PlainDate.from(from).until(to, { largestUnit: "day" }).days;
}
