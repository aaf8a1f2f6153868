/** What is the matter: every alert has its three sentences, and names in them can't do harm. */

import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import {
  type AlertDrive,
  type AlertFault,
  type AlertTrip,
  type AlertView,
  alertsOf,
} from "../../daemon/core/alerts.ts";
import type { CardId, DriveId } from "../../shared/identity.ts";
import { alertCodes } from "../../shared/problems.ts";
import { bytes } from "../../shared/units.ts";

const nothing: AlertView = {
  trips: [],
  cards: [],
  faults: [],
  ambiguous: [],
  strangers: [],
  unreadable: [],
  unfinished: [],
  damaged: [],
  withdrawn: [],
  vanished: [],
  emptied: [],
  conflicts: [],
  doubted: [],
  nowhere: { paths: [], cards: [] },
  filling: [],
  spoilt: [],
};

function drive(name: string, more: Partial<AlertDrive> = {}): AlertDrive {
  return {
    name,
    id: name as DriveId,
    place: `with ${name}`,
    present: true,
    lost: false,
    away: undefined,
    holdsFiles: 10,
    owedFiles: 0,
    owedBytes: bytes(0),
    unfit: undefined,
    ...more,
  };
}

function trip(drives: readonly AlertDrive[], more: Partial<AlertTrip> = {}): AlertView {
  const one = {
    id: "kc",
    name: "Kestrel Cliffs",
    goal: { copies: 3, places: 2 },
    cardHasNews: false,
    drives,
  };
  return { ...nothing, trips: [{ ...one, ...more }] };
}

const fault = (code: AlertFault["code"], more: Partial<AlertFault> = {}): AlertView => ({
  ...nothing,
  faults: [
    {
      medium: "c1" as CardId,
      mediumName: "Card 7",
      code,
      paths: ["DCIM/100ABCDE/ABCD0001.JPG"],
      detail: "",
      ...more,
    },
  ],
});

/** One of each kind, so that the sentences of all can be looked at. */
const views: readonly AlertView[] = [
  trip([drive("Blue"), drive("Rust", { present: false, owedFiles: 1824, owedBytes: bytes(34_000_000_000) })]),
  trip([drive("Blue"), drive("Rust", { id: undefined, present: false })], { cardHasNews: true }),
  trip([drive("Blue"), drive("Slate", { unfit: { files: 311, bytes: bytes(14_000_000_000) } })]),
  trip([drive("Blue", { place: "bag" }), drive("Slate", { place: "bag" })]),
  ...(["read-error", "write-error", "copy-differs", "name-clash", "bad-name", "too-large"] as const).map(
    (code) => fault(code),
  ),
  ...(["none", "several", "trip"] as const).map((decision) => ({
    ...nothing,
    cards: [
      {
        id: "c1" as CardId,
        name: "Card 7",
        decision,
        candidates: ["Kestrel Cliffs", "Tern Bay"],
        outside: 3,
        from: "2016-01-01",
        to: "2027-06-04",
      },
    ],
  })),
  { ...nothing, ambiguous: ["/media/odd"] },
  { ...nothing, strangers: [{ mount: "/media/copy", name: "Blue", why: "twice" }] },
  { ...nothing, strangers: [{ mount: "/media/theirs", name: "Theirs", why: "unknown" }] },
  { ...nothing, spoilt: [{ name: "Blue", id: "blue", lines: 2 }] },
];

test("every alert says what happened, what is safe and what to do next", () => {
  for (const alert of views.flatMap(alertsOf)) {
    for (const sentence of [alert.happened, alert.safe, alert.next])
      expect(sentence, `${alert.code}: ${sentence}`).toMatch(/^[A-Z`0-9/].*[.]$/s);
    expect(`${alert.happened}${alert.safe}${alert.next}`).not.toMatch(/undefined|NaN|\s{2}|!/);
    expect(alertCodes).toContain(alert.code);
  }
  expect(views.flatMap(alertsOf)).toHaveLength(views.length);
});

test("a drive that is away is named with what it owes, and who has it", () => {
  const [alert] = alertsOf(views[0] ?? nothing);
  expect(alert).toMatchObject({
    code: "drive-missing",
    happened: "Rust is not plugged in. It owes 1,824 files (34 GB).",
    safe: "Copying goes on to Blue.",
  });
});

test("a drive that is away and owes nothing is nobody's matter, until a card with new files is in", () => {
  const away = [drive("Blue"), drive("Rust", { present: false })];
  expect(alertsOf(trip(away))).toEqual([]);
  expect(alertsOf(trip(away, { cardHasNews: true })).map((alert) => alert.code)).toEqual(["drive-missing"]);
});

test("names from cards and drives are harmless in alerts", () => {
  const hostile = "\u001b[2J\n<b>\u202e";
  const drives = [drive(hostile, { present: false, owedFiles: 1 }), drive("Blue")];
  const all = [
    ...alertsOf(trip(drives, { name: hostile })),
    ...alertsOf(fault("write-error", { mediumName: hostile, paths: [hostile], detail: hostile })),
    ...alertsOf({
      ...nothing,
      ambiguous: [hostile],
      strangers: [{ mount: hostile, name: hostile, why: "twice" }],
    }),
  ];
  for (const { happened, safe, next } of all) expect(happened + safe + next).not.toMatch(/[\u001b\n\u202e]/);
});

test("the README lists exactly the alert codes that exist", () => {
  const readme = readFileSync(new URL("../../README.md", import.meta.url), "utf8");
  const listed = [...readme.matchAll(/^\| `([a-z-]+)` \|/gm)].map((match) => match[1]);
  expect(listed.sort()).toEqual([...alertCodes].sort());
});
