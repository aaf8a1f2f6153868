/**
 * A rating in words and what a choice makes of it. xmp:Rating as ISO 16684-1 has it (8.4): -1 rejected, 0 unrated, 1 to
 * 5; other programs write halves and odd numbers, which are shown as they are and never written by us.
 */

import type { FrameJson } from "../../../shared/framesApi.ts";

/** What can be chosen on the page. */
export type Choice = 0 | 1 | 2 | 3 | 4 | 5 | "keep" | "reject";

/** `rated 3`, `rejected`, `unrated`; "" where nothing is said. */
export function ratingWords(rating: number | null): string {
  if (rating === null) return "";
  if (rating === -1) return "rejected";
  return rating === 0 ? "unrated" : `rated ${rating}`;
}

/** What is to be written; undefined where it stands so already. */
export function ratingAfter(rating: number | null, choice: Choice): number | undefined {
  const wanted = choice === "reject" ? -1 : choice === "keep" ? keptAs(rating) : choice;
  return wanted === rating ? undefined : wanted;
}

/** To keep a frame is to rate it at least 1; one that is rated is kept already. */
function keptAs(rating: number | null): number {
  return rating === null || rating < 1 ? 1 : rating;
}

/** Why there is no picture, in a few words; "" where there is one. */
export function whyNoPicture({ picture, film }: Pick<FrameJson, "picture" | "film">): string {
  switch (picture) {
    case "ready":
      return "";
    case "waiting":
      return "picture is being made";
    case "away":
      return "its drives aren't here";
    case "none":
      return film ? "film" : "no picture in it";
  }
}

/** What a frame is called: the last part of its name below the trip's folder. */
export function frameName({ stem }: Pick<FrameJson, "stem">): string {
  return stem.slice(stem.lastIndexOf("/") + 1);
}
