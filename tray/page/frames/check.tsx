/**
 * The sample check: a few frames of a day, chosen so that every card, body and hour is among them, one after the other
 * large. Whoever looks says of each whether it is fine; answers are kept by the daemon. At the end stands what was
 * covered and what to do. Not its job: choosing them.
 */

import { useEffect, useLayoutEffect, useRef, useState } from "preact/hooks";
import { formatCautions } from "../../../shared/cautions.ts";
import { counted } from "../../../shared/format.ts";
import type { FrameDaysJson, FrameJson, SampleJson } from "../../../shared/framesApi.ts";
import { fullMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { addressOf } from "../address.ts";
import { ask, change, Refused } from "../daemon.ts";
import { Words } from "../words.tsx";
import { checkKey } from "./keys.ts";
import { KeysHelp } from "./keysHelp.tsx";
import { LargePicture, useLargePictures } from "./largePicture.tsx";
import { frameName } from "./ratingWords.ts";
import { dayWords } from "./sheet.tsx";
import { useKeys, useLetters } from "./useKeys.ts";

type SampleFrame = SampleJson["frames"][number];

export function SampleCheck({
  trip,
  day,
  tell,
}: {
  readonly trip: FrameDaysJson["trip"];
  readonly day: string;
  /** Tells the sheet what was said. */
  readonly tell: (changes: ReadonlyMap<string, Partial<FrameJson>>) => void;
}) {
  const [sample, setSample] = useState<SampleJson | undefined>(undefined);
  const [refusal, setRefusal] = useState<Refused | undefined>(undefined);
  /** Which of them is shown; their number: the end. */
  const [at, setAt] = useState(0);
  const [letters, setLetters] = useLetters();
  const frames = sample?.frames ?? [];
  const shown = frames[at];
  const pictures = useLargePictures(frames.map(({ id }) => id));
  const answering = useRef(false);

  useEffect(() => {
    ask<SampleJson>(`/v1/frame-sample?${new URLSearchParams({ trip: trip.id, day })}`).then(
      (answer) => {
        setSample(answer);
        const open = answer.frames.findIndex(({ looked }) => looked === null);
        setAt(open < 0 ? answer.frames.length : open);
      },
      (failure: unknown) => {
        if (!(failure instanceof Refused)) throw failure;
        setRefusal(failure);
      },
    );
  }, [trip.id, day]);

  const answer = async (frame: SampleFrame, fine: boolean) => {
    // A second answer before the first is kept would be one for a frame that nobody saw yet.
    if (answering.current) return;
    answering.current = true;
    setRefusal(undefined);
    try {
      await change(`/v1/frames/${encodeURIComponent(frame.id)}/look`, { fine });
      const looked = fine ? ("fine" as const) : ("not-fine" as const);
      setSample(
        (before) =>
          before && {
            ...before,
            frames: before.frames.map((each) => (each.id === frame.id ? { ...each, looked } : each)),
          },
      );
      tell(new Map([[frame.id, { looked }]]));
      setAt((before) => Math.min(before + 1, frames.length));
    } catch (failure) {
      if (!(failure instanceof Refused)) throw failure;
      setRefusal(failure);
    } finally {
      answering.current = false;
    }
  };
  const go = (by: number) => setAt((before) => Math.max(0, Math.min(frames.length, before + by)));
  useKeys((event, typing) => {
    const act = checkKey(event, typing, letters);
    if (act === undefined) return false;
    if (act.kind === "go") go(act.to === "next" ? 1 : -1);
    else if (shown !== undefined) void answer(shown, act.fine);
    return true;
  });
  const heading = useRef<HTMLHeadingElement>(null);
  const isEnd = sample !== undefined && shown === undefined;
  useLayoutEffect(() => {
    scrollTo({ top: 0 });
    heading.current?.focus({ preventScroll: true });
  }, [isEnd]);

  const words = dayWords(day);
  return (
    <>
      <nav class="way" aria-label="From frame to frame">
        <a href={addressOf("frames", day)}>Back to the sheet</a>
        <span class="small" role="status">
          {shown === undefined ? "" : `frame ${at + 1} of ${frames.length}`}
        </span>
        {frames.length === 0 ? null : (
          <span class="way-ends">
            <button type="button" class="link" aria-disabled={at === 0} onClick={() => go(-1)}>
              Previous
            </button>
            <button type="button" class="link" aria-disabled={shown === undefined} onClick={() => go(1)}>
              Next
            </button>
          </span>
        )}
      </nav>
      <h1 ref={heading} tabIndex={-1} class={shown === undefined ? undefined : "above-picture"}>
        Sample check, {words}
      </h1>
      {refusal === undefined ? null : (
        <p class="refusal" role="alert">
          <Words text={`${refusal.message} ${refusal.next}`} />
        </p>
      )}
      {sample === undefined ? (
        refusal === undefined ? (
          <p class="small">Asking the daemon …</p>
        ) : null
      ) : shown === undefined ? (
        <Summary sample={sample} day={day} onAgain={() => setAt(0)} />
      ) : (
        <>
          <LargePicture
            id={shown.id}
            film={shown.film}
            state={pictures.states.get(shown.id)}
            words={`${printable(frameName(shown), 80)}, taken ${fullMoment(shown.taken)}`}
            onGone={pictures.onGone}
          />
          <p>
            <strong>{printable(frameName(shown), 80)}</strong> stands for{" "}
            {shown.stands.map((word) => printable(word, 60)).join(" · ")}.{" "}
            {shown.looked === null ? "" : shown.looked === "fine" ? "You said: fine." : "You said: not fine."}
          </p>
          <p class="acts">
            <button type="button" onClick={() => void answer(shown, true)}>
              Fine
            </button>
            <button type="button" onClick={() => void answer(shown, false)}>
              Not fine
            </button>
          </p>
          <KeysHelp
            words="Keys: F is fine, N is not fine; left and right go back and on."
            letters={letters}
            onLetters={setLetters}
          />
          <p class="small purpose">
            Look at a few frames before a card is formatted: {frames.length} of this day, so that every card,
            body and hour is among them. Fine is a frame that is whole: nothing torn, shifted, grey or black
            that wasn't so.
          </p>
        </>
      )}
    </>
  );
}

function Summary({
  sample: { frames, covers },
  day,
  onAgain,
}: {
  readonly sample: SampleJson;
  readonly day: string;
  readonly onAgain: () => void;
}) {
  if (frames.length === 0) return <p class="advice">This day has no frames to look at.</p>;
  const fine = frames.filter(({ looked }) => looked === "fine").length;
  const doubted = frames.filter(({ looked }) => looked === "not-fine");
  const open = frames.length - fine - doubted.length;
  const covered = [
    counted(covers.cards, "card"),
    counted(covers.bodies, "body", "bodies"),
    counted(covers.hours, "hour"),
  ].join(", ");
  return (
    <>
      <p class="advice">
        {[
          `${fine} of ${frames.length} ${fine === 1 ? "is" : "are"} fine`,
          doubted.length === 0 ? "" : `${doubted.length} ${doubted.length === 1 ? "isn't" : "aren't"}`,
          open === 0 ? "" : `${open} ${open === 1 ? "isn't" : "aren't"} answered yet`,
        ]
          .filter((part) => part !== "")
          .join(", ")}
        .
      </p>
      <p class="covered">The day's sample covers {covered}. A frame that isn't in it may still be wrong.</p>
      {doubted.length === 0 ? null : (
        <section class="matter urgent" aria-label="Not fine">
          <p>
            <strong>Keep the card.</strong> Look at these in another program; if they are no better there, try
            another reader. What was copied stays as it is.
          </p>
          <ul class="files">
            {doubted.map((frame) => (
              <li key={frame.id}>
                <a href={addressOf("frames", day, frame.id)}>{printable(frameName(frame), 80)}</a>:{" "}
                {frame.stands.map((word) => printable(word, 60)).join(" · ")}
              </li>
            ))}
          </ul>
        </section>
      )}
      <p class="acts">
        <button type="button" onClick={onAgain}>
          Look at them again
        </button>
      </p>
      {doubted.length === 0 && open === 0 ? <p class="cautions">{formatCautions}</p> : null}
    </>
  );
}
