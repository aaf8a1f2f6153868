/** The trips that are described, and the way to describe one, change one, or copy an earlier one. */

import { useEffect, useState } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import { counted } from "../../../shared/format.ts";
import { fullDay } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import type { TripEntryJson } from "../../../shared/tripsApi.ts";
import { addressOf } from "../address.ts";
import { ask, Refused } from "../daemon.ts";
import { Words } from "../words.tsx";
import { TripScreen } from "./tripScreen.tsx";

/** @param rest what follows `trips` in the address: nothing, an id, `new`, or `new` and the id to copy */
export function Trips({ status, rest }: { readonly status: StatusJson; readonly rest: readonly string[] }) {
  const [which = "", copyOf] = rest;
  if (which === "") return <TripList />;
  return (
    <TripScreen key={rest.join("/")} status={status} trip={which === "new" ? null : which} copyOf={copyOf} />
  );
}

function TripList() {
  const [trips, setTrips] = useState<readonly TripEntryJson[] | undefined>(undefined);
  const [problem, setProblem] = useState<Refused | undefined>(undefined);
  useEffect(() => {
    ask<readonly TripEntryJson[]>("/v1/trips").then(setTrips, (failure) => {
      if (!(failure instanceof Refused)) throw failure;
      setProblem(failure);
    });
  }, []);
  return (
    <>
      <h1>{trips?.length === 0 ? "No trip is described yet." : "Trips"}</h1>
      {problem === undefined ? null : (
        <p class="refusal" role="alert">
          <Words text={`${problem.message} ${problem.next}`} />
        </p>
      )}
      {trips?.length === 0 ? (
        <p class="advice">
          Say once what the trip is: its days, its drives, how its frames are called. Cards find it by
          themselves.
        </p>
      ) : null}
      <p class="acts">
        <a href={addressOf("trips", "new")}>Describe a trip</a>
      </p>
      {trips?.map((trip) => (
        <Trip key={trip.id} trip={trip} />
      ))}
    </>
  );
}

function Trip({ trip }: { readonly trip: TripEntryJson }) {
  const name = printable(trip.name ?? trip.id, 60);
  const errors = trip.faults.filter((fault) => fault.severity === "error").length;
  return (
    <section class="drive" aria-label={name}>
      <h2>
        <a href={addressOf("trips", trip.id)}>{name}</a>
      </h2>
      <dl>
        <div>
          <dt>Code</dt>
          <dd>{trip.code === null ? "not said" : printable(trip.code, 40)}</dd>
        </div>
        <div>
          <dt>Days</dt>
          <dd>{daysOf(trip)}</dd>
        </div>
        <div>
          <dt>Frames</dt>
          <dd>{trip.frames === 0 ? "none yet" : counted(trip.frames, "frame")}</dd>
        </div>
        {errors === 0 ? null : (
          <div>
            <dt>Faults</dt>
            <dd class="damaged">{counted(errors, "fault")}: the file isn't used as it is</dd>
          </div>
        )}
      </dl>
      <p class="acts">
        <a href={addressOf("trips", "new", trip.id)} aria-label={`Copy for a new trip: ${name}`}>
          Copy for a new trip
        </a>
      </p>
    </section>
  );
}

function daysOf({ from, to }: TripEntryJson): string {
  const day = (said: string | null): string =>
    said === null ? "not said" : fullDay(said) || printable(said, 40);
  return `${day(from)} to ${day(to)}`;
}
