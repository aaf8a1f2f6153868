/**
 * The trip on one sheet of paper, to lay beside the drives: what exists, where each copy is kept, which cards must be
 * kept, what is the matter. What was verified when stands with it, since paper doesn't change.
 */

import type { StatusJson } from "../../../shared/api.ts";
import { mayBeFormatted } from "../../../shared/boardTable.ts";
import { formatCautions } from "../../../shared/cautions.ts";
import { counted, formatBytes } from "../../../shared/format.ts";
import { datedMoment, fullDay, fullMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { bytes } from "../../../shared/units.ts";
import { addressOf } from "../address.ts";
import { Words } from "../words.tsx";
import { DaysHeld } from "./days.tsx";
import { useHoldings } from "./holdings.ts";

export function Report({ status }: { readonly status: StatusJson }) {
  const holdings = useHoldings(status);
  const { trip, frames } = status;
  if (trip === null)
    return (
      <>
        <h1>There is no trip to report on.</h1>
        <p class="advice">
          <a href={addressOf("trips")}>Describe one</a>, and its report is here.
        </p>
      </>
    );
  const { copies, places } = trip.goal;
  return (
    <div class="report">
      <h1>{printable(trip.name, 60)}: what is where</h1>
      <p class="advice">
        <Words text={status.headline} />
      </p>
      <p class="outline">
        {fullDay(trip.from)} to {fullDay(trip.to)}, times of {printable(trip.zone)}.{" "}
        {counted(frames.total, "frame")} in {counted(frames.files, "file")}; {counted(frames.atGoal, "frame")}{" "}
        {frames.atGoal === 1 ? "has its" : "have their"} {counted(copies, "verified copy", "verified copies")}
        , to be kept in {counted(places, "place")}. As of {fullMoment(status.at)}.
      </p>
      <p class="acts">
        <button type="button" class="main" onClick={() => print()}>
          Print this report
        </button>
        <a href={addressOf("drives")}>Back to the drives</a>
      </p>
      <h2>Drives</h2>
      <DriveLines status={status} />
      <h2>Days</h2>
      {holdings === undefined ? (
        <p class="small">Asking the daemon …</p>
      ) : (
        <DaysHeld holdings={holdings} status={status} />
      )}
      <h2>Cards</h2>
      <CardLines status={status} />
      {status.alerts.length === 0 ? null : (
        <>
          <h2>What is the matter</h2>
          <ul>
            {status.alerts.map((alert) => (
              <li key={`${alert.code} ${alert.about}`}>
                <Words text={`${alert.happened} ${alert.next}`} />
              </li>
            ))}
          </ul>
        </>
      )}
      <p class="cautions">{formatCautions}</p>
    </div>
  );
}

function DriveLines({ status }: { readonly status: StatusJson }) {
  const drives = status.drives.filter((drive) => drive.role !== null);
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the window is scrolled with the keys
    <section class="wide" aria-label="Drives" tabIndex={0}>
      <table>
        <thead>
          <tr>
            <th scope="col">Drive</th>
            <th scope="col">Kept</th>
            <th scope="col">Holds</th>
            <th scope="col">Owes</th>
            <th scope="col">Last read back</th>
          </tr>
        </thead>
        <tbody>
          {drives.map((drive) => (
            <tr key={drive.name}>
              <th scope="row">{printable(drive.name, 40)}</th>
              <td>{drive.place === null ? "not said" : printable(drive.place, 60)}</td>
              <td>
                {counted(drive.holds.files, "file")}, {formatBytes(bytes(drive.holds.bytes))}
              </td>
              <td>{drive.owed.files === 0 ? "nothing" : counted(drive.owed.files, "file")}</td>
              <td>
                {drive.lastVerified === null ? "never" : datedMoment(drive.lastVerified)}
                {drive.readBack.cache > 0
                  ? `; ${counted(drive.readBack.cache, "file")} perhaps from a cache`
                  : ""}
              </td>
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}

/** Those that must be kept one by one; of the others there may be dozens. */
function CardLines({ status }: { readonly status: StatusJson }) {
  const cards = status.cards.filter((card) => card.files > 0);
  const kept = cards.filter((card) => !mayBeFormatted(card));
  const free = cards.length - kept.length;
  return (
    <ul>
      {cards.length === 0 ? <li>No card was in yet.</li> : null}
      {kept.map((card) => (
        <li key={card.id}>{printable(card.verdict)}</li>
      ))}
      {free === 0 ? null : (
        <li>
          {counted(free, "card")}: all {free === 1 ? "its" : "their"} files had{" "}
          {counted(status.trip?.goal.copies ?? 0, "verified copy", "verified copies")} at this time.
        </li>
      )}
    </ul>
  );
}
