/** What is said when a rating can't be written: what happened, what is safe, what to do. */

import { type FileFault, UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import type { PresentDrive } from "./presence.ts";

export function changedMeanwhile(): UserMistake {
  return new UserMistake(
    "The sidecar was changed meanwhile by another program. What it wrote stands; the rating wasn't written.",
    "Look at the frame again, then rate it.",
  );
}

/** What is said of a drive that failed while a rating was being written. */
export function mistakeOf(fault: FileFault, { name: drive }: PresentDrive): UserMistake {
  const name = printable(drive);
  const kept = "The sidecar is as it was.";
  switch (fault.code) {
    case "no-space":
      return new UserMistake(
        `${name} is full, so the rating wasn't written. ${kept}`,
        `Free some space on ${name}, then rate the frame again.`,
      );
    case "read-only":
    case "denied":
      return new UserMistake(
        `${name} can't be written, so the rating wasn't. ${kept}`,
        `Plug ${name} in so that it can be written, then rate the frame again.`,
      );
    case "missing":
      return changedMeanwhile();
    case "exists":
      return new UserMistake(
        `A folder on ${name} is a link or a file. Nothing was changed.`,
        `Look at the trip's folder on ${name}; ratings are written into plain folders only.`,
      );
    case "too-large":
      return new UserMistake(
        `The sidecar is too large to be rated. It was left as it is.`,
        "Rate this frame in the program that wrote the sidecar.",
      );
    case "bad-name":
      return new UserMistake(
        `${name} can't hold the sidecar's name, so the rating wasn't written. Nothing was changed.`,
        "Rate this frame in an editor.",
      );
    default:
      return new UserMistake(
        `${name} went or failed while the rating was being written. No version of the sidecar is lost.`,
        `Plug ${name} in again: what was begun is undone by itself. Then look at the frame and rate it again.`,
        74,
      );
  }
}
