/**
 * One frame: as large as the window allows, its rating, what is known of it, and where its files are. Left and right go
 * to its neighbours, over days' ends too; the way back leads to its place on the sheet.
 */

import { useCallback, useEffect, useLayoutEffect, useRef, useState } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import { formatCount } from "../../../shared/format.ts";
import type { FrameDayJson, FrameFactsJson } from "../../../shared/framesApi.ts";
import { fullMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { Act } from "../act.tsx";
import { addressOf } from "../address.ts";
import { ask, change, Refused } from "../daemon.ts";
import { Words } from "../words.tsx";
import { Files } from "./files.tsx";
import type { FrameStore } from "./frameStore.ts";
import { frameKey } from "./keys.ts";
import { KeysHelp } from "./keysHelp.tsx";
import { LargePicture, useLargePictures } from "./largePicture.tsx";
import { RatingRow, useRater } from "./rating.tsx";
import { frameName } from "./ratingWords.ts";
import { dayWords, type SheetMemory } from "./sheet.tsx";
import { useKeys, useLetters } from "./useKeys.ts";
import { type Neighbours, useNeighbours } from "./useNeighbours.ts";

export function OneFrame({
  id,
  day,
  days,
  store,
  memory,
  status,
}: {
  readonly id: string;
  readonly day: string;
  readonly days: readonly FrameDayJson[];
  readonly store: FrameStore;
  readonly memory: SheetMemory;
  readonly status: StatusJson;
}) {
  const { frame, refusal, lookAgain, setFrame } = useFrame(id);
  const around = useNeighbours(store, days, day, id);
  const rater = useRater(
    frame,
    (of, { rating, stamp, sidecar }) => {
      setFrame((before) => (before?.id === of ? { ...before, rating, stamp, sidecar } : before));
      store.change(new Map([[of, { rating }]]));
    },
    lookAgain,
  );
  const pictures = useLargePictures(
    [id, around.next?.id, around.previous?.id].filter((each) => each !== undefined),
  );
  const [letters, setLetters] = useLetters();
  const back = addressOf("frames", day);
  useEffect(() => {
    memory.returns = true;
    if (around.number !== undefined) memory.place = { day, number: around.number };
  }, [memory, day, around.number]);
  const heading = useHeadingFocus();
  useKeys((event, typing) => {
    const act = frameKey(event, typing, letters);
    if (act === undefined) return false;
    if (act.kind === "rate") rater.choose(act.choice);
    else if (act.to === "sheet") location.hash = back;
    else if (around[act.to] !== undefined) location.hash = around[act.to]?.address ?? "";
    return true;
  });
  const look = async (fine: boolean) => {
    await change(`/v1/frames/${encodeURIComponent(id)}/look`, { fine });
    store.change(new Map([[id, { looked: fine ? ("fine" as const) : ("not-fine" as const) }]]));
    await lookAgain();
  };
  const known = frame ?? around.frame;
  const name = known === undefined ? "…" : printable(frameName(known), 80);
  return (
    <>
      <Way around={around} day={day} days={days} back={back} />
      <h1 ref={heading} tabIndex={-1} class="above-picture">
        {name}
      </h1>
      {refusal === undefined ? null : (
        <p class="refusal" role="alert">
          <Words text={`${refusal.message} ${refusal.next}`} />
        </p>
      )}
      <LargePicture
        id={id}
        film={known?.film ?? false}
        state={pictures.states.get(id)}
        words={known === undefined ? "" : `${name}, taken ${fullMoment(known.taken)}`}
        onGone={pictures.onGone}
      />
      <div class="below-picture">
        {frame === undefined ? null : (
          <>
            <RatingRow frame={frame} rater={rater} />
            <KeysHelp
              words="Keys: 0 to 5 rate, K keeps, R rejects; left and right go back and on, Escape goes to the sheet."
              letters={letters}
              onLetters={setLetters}
            />
            <Facts frame={frame} />
            <div class="acts">
              <span>{lookedWords(frame.looked)}</span>
              {frame.looked === "fine" ? null : <Act name="It is fine" run={() => look(true)} />}
              {frame.looked === "not-fine" ? null : <Act name="It isn't fine" run={() => look(false)} />}
            </div>
            <Files
              files={frame.files}
              goal={frame.goal}
              now={status.at}
              order={status.drives.map((drive) => drive.name)}
            />
          </>
        )}
      </div>
    </>
  );
}

function Way({
  around: { previous, next, number },
  day,
  days,
  back,
}: {
  readonly around: Neighbours;
  readonly day: string;
  readonly days: readonly FrameDayJson[];
  readonly back: string;
}) {
  const total = days.find((each) => each.day === day)?.frames ?? 0;
  return (
    <nav class="way" aria-label="From frame to frame">
      <a href={back}>Back to the sheet</a>
      <span class="small" role="status">
        {number === undefined
          ? ""
          : `frame ${formatCount(number + 1)} of ${formatCount(total)}, ${dayWords(day)}`}
      </span>
      <span class="way-ends">
        {previous === undefined ? <span class="no">Previous</span> : <a href={previous.address}>Previous</a>}
        {next === undefined ? <span class="no">Next</span> : <a href={next.address}>Next</a>}
      </span>
    </nav>
  );
}

function Facts({ frame }: { readonly frame: FrameFactsJson }) {
  const body = [
    frame.letter === "" ? "" : `body ${printable(frame.letter, 8)}`,
    printable(frame.model, 60),
    frame.serial === "" ? "" : `serial ${printable(frame.serial, 40)}`,
  ].filter((part) => part !== "");
  return (
    <dl class="facts">
      <div>
        <dt>Taken</dt>
        <dd>
          <time dateTime={frame.taken}>{`${fullMoment(frame.taken)}${frame.taken.slice(16, 19)}`}</time>
        </dd>
      </div>
      <div>
        <dt>Known by</dt>
        <dd>
          {printable(frame.basis)}
          {frame.camera === "" ? null : (
            <span class="place">the camera wrote {printable(frame.camera, 80)}</span>
          )}
        </dd>
      </div>
      <div>
        <dt>Body</dt>
        <dd>{body.length === 0 ? "unknown" : body.join(" · ")}</dd>
      </div>
      {frame.facts.map(({ name, value }) => (
        <div key={name}>
          <dt>{printable(name, 60)}</dt>
          <dd>{printable(value)}</dd>
        </div>
      ))}
    </dl>
  );
}

function lookedWords(looked: FrameFactsJson["looked"]): string {
  if (looked === null) return "Nobody said yet whether it is fine.";
  return looked === "fine" ? "Somebody looked: it is fine." : "Somebody looked: it isn't fine.";
}

/** The frame as the daemon tells it. While another is asked for, the last one isn't shown as it. */
function useFrame(id: string) {
  const [frame, setFrame] = useState<FrameFactsJson | undefined>(undefined);
  const [refusal, setRefusal] = useState<Refused | undefined>(undefined);
  const wanted = useRef(id);
  wanted.current = id;
  const lookAgain = useCallback(async () => {
    try {
      const answer = await ask<FrameFactsJson>(`/v1/frames/${encodeURIComponent(id)}`);
      if (wanted.current !== id) return;
      setFrame(answer);
      setRefusal(undefined);
    } catch (failure) {
      if (!(failure instanceof Refused)) throw failure;
      if (wanted.current === id) setRefusal(failure);
    }
  }, [id]);
  useEffect(() => {
    setRefusal(undefined);
    void lookAgain();
  }, [lookAgain]);
  return { frame: frame?.id === id ? frame : undefined, refusal, lookAgain, setFrame };
}

/** Whoever comes here hears where they are, and begins above. */
function useHeadingFocus() {
  const heading = useRef<HTMLHeadingElement>(null);
  useLayoutEffect(() => {
    scrollTo({ top: 0 });
    heading.current?.focus({ preventScroll: true });
  }, []);
  return heading;
}
