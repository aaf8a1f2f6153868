/** What each drive holds of each shooting day: rows are days, columns are drives. */

import type { DriveStatusJson, HoldingsJson, StatusJson } from "../../../shared/api.ts";
import type { SeedSign } from "../../../shared/boardTable.ts";
import { counted, formatBytes, formatCount } from "../../../shared/format.ts";
import { fullDay } from "../../../shared/moments.ts";
import { bytes } from "../../../shared/units.ts";
import { meanings, Seed } from "../seed.tsx";

export function DaysHeld({
  holdings,
  status,
}: {
  readonly holdings: HoldingsJson;
  readonly status: StatusJson;
}) {
  const drives = status.drives.filter((drive) => drive.role !== null);
  if (holdings.days.length === 0) return <p class="small">Nothing is filed yet.</p>;
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the window is scrolled with the keys
    <section class="wide" aria-label="What each drive holds by day" tabIndex={0}>
      <table class="matrix">
        <thead>
          <tr>
            <th scope="col">Day</th>
            <th scope="col">Taken</th>
            {drives.map(({ name }) => (
              <th key={name} scope="col">
                {name}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {holdings.days.map((day) => (
            <tr key={day.day}>
              <th scope="row">{day.day === "" ? "Files that are no frames" : fullDay(day.day)}</th>
              <td>
                {day.frames === 0 ? counted(day.files, "file") : counted(day.frames, "frame")},{" "}
                {formatBytes(bytes(day.bytes))}
              </td>
              {drives.map((drive) => (
                <td key={drive.name}>
                  <Held day={day} drive={drive} />
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}

function Held({
  day,
  drive,
}: {
  readonly day: HoldingsJson["days"][number];
  readonly drive: DriveStatusJson;
}) {
  const held = day.held.find((each) => each.drive === drive.name);
  const files = held?.files ?? 0;
  const sign = signOf(files, day.files, held?.unsure ?? 0, drive.present);
  const text =
    files === day.files ? formatCount(files) : `${formatCount(files)} of ${formatCount(day.files)}`;
  return (
    <span class={`cell ${sign}`}>
      <Seed sign={sign} />
      {text}
      <span class="hidden"> files, {meanings[sign]}</span>
    </span>
  );
}

function signOf(files: number, all: number, unsure: number, present: boolean): SeedSign {
  if (files === 0) return "owed";
  if (!present) return "away";
  if (files < all) return "written";
  return unsure > 0 ? "unsure" : "verified";
}
