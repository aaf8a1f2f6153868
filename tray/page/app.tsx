/** The page's frame: which screen is shown, what the daemon says, and what to do when it says nothing. */

import type { JSX } from "preact";
import { useEffect, useState } from "preact/hooks";
import type { StatusJson } from "../../shared/api.ts";
import { dayOfTrip, fullMoment } from "../../shared/moments.ts";
import { printable } from "../../shared/text.ts";
import { useAddress } from "./address.ts";
import { type Line, listen } from "./daemon.ts";
import { Drives } from "./drives.tsx";
import { EditsScreen } from "./edits/edits.tsx";
import { Evening } from "./evening.tsx";
import { Frames } from "./frames/frames.tsx";
import { Happened } from "./happened.tsx";
import { HomeScreen } from "./home/home.tsx";
import { Report } from "./report/report.tsx";
import { Trips } from "./trips/trips.tsx";

interface Screen {
  /** The first part of the address. */
  readonly at: string;
  readonly name: string;
  /** Reached from another screen, not from every one. */
  readonly beside?: true;
  /** @param rest the further parts of the address */
  readonly view: (status: StatusJson, rest: readonly string[]) => JSX.Element;
}

const evening: Screen = {
  at: "evening",
  name: "This evening",
  view: (status, rest) => <Evening status={status} matter={rest} />,
};
const screens: readonly Screen[] = [
  evening,
  { at: "trips", name: "Trips", view: (status, rest) => <Trips status={status} rest={rest} /> },
  { at: "frames", name: "Frames", view: (status, rest) => <Frames status={status} rest={rest} /> },
  { at: "edits", name: "Edits", view: (status, rest) => <EditsScreen status={status} path={rest[0]} /> },
  { at: "drives", name: "Drives", view: (status, rest) => <Drives status={status} at={rest[0]} /> },
  { at: "home", name: "Home", view: (status) => <HomeScreen status={status} /> },
  { at: "happened", name: "What happened", view: () => <Happened /> },
  { at: "report", name: "Report", beside: true, view: (status) => <Report status={status} /> },
];

export function App() {
  const line = useLine();
  const [at = "", ...rest] = useAddress();
  const screen = screens.find((each) => each.at === at) ?? evening;
  useEffect(() => {
    document.title = `${screen.name} · Scrubjay`;
  }, [screen]);
  if (line.state === "asking") return <p class="small">Asking the daemon …</p>;
  if (line.state === "locked") return <Locked />;
  const status = line.state === "here" ? line.status : line.last;
  if (status === undefined) return <Gone />;
  return (
    <>
      <button type="button" class="skip" onClick={toContent}>
        To the content
      </button>
      <header>
        <p>
          <strong>{status.trip === null ? "Scrubjay" : printable(status.trip.name, 60)}</strong>
          {status.trip === null ? "" : ` · ${dayOfTrip(status.at, status.trip.from, status.trip.to)}`}
        </p>
        <p>
          as of <time dateTime={status.at}>{fullMoment(status.at)}</time>
          {status.trip === null ? "" : `, ${printable(status.trip.zone, 40)}`}
        </p>
        <nav aria-label="Screens">
          {screens
            .filter(({ beside }) => beside !== true)
            .map(({ at, name }) => (
              <a key={at} href={`#${at}`} aria-current={screen.at === at ? "page" : undefined}>
                {name}
              </a>
            ))}
        </nav>
      </header>
      {line.state === "gone" ? <Gone /> : null}
      <main id="content" tabIndex={-1} aria-busy={line.state === "gone"}>
        {screen.view(status, rest)}
      </main>
    </>
  );
}

/** No link: the address goes on naming the screen, so that a reload shows it again. */
function toContent(): void {
  document.getElementById("content")?.focus();
}

function Gone() {
  return (
    <section class="matter urgent gone" role="alert">
      <p>
        <strong>The daemon doesn't answer.</strong> What it had verified stays verified; what is shown here is
        the last it said. Start it with <code>scrubjay daemon</code>, then open the page again.
      </p>
    </section>
  );
}

function Locked() {
  return (
    <main id="content">
      <h1>This page is locked.</h1>
      <p class="advice">
        Nothing else has changed. Open it again from the tray, or with <code>scrubjay open</code> in a
        terminal: each gives a link that is good once.
      </p>
    </main>
  );
}

function useLine(): Line {
  const [line, setLine] = useState<Line>({ state: "asking" });
  useEffect(() => listen(setLine), []);
  return line;
}
