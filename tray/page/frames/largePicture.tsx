/** One picture as large as the window allows, upright and whole on neutral grey, or why there is none in words. */

import { useEffect, useState } from "preact/hooks";
import type { PictureState } from "../../../shared/framesApi.ts";
import { change } from "../daemon.ts";
import { PictureWishes } from "./pictureWishes.ts";
import { whyNoPicture } from "./ratingWords.ts";
import { pictureAddress } from "./tile.tsx";

/** Asks for these pictures to be made. @returns how each stands; missing: not known yet */
export function useLargePictures(ids: readonly string[]): {
  readonly states: ReadonlyMap<string, PictureState>;
  /** It was said to be there and wasn't. */
  readonly onGone: (id: string) => void;
} {
  const [states, setStates] = useState<ReadonlyMap<string, PictureState>>(new Map());
  const [wishes] = useState(
    () =>
      new PictureWishes(
        "large",
        (frames, size) => change("/v1/pictures", { frames, size }),
        (told) => setStates((before) => new Map([...before, ...told])),
      ),
  );
  useEffect(() => () => wishes.end(), [wishes]);
  const open = ids.filter((id) => (states.get(id) ?? "waiting") === "waiting");
  useEffect(() => wishes.want(open), [JSON.stringify(open)]);
  return { states, onGone: (id) => setStates((before) => new Map([...before, [id, "waiting"]])) };
}

export function LargePicture({
  id,
  film,
  state,
  words,
  onGone,
}: {
  readonly id: string;
  readonly film: boolean;
  readonly state: PictureState | undefined;
  /** What the picture is called for those who don't see it. */
  readonly words: string;
  readonly onGone: (id: string) => void;
}) {
  const why = whyNoPicture({ picture: state ?? "waiting", film });
  return (
    <div class="large">
      {why === "" ? (
        // Another frame is another picture: the last one never stands under the next one's name.
        <img
          key={id}
          src={pictureAddress(id, "large")}
          alt={words}
          draggable={false}
          onError={() => onGone(id)}
        />
      ) : (
        <p>{sentence(why)}</p>
      )}
    </div>
  );
}

function sentence(words: string): string {
  return `${words.charAt(0).toUpperCase()}${words.slice(1)}.`;
}
