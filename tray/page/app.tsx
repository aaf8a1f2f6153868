/** The page's frame: which screen is shown, what the daemon says, and what to do when it says nothing. */

import type { JSX } from "preact";
import { useEffect, useState } from "preact/hooks";
import type { StatusJson } from "../../shared/api.ts";
import { dayOfTrip, fullMoment } from "../../shared/moments.ts";
import { printable } from "../../shared/text.ts";
import { type Line, listen } from "./daemon.ts";
import { Drives } from "./drives.tsx";
import { Evening } from "./evening.tsx";
import { Happened } from "./happened.tsx";

interface Screen {
  /** What stands behind `#` in the address. */
  readonly at: string;
  readonly name: string;
  readonly view: (status: StatusJson) => JSX.Element;
}

const evening: Screen = {
  at: "evening",
  name: "This evening",
  view: (status) => <Evening status={status} />,
};
const screens: readonly Screen[] = [
  evening,
  { at: "drives", name: "Drives", view: (status) => <Drives status={status} /> },
  { at: "happened", name: "What happened", view: () => <Happened /> },
];

export function App() {
  const line = useLine();
  const screen = useScreen();
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
        </p>
        <nav aria-label="Screens">
          {screens.map(({ at, name }) => (
            <a key={at} href={`#${at}`} aria-current={screen.at === at ? "page" : undefined}>
              {name}
            </a>
          ))}
        </nav>
      </header>
      {line.state === "gone" ? <Gone /> : null}
      <main id="content" tabIndex={-1} aria-busy={line.state === "gone"}>
        {screen.view(status)}
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

function useScreen(): Screen {
  const [screen, setScreen] = useState(screenOfAddress);
  useEffect(() => {
    const changed = () => setScreen(screenOfAddress());
    addEventListener("hashchange", changed);
    return () => removeEventListener("hashchange", changed);
  }, []);
  useEffect(() => {
    document.title = `${screen.name} · Scrubjay`;
  }, [screen]);
  return screen;
}

function screenOfAddress(): Screen {
  return screens.find(({ at }) => `#${at}` === location.hash) ?? evening;
}
