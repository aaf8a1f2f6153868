/** A daemon that isn't there: answers what the test gives it and notes what it was asked. */

import type { DaemonFace } from "../../daemon/api/face.ts";
import type {
  CardStatusJson,
  DriveLostJson,
  DriveStatusJson,
  RebuildJson,
  ScrubJson,
  StatusJson,
  WaitJson,
} from "../../shared/api.ts";
import { UserMistake } from "../../shared/problems.ts";

export interface FakeFace extends DaemonFace {
  readonly asked: string[];
  /** Set: `wait` and `scrub` don't resolve before their signal aborts. */
  waitsForever: boolean;
  statusAnswer: StatusJson;
  waitAnswer: WaitJson;
  scrubAnswer: ScrubJson;
  /** Set: `scrub` resolves with it. */
  scrubbing: Promise<void> | undefined;
  lostAnswer: DriveLostJson;
  rebuildAnswer: RebuildJson;
  failsWith: Error | undefined;
}

/** Whatever is asked of it was not to be asked. */
const unasked = <T extends object>(): T =>
  new Proxy({} as T, {
    get: (_target, name) => {
      throw new Error(`${String(name)} was not to be asked`);
    },
  });

export function fakeFace(status: StatusJson): FakeFace {
  const face: FakeFace = {
    asked: [],
    waitsForever: false,
    statusAnswer: status,
    waitAnswer: { idle: true, owed: { files: 0, bytes: 0 }, cardsNotClear: 0 },
    scrubAnswer: { drives: [], findings: [], complete: true },
    scrubbing: undefined,
    lostAnswer: {
      id: "4".repeat(32),
      name: "Rust",
      held: { files: 0, bytes: 0 },
      short: 0,
      nowhere: [],
      nowhereTotal: 0,
      withdrawn: [],
    },
    rebuildAnswer: {
      drives: [],
      trips: [],
      torn: 0,
      disagreeing: 0,
      elsewhere: [],
      nowhere: [],
      nowhereTotal: 0,
    },
    failsWith: undefined,
    trips: unasked(),
    edits: unasked(),
    home: unasked(),
    frames: unasked(),
    holdings: () => ({ trip: null, days: [], at: status.at }),
    happened: (before) => {
      face.asked.push(`happened ${before ?? "until now"}`);
      return [];
    },
    pause: async () => {
      face.asked.push("pause");
    },
    goOn: async () => {
      face.asked.push("continue");
    },
    status: () => {
      face.asked.push("status");
      if (face.failsWith !== undefined) throw face.failsWith;
      return face.statusAnswer;
    },
    cards: (): readonly CardStatusJson[] => face.statusAnswer.cards,
    drives: (): readonly DriveStatusJson[] => face.statusAnswer.drives,
    addDrive: async (mount, name) => {
      face.asked.push(`addDrive ${mount} ${name}`);
      if (name === "Taken")
        throw new UserMistake("A drive is called so already.", "Choose another name.", 64);
      return { id: "0".repeat(32), name, mount };
    },
    assignCard: async (card, trip) => {
      face.asked.push(`assignCard ${card} ${trip}`);
    },
    dismissCard: async (card) => {
      face.asked.push(`dismissCard ${card}`);
      return { card, name: "Card 7", unread: 2 };
    },
    acceptDamage: async (card, path) => {
      face.asked.push(`acceptDamage ${card} ${path}`);
      if (path === "DCIM/whole.NEF")
        throw new UserMistake("That file isn't damaged.", "`scrubjay cards` names those that are.");
      return { card, name: "Card 7", path };
    },
    loseDrive: async (name) => {
      face.asked.push(`loseDrive ${name}`);
      if (name === "Busy") throw new UserMistake("Busy is plugged in.", "Take it out first.");
      return face.lostAnswer;
    },
    scrub: async (drive, stop) => {
      face.asked.push(`scrub ${drive ?? "all"}`);
      if (drive === "Nobody")
        throw new UserMistake("No drive is called Nobody.", "`scrubjay drive list` names them.");
      if (face.waitsForever) {
        await new Promise<void>((resolve) => stop.addEventListener("abort", () => resolve()));
        face.asked.push("scrub ended");
      }
      await face.scrubbing;
      return face.scrubAnswer;
    },
    rebuild: async (mounts, owner) => {
      face.asked.push(`rebuild ${mounts.join(" ")} ${owner ?? "nobody"}`);
      if (mounts.includes("/media/card")) throw new UserMistake("/media/card is a card.", "Name a drive.");
      return face.rebuildAnswer;
    },
    eject: async (name) => {
      face.asked.push(`eject ${name}`);
      if (name === "Busy") throw new UserMistake("Busy is being written.", "Wait.", 1);
      return { name, kind: "drive" };
    },
    refresh: async () => {
      face.asked.push("refresh");
    },
    wait: async (timeout, stop) => {
      face.asked.push(`wait ${timeout}`);
      if (face.waitsForever) {
        await new Promise<void>((resolve) => stop.addEventListener("abort", () => resolve()));
        face.asked.push("wait ended");
      }
      return face.waitAnswer;
    },
  };
  return face;
}

/** A board with nothing on it. */
export const emptyStatus: StatusJson = {
  trip: null,
  headline: "No trip is described yet.",
  advice: "Describe one with `scrubjay trip add FILE`.",
  frames: { total: 0, files: 0, atGoal: 0 },
  drives: [],
  cards: [],
  work: [],
  alerts: [],
  at: "2027-06-06T22:41:00+01:00",
};
