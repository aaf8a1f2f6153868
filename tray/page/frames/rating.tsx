/**
 * Rating one frame: what stands in its sidecar, and the choices. Nothing is shown as rated before the daemon wrote it; of
 * choices made while one is being written, the last is written next. What the daemon refuses is said in its own words,
 * and the frame is read again.
 */

import { useRef, useState } from "preact/hooks";
import type { FrameFactsJson, RatedJson } from "../../../shared/framesApi.ts";
import { printable } from "../../../shared/text.ts";
import { change, Refused } from "../daemon.ts";
import { Words } from "../words.tsx";
import { type Choice, ratingAfter, ratingWords } from "./ratingWords.ts";

export interface Rater {
  readonly choose: (choice: Choice) => void;
  /** What is being written; undefined: nothing. */
  readonly writing: number | undefined;
  /** What was done or refused last. */
  readonly done: string;
  readonly refusal: Refused | undefined;
}

/**
 * @param rated told what was written
 * @param lookAgain reads the frame anew after a refusal
 */
export function useRater(
  frame: FrameFactsJson | undefined,
  rated: (id: string, answer: RatedJson) => void,
  lookAgain: () => Promise<void>,
): Rater {
  const [writing, setWriting] = useState<number | undefined>(undefined);
  const [said, setSaid] = useState<{
    readonly id: string;
    readonly done: string;
    readonly refusal?: Refused;
  }>();
  const busy = useRef(false);
  const next = useRef<{ readonly id: string; readonly choice: Choice } | undefined>(undefined);

  const write = async (
    { id, rating, stamp }: Pick<FrameFactsJson, "id" | "rating" | "stamp">,
    choice: Choice,
  ) => {
    const wanted = ratingAfter(rating, choice);
    if (wanted === undefined) {
      setSaid({ id, done: `It is ${ratingWords(rating)} already.` });
      return;
    }
    busy.current = true;
    setWriting(wanted);
    let stands = { id, rating, stamp };
    try {
      const answer = await change<RatedJson>(`/v1/frames/${encodeURIComponent(id)}/rate`, {
        rating: wanted,
        stamp,
      });
      stands = { id, ...answer };
      rated(id, answer);
      setSaid({ id, done: `It is ${ratingWords(answer.rating)} now.` });
    } catch (failure) {
      if (!(failure instanceof Refused)) throw failure;
      next.current = undefined;
      setSaid({ id, done: "", refusal: failure });
      await lookAgain();
    } finally {
      busy.current = false;
      setWriting(undefined);
    }
    const waiting = next.current;
    next.current = undefined;
    if (waiting?.id === id) await write(stands, waiting.choice);
  };

  const choose = (choice: Choice) => {
    if (frame === undefined || frame.notRatable !== "") return;
    if (busy.current) next.current = { id: frame.id, choice };
    else void write(frame, choice);
  };
  const own = said?.id === frame?.id ? said : undefined;
  return { choose, writing, done: own?.done ?? "", refusal: own?.refusal };
}

const choices: readonly { readonly choice: Choice; readonly name: string; readonly label: string }[] = [
  { choice: "reject", name: "Reject", label: "Reject" },
  ...([0, 1, 2, 3, 4, 5] as const).map((choice) => ({
    choice,
    name: String(choice),
    label: choice === 0 ? "0, unrated" : `${choice} of 5`,
  })),
  { choice: "keep", name: "Keep", label: "Keep" },
];

export function RatingRow({ frame, rater }: { readonly frame: FrameFactsJson; readonly rater: Rater }) {
  const { rating, notRatable, sidecar } = frame;
  const words = ratingWords(rating);
  return (
    <section aria-label="Rating">
      <p>
        {words === "" ? "Not judged yet" : `${words.charAt(0).toUpperCase()}${words.slice(1)}`}
        {sidecar === null ? (
          "."
        ) : (
          <span class="small">
            , as <code>{printable(sidecar.path)}</code> on {printable(sidecar.drive, 40)} says.
          </span>
        )}
      </p>
      {notRatable === "" ? (
        <div class="acts choices">
          {choices.map(({ choice, name, label }) => {
            const isSo = choice === "reject" ? rating === -1 : choice !== "keep" && rating === choice;
            return (
              <button
                key={name}
                type="button"
                aria-label={label}
                aria-pressed={choice === "keep" ? undefined : isSo}
                aria-disabled={rater.writing !== undefined}
                onClick={() => rater.choose(choice)}
              >
                {name}
              </button>
            );
          })}
        </div>
      ) : (
        <p>
          <Words text={notRatable} />
        </p>
      )}
      <p class="small" role="status">
        {rater.writing !== undefined ? `Writing: ${ratingWords(rater.writing)} …` : rater.done}
      </p>
      {rater.refusal === undefined ? null : (
        <p class="refusal" role="alert">
          <Words text={`${rater.refusal.message} ${rater.refusal.next}`} />
        </p>
      )}
    </section>
  );
}
