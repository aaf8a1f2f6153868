/**
 * What is said next to every verdict that invites to format a card or to reuse a drive: neither can be undone. Once for
 * each answer, however many cards or drives it covers.
 */

import { counted } from "./format.ts";

export const formatCautions =
  "Before you format: a verdict covers the copies that were verified, at the time shown. Look at a few frames first. " +
  "Format in the camera, not in the computer, and keep the card if you can. Drives fail: keep copies in separate " +
  "places, and one off the road. Electrical, airline and local rules for batteries and equipment come before " +
  "anything said here.";

/** @param copies how many archives hold the trip @param places on how many different disks or servers they are */
export function reuseCautions(copies: number, places: number): string {
  const archive =
    places < 2
      ? "The archive is one place: keep a drive as it is until a second archive copy exists in another place. "
      : `The archive is ${counted(copies, "copy", "copies")} in ${counted(places, "place")}. `;
  return (
    "Before you reuse a drive: this covers what was verified, at the time shown. Look at a few frames in the archive " +
    `first. ${archive}What is erased can't be had back; nothing here erases it. What lies on a drive outside the trip's ` +
    "folder wasn't looked at, and earlier versions of work files come home only if they were asked for. Drives fail: " +
    "keep copies in separate places. Electrical, airline and local rules for batteries and equipment come before " +
    "anything said here."
  );
}
