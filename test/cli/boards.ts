/** Status documents made by hand: the evening of the fourth day, with one drive not here. */

import type { CardStatusJson, DriveStatusJson, StatusJson } from "../../shared/api.ts";

export function card(changes: Partial<CardStatusJson>): CardStatusJson {
  return {
    id: "7".repeat(16),
    label: "ALDINE_R2",
    name: "Card 7",
    trip: "Kestrel Cliffs",
    present: true,
    mount: "/media/anna/ALDINE_R2",
    files: 1824,
    bytes: 91_200_000_000,
    frames: 912,
    frameFiles: 1824,
    extras: 0,
    leavings: [],
    undated: [],
    held: [
      { drive: "Blue", files: 1824 },
      { drive: "Slate", files: 1824 },
      { drive: "Rust", files: 0 },
    ],
    clear: false,
    verdict: "Keep card 7: 1,824 files are short of their 3 copies.",
    lacking: [],
    lackingTotal: 1824,
    lastSeen: "2027-06-06T22:40:00+01:00",
    ...changes,
  };
}

export function drive(changes: Partial<DriveStatusJson>): DriveStatusJson {
  return {
    id: "b".repeat(32),
    name: "Blue",
    role: "primary",
    place: "on me",
    present: true,
    mount: "/media/anna/Blue",
    freeBytes: 1_200_000_000_000,
    totalBytes: 2_000_000_000_000,
    owed: { files: 0, bytes: 0 },
    holds: { files: 12_867, bytes: 640_000_000_000 },
    readBack: { direct: 12_867, remount: 0, cache: 0 },
    lastVerified: "2027-06-06T22:40:00+01:00",
    lastSeen: "2027-06-06T22:41:00+01:00",
    ...changes,
  };
}

export const evening: StatusJson = {
  trip: {
    id: "kc-20270603-3f9a",
    name: "Kestrel Cliffs",
    code: "KC",
    from: "2027-06-03",
    to: "2027-06-14",
    zone: "Atlantic/Faroe",
    goal: { copies: 3, places: 2 },
  },
  headline: "Not everything is safe yet.",
  advice: "Plug in Rust: it owes 3,557 files.",
  frames: { total: 6433, files: 12_867, atGoal: 4655 },
  drives: [
    drive({}),
    drive({
      id: "5".repeat(32),
      name: "Slate",
      role: "secondary",
      place: "room safe",
      mount: "/media/anna/Slate",
      owed: { files: 821, bytes: 41_000_000_000 },
      holds: { files: 12_046, bytes: 600_000_000_000 },
      readBack: { direct: 12_000, remount: 0, cache: 46 },
    }),
    drive({
      id: "4".repeat(32),
      name: "Rust",
      role: "further",
      place: "car",
      present: false,
      mount: null,
      freeBytes: null,
      totalBytes: null,
      owed: { files: 3557, bytes: 178_000_000_000 },
      holds: { files: 9310, bytes: 460_000_000_000 },
      readBack: { direct: 9310, remount: 0, cache: 0 },
      lastSeen: "2027-06-06T08:10:00+01:00",
    }),
  ],
  cards: [
    card({}),
    card({
      id: "8".repeat(16),
      label: "ALDINE_M1",
      name: "Card 8",
      mount: "/media/anna/ALDINE_M1",
      files: 1733,
      frameFiles: 1733,
      held: [
        { drive: "Blue", files: 1733 },
        { drive: "Slate", files: 912 },
        { drive: "Rust", files: 0 },
      ],
      lackingTotal: 1733,
      verdict: "Keep card 8: 1,733 files are short of their 3 copies.",
    }),
  ],
  work: [
    {
      kind: "copy",
      from: "Card 8",
      to: ["Slate"],
      doneBytes: 45_000_000_000,
      totalBytes: 86_000_000_000,
      bytesPerSecond: 96_000_000,
      secondsLeft: 240,
    },
  ],
  alerts: [
    {
      code: "drive-missing",
      severity: "warning",
      about: "Rust",
      text: "Rust is not here. What it holds is as it was. Plug it in.",
      happened: "Rust is not here.",
      safe: "What it holds is as it was.",
      next: "Plug it in.",
      since: "2027-06-04T08:10:00+01:00",
    },
  ],
  at: "2027-06-06T22:41:05+01:00",
};
