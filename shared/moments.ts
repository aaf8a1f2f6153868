/**
 * Times of the status document as people read them. They come as RFC 3339 with the trip's offset, so what they show
 * is the trip's own time; the zone of this computer plays no part.
 */

const months = [
  "January",
  "February",
  "March",
  "April",
  "May",
  "June",
  "July",
  "August",
  "September",
  "October",
  "November",
  "December",
];
const weekday = new Intl.DateTimeFormat("en-GB", { weekday: "short", timeZone: "UTC" });
const dayMs = 86_400_000;

/** `Thu 6 June, 22:41`; "" for what is no time. */
export function fullMoment(at: string): string {
  const date = dateOf(at);
  return date === undefined ? "" : `${weekday.format(date)} ${datedMoment(at)}`;
}

/** `4 June, 08:10`; "" for what is no time. */
export function datedMoment(at: string): string {
  return dateOf(at) === undefined ? "" : `${dayAndMonth(at)}, ${at.slice(11, 16)}`;
}

/** `Thu 3 June 2027` for a civil date; "" for what is none. */
export function fullDay(day: string): string {
  const date = dateOf(day);
  return date === undefined ? "" : `${weekday.format(date)} ${dayAndMonth(day)} ${day.slice(0, 4)}`;
}

/** `08:10` on the day of `now`, else `4 June, 08:10`. */
export function shortMoment(at: string, now: string): string {
  const sameDay = dateOf(at) !== undefined && at.slice(0, 10) === now.slice(0, 10);
  return sameDay ? at.slice(11, 16) : datedMoment(at);
}

/** `day 4 of 12`, `begins in 3 days`, `ended 2 days ago`. */
export function dayOfTrip(now: string, from: string, to: string): string {
  const today = dateOf(now);
  const first = dateOf(from);
  const last = dateOf(to);
  if (today === undefined || first === undefined || last === undefined) return "";
  const days = (span: number): string => (span === dayMs ? "1 day" : `${span / dayMs} days`);
  if (today < first) return `begins in ${days(first - today)}`;
  if (today > last) return `ended ${days(today - last)} ago`;
  return `day ${(today - first) / dayMs + 1} of ${(last - first) / dayMs + 1}`;
}

function dayAndMonth(at: string): string {
  return `${Number(at.slice(8, 10))} ${months[Number(at.slice(5, 7)) - 1] ?? ""}`;
}

/** The civil date as a number of ms, whatever the offset. */
function dateOf(at: string): number | undefined {
  const found = /^(\d{4})-(\d{2})-(\d{2})/.exec(at);
  return found === null ? undefined : Date.UTC(Number(found[1]), Number(found[2]) - 1, Number(found[3]));
}
