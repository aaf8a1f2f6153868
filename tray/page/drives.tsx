/** Each drive: where it is kept and whether it is here, what it holds and owes, its room, when it was last verified. */

import type { ComponentChildren } from "preact";
import { useEffect, useId, useState } from "preact/hooks";
import type { DriveStatusJson, StatusJson } from "../../shared/api.ts";
import { type SeedSign, whyAway } from "../../shared/boardTable.ts";
import { counted, formatBytes } from "../../shared/format.ts";
import { shortMoment } from "../../shared/moments.ts";
import { printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { Act } from "./act.tsx";
import { addressOf } from "./address.ts";
import { change } from "./daemon.ts";
import { DaysHeld } from "./report/days.tsx";
import { useHoldings } from "./report/holdings.ts";
import { Seed } from "./seed.tsx";
import { IntroduceDrive } from "./trips/introduce.tsx";

/** @param at the part of the screen that a link points at */
export function Drives({ status, at }: { readonly status: StatusJson; readonly at?: string | undefined }) {
  useEffect(() => {
    if (at === "introduce") document.getElementById("introduce")?.focus();
  }, [at]);
  if (status.drives.length === 0)
    return (
      <>
        <h1>No drive is known yet.</h1>
        <p class="advice">Plug one in; it appears below, and you give it its name.</p>
        <IntroduceDrive drives={status.drives} />
      </>
    );
  return (
    <>
      <h1>Drives</h1>
      {status.drives.map((drive) => (
        <Drive key={drive.id ?? drive.name} drive={drive} now={status.at} />
      ))}
      <ByDay status={status} />
      <IntroduceDrive drives={status.drives} />
    </>
  );
}

/** What stands on them, day by day, and the same on paper. */
function ByDay({ status }: { readonly status: StatusJson }) {
  const holdings = useHoldings(status);
  if (status.trip === null || holdings === undefined || holdings.days.length === 0) return null;
  return (
    <>
      <h2 class="by-day">{printable(status.trip.name, 60)} by day</h2>
      <DaysHeld holdings={holdings} status={status} />
      <p class="acts">
        <a href={addressOf("report")}>Report of the trip, to print</a>
      </p>
    </>
  );
}

function Drive({ drive, now }: { readonly drive: DriveStatusJson; readonly now: string }) {
  const heading = useId();
  const [ejected, setEjected] = useState(false);
  // Plugged in again, it is a drive like any other.
  useEffect(() => {
    if (drive.present) setEjected(false);
  }, [drive.present]);
  const eject = async () => {
    await change("/v1/eject", { name: drive.name });
    setEjected(true);
  };
  const name = printable(drive.name, 40);
  const away = drive.lastSeen === null ? "not here" : `not here since ${shortMoment(drive.lastSeen, now)}`;
  return (
    <section class="drive" aria-labelledby={heading}>
      <h2 id={heading}>{name}</h2>
      <dl>
        <Fact name="Here">
          {drive.present ? (drive.mount === null ? "yes" : printable(drive.mount)) : (whyAway(drive) ?? away)}
        </Fact>
        <Fact name="Kept">{drive.place === null ? "not said" : printable(drive.place)}</Fact>
        <Fact name="Role">{drive.role ?? "takes part in no trip of now"}</Fact>
        <Fact name="Last read back">
          {drive.lastVerified === null ? "never" : shortMoment(drive.lastVerified, now)}
        </Fact>
        <Fact name="Holds" sign={holdsSign(drive)}>
          {amount(drive.holds)}
        </Fact>
        <Fact name="Owes" sign={drive.owed.files > 0 ? "owed" : undefined}>
          {amount(drive.owed)}
        </Fact>
        <Fact name="Room">{roomOf(drive)}</Fact>
      </dl>
      <p role="status">{ejected && !drive.present ? `${name} may be unplugged.` : ""}</p>
      {drive.present ? (
        <p class="acts">
          <Act name={`Eject ${name}`} run={eject} />
          <Act name={`Read ${name} again`} run={() => change("/v1/scrub", { drive: drive.name })} />
        </p>
      ) : null}
    </section>
  );
}

function Fact({
  name,
  sign,
  children,
}: {
  readonly name: string;
  readonly sign?: SeedSign | undefined;
  readonly children: ComponentChildren;
}) {
  return (
    <div>
      <dt>{name}</dt>
      <dd class={sign}>
        {sign === undefined ? null : <Seed sign={sign} />}
        {children}
      </dd>
    </div>
  );
}

function holdsSign({ holds, present, readBack }: DriveStatusJson): SeedSign | undefined {
  if (holds.files === 0) return undefined;
  if (!present) return "away";
  return readBack.cache > 0 ? "unsure" : "verified";
}

function amount(some: { readonly files: number; readonly bytes: number }): string {
  return some.files === 0 ? "nothing" : `${counted(some.files, "file")}, ${formatBytes(bytes(some.bytes))}`;
}

function roomOf({ freeBytes, totalBytes }: DriveStatusJson): string {
  if (freeBytes === null || totalBytes === null) return "not known while it isn't here";
  return `${formatBytes(bytes(freeBytes))} free of ${formatBytes(bytes(totalBytes))}`;
}
