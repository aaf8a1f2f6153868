/**
 * What is said next to every verdict that invites to format a card: formatting can't be undone. Once for each answer,
 * however many cards it covers.
 */

export const formatCautions =
  "Before you format: a verdict covers the copies that were verified, at the time shown. Look at a few frames first. " +
  "Format in the camera, not in the computer, and keep the card if you can. Drives fail: keep copies in separate " +
  "places, and one off the road. Electrical, airline and local rules for batteries and equipment come before " +
  "anything said here.";
