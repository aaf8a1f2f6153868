/**
 * Frames: the contact sheet by day, one frame large, and the sample check of a day. Which of them is shown stands in the
 * address: `#frames`, `#frames/DAY`, `#frames/DAY/ID`, `#frames/DAY/check`.
 */

import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import { formatCount } from "../../../shared/format.ts";
import type { FrameDaysJson } from "../../../shared/framesApi.ts";
import { printable } from "../../../shared/text.ts";
import { addressOf } from "../address.ts";
import { ask, Refused } from "../daemon.ts";
import { Words } from "../words.tsx";
import { SampleCheck } from "./check.tsx";
import { OneFrame } from "./frame.tsx";
import { FrameStore } from "./frameStore.ts";
import { dayWords, Sheet, type SheetMemory } from "./sheet.tsx";
import { frameCount } from "./tile.tsx";

/** ms. While a card is copied its frames become more all the time. */
const lookAgain = 2_000;

export function Frames({ status, rest }: { readonly status: StatusJson; readonly rest: readonly string[] }) {
  const [chosen, setChosen] = useState<string | undefined>(undefined);
  const { outline, refusal } = useOutline(chosen, status);
  const memory = useRef<SheetMemory>({ place: undefined, returns: false, scroll: 0 });
  const store = useStore(outline, status);
  useEffect(() => {
    // The screen scrolls to where somebody was by itself, since it knows better where that is.
    const before = history.scrollRestoration;
    history.scrollRestoration = "manual";
    return () => {
      history.scrollRestoration = before;
    };
  }, []);
  const said = refusal ?? store?.refusal;
  const alert =
    said === undefined ? null : (
      <p class="refusal" role="alert">
        <Words text={`${said.message} ${said.next}`} />
      </p>
    );
  const [given, id] = rest;
  const day = given === latestDay ? outline?.days.at(-1)?.day : given;
  if (outline === undefined || store === undefined)
    return (
      <>
        <h1>Frames</h1>
        {alert ?? <p class="small">Asking the daemon …</p>}
      </>
    );
  if (day !== undefined && id === "check")
    return <SampleCheck key={day} trip={outline.trip} day={day} tell={(changes) => store.change(changes)} />;
  if (day !== undefined && id !== undefined && id !== "")
    return (
      <OneFrame id={id} day={day} days={outline.days} store={store} memory={memory.current} status={status} />
    );
  return (
    <>
      <h1>Frames</h1>
      {alert}
      <Outline outline={outline} onTrip={setChosen} />
      {outline.days.length === 0 ? null : (
        <Sheet key={store.trip} days={outline.days} store={store} day={day} memory={memory.current} />
      )}
    </>
  );
}

/** In an address: whichever day is the latest. */
export const latestDay = "latest";

function Outline({
  outline: { trip, trips, days },
  onTrip,
}: {
  readonly outline: FrameDaysJson;
  readonly onTrip: (trip: string) => void;
}) {
  const frames = days.reduce((sum, day) => sum + day.frames, 0);
  const last = days.at(-1);
  return (
    <>
      {last === undefined ? (
        <p class="advice">None is filed yet. Put a card in.</p>
      ) : (
        <p class="outline">
          {printable(trip.name, 60)}: {frameCount(frames)} of {formatCount(days.length)}{" "}
          {days.length === 1 ? "day" : "days"}. The latest is{" "}
          <a href={addressOf("frames", last.day)}>{dayWords(last.day)}</a>;{" "}
          <a href={addressOf("frames", last.day, "check")}>look at a few of its frames</a> before a card is
          formatted.
        </p>
      )}
      {trips.length < 2 ? null : (
        <p class="acts">
          <label>
            Trip{" "}
            <select value={trip.id} onChange={(event) => onTrip(event.currentTarget.value)}>
              {trips.map((each) => (
                <option key={each.id} value={each.id}>
                  {printable(each.name, 60)}
                </option>
              ))}
            </select>
          </label>
        </p>
      )}
    </>
  );
}

/** The days of the trip, asked for again as its frames become more. */
function useOutline(
  trip: string | undefined,
  status: StatusJson,
): { readonly outline: FrameDaysJson | undefined; readonly refusal: Refused | undefined } {
  const [outline, setOutline] = useState<FrameDaysJson | undefined>(undefined);
  const [refusal, setRefusal] = useState<Refused | undefined>(undefined);
  const asked = useRef<string | undefined>(undefined);
  const known = `${status.trip?.id ?? ""} ${status.frames.total} ${status.frames.files}`;
  useEffect(() => {
    const question = new AbortController();
    const query = trip === undefined ? "" : `?${new URLSearchParams({ trip })}`;
    const isFirst = asked.current !== query;
    asked.current = query;
    const look = () =>
      ask<FrameDaysJson>(`/v1/frame-days${query}`, question.signal).then(
        (answer) => {
          setOutline(answer);
          setRefusal(undefined);
        },
        (failure: unknown) => {
          if (question.signal.aborted) return;
          if (!(failure instanceof Refused)) throw failure;
          setRefusal(failure);
        },
      );
    const timer = setTimeout(look, isFirst ? 0 : lookAgain);
    return () => {
      clearTimeout(timer);
      question.abort();
    };
  }, [trip, known]);
  return { outline, refusal };
}

/** One store a trip; what it keeps is doubted where a day has other counts, and where drives came or went. */
function useStore(outline: FrameDaysJson | undefined, status: StatusJson): FrameStore | undefined {
  const [, setVersion] = useState(0);
  const trip = outline?.trip.id;
  const store = useMemo(
    () => (trip === undefined ? undefined : new FrameStore(trip, () => setVersion((version) => version + 1))),
    [trip],
  );
  useEffect(() => () => store?.end(), [store]);
  const counts = useRef(new Map<string, string>());
  useEffect(() => {
    const now = new Map(outline?.days.map(({ day, frames, files }) => [day, `${frames} ${files}`]));
    const before = counts.current;
    counts.current = now;
    store?.doubt((day) => before.get(day) !== now.get(day));
  }, [store, outline]);
  const here = status.drives.filter(({ present }) => present).map(({ name }) => name);
  useEffect(() => store?.doubt(() => true), [store, JSON.stringify(here)]);
  return store;
}
