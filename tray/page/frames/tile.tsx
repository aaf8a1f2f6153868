/** A frame on the contact sheet: its picture, its name, and what was said of it. Words before colours. */

import { counted } from "../../../shared/format.ts";
import type { FrameJson } from "../../../shared/framesApi.ts";
import { printable } from "../../../shared/text.ts";
import { addressOf } from "../address.ts";
import { frameName, ratingWords, whyNoPicture } from "./ratingWords.ts";

export interface TileOfFrame {
  /** undefined: not loaded yet. */
  readonly frame: FrameJson | undefined;
  readonly day: string;
  /** Its number in the day, from 0. */
  readonly number: number;
  readonly index: number;
  /** Whether Tab stops here. */
  readonly isStop: boolean;
  /** Whether its picture is near enough to be loaded. */
  readonly pictured: boolean;
  /** Its picture was there and isn't any more. */
  readonly onGone: (frame: FrameJson) => void;
}

export function Tile({ frame, day, number, index, isStop, pictured, onGone }: TileOfFrame) {
  if (frame === undefined)
    return (
      // biome-ignore lint/a11y/useValidAnchor: where it leads is known as soon as it is loaded; focus stays on it
      <a class="tile" role="link" aria-disabled="true" tabIndex={isStop ? 0 : -1} data-index={index}>
        <span class="tile-picture" />
        <span class="tile-name">
          …<span class="hidden">frame {number + 1} of the day, being loaded</span>
        </span>
        <span class="tile-said" />
      </a>
    );
  const why = whyNoPicture(frame);
  const doubt = frame.looked === "not-fine" ? "not fine" : "";
  const heard = [frame.taken.slice(11, 19), ratingWords(frame.rating), doubt, why];
  return (
    <a class="tile" href={addressOf("frames", day, frame.id)} tabIndex={isStop ? 0 : -1} data-index={index}>
      <span class="tile-picture" aria-hidden="true">
        {why !== "" ? (
          <span class="tile-why">{why}</span>
        ) : pictured ? (
          <img
            src={pictureAddress(frame.id, "sheet")}
            alt=""
            decoding="async"
            draggable={false}
            onError={() => onGone(frame)}
          />
        ) : null}
      </span>
      <span class="tile-name">{printable(frameName(frame), 80)}</span>
      {/* What is heard are words; what is seen may be shorter. */}
      <span class="hidden">{heard.filter((word) => word !== "").map((word) => `, ${word}`)}</span>
      <span class="tile-said" aria-hidden="true">
        <Rating rating={frame.rating} />
        {doubt === "" ? null : <span class="tile-doubt">{doubt}</span>}
        {frame.film && why !== "film" ? <span>film</span> : null}
      </span>
    </a>
  );
}

export function pictureAddress(id: string, size: "sheet" | "large"): string {
  return `/v1/frames/${encodeURIComponent(id)}/picture?size=${size}`;
}

/** `3` and a star; what isn't a number of stars in words. */
export function Rating({ rating }: { readonly rating: number | null }) {
  if (rating === null || rating === 0) return null;
  if (rating === -1) return <span>rejected</span>;
  return (
    <span class="rating">
      {rating}
      <Star />
    </span>
  );
}

/** Five points, the inner ones at the outer ones' 0.38. */
function Star() {
  const points = Array.from({ length: 10 }, (_, nth) => {
    const far = nth % 2 === 0 ? 6 : 6 * 0.382;
    const angle = (nth * Math.PI) / 5 - Math.PI / 2;
    return `${(7 + far * Math.cos(angle)).toFixed(2)},${(7.5 + far * Math.sin(angle)).toFixed(2)}`;
  }).join(" ");
  return (
    <svg class="star" viewBox="0 0 14 14" width="14" height="14" aria-hidden="true" focusable="false">
      <polygon points={points} fill="currentColor" />
    </svg>
  );
}

/** `1,824 frames`, `1 frame`. */
export const frameCount = (frames: number): string => counted(frames, "frame");
