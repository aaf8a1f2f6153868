/**
 * A trip on its way home, made by hand: the documents that a daemon would tell, names among them that try to be more than
 * names, and a daemon that tells them and notes what it was asked.
 */

import { fileURLToPath } from "node:url";
import { readPageFiles } from "../../daemon/api/pageFiles.ts";
import { createApi } from "../../daemon/api/server.ts";
import type { StatusJson } from "../../shared/api.ts";
import type { ConflictJson, EditsJson, EditsStatusJson, WorkFileJson } from "../../shared/editsApi.ts";
import type { HomeStateJson, ReceiptJson } from "../../shared/homeApi.ts";
import { type FakeFace, fakeFace } from "../api/fakeFace.ts";
import { drive, evening } from "../cli/boards.ts";
import type { Computer } from "../support/computer.ts";

/** Built before the tests run. */
const builtPage = fileURLToPath(new URL("../../dist/page", import.meta.url));

/** HTML, a command, and hardly a place to break a line. */
/** Pictures that are kept are for people to look at: their names are plain. */
const plain = process.env["SCRUBJAY_PICTURES"] === "1";
export const hostilePath = plain
  ? "2027-06-03/KC-20270603-A0421.xmp"
  : `2027-06-03/<img src=x onerror=alert(1)>\`rm -r\`${"KC_20270603_".repeat(14)}.xmp`;
export const hostileDrive = plain ? "Rust" : "<b onclick=alert(1)>Rust";

const at = (time: string): string => `2027-06-${time}:00+01:00`;
const trip = { id: "kc-20270603-3f9a", name: "Kestrel Cliffs", zone: "Atlantic/Faroe" };
const drives = [
  drive({}),
  drive({ id: "5".repeat(32), name: "Slate", role: "secondary", place: "room safe" }),
  drive({
    id: "4".repeat(32),
    name: hostileDrive,
    role: "further",
    place: "car",
    present: false,
    mount: null,
    lastSeen: at("06T08:10"),
  }),
];

export const edits: EditsStatusJson = {
  files: 212,
  bytes: 3_400_000_000,
  drives: [
    { drive: "Blue", files: 212, behind: 0 },
    { drive: "Slate", files: 200, behind: 12 },
    { drive: hostileDrive, files: 187, behind: 25 },
  ],
  waiting: 2,
  waitingFor: [{ path: "Catalogue", why: "is open" }],
  leftOut: { files: 1_204, bytes: 3_100_000_000 },
  deleted: 1,
  conflicts: 1,
};

export const status: StatusJson = {
  ...evening,
  headline: "Everything is safe.",
  advice: "Nothing needs to be done.",
  drives,
  cards: [],
  work: [],
  edits,
  alerts: [
    {
      code: "work-conflict",
      severity: "warning",
      about: "kc-20270603-3f9a",
      text: "",
      happened: "1 work file was changed on two drives apart.",
      safe: "Both versions are kept.",
      next: "Look which one you want.",
      since: at("06T21:00"),
    },
  ],
};

export const conflict: ConflictJson = {
  id: "00112233445566aa",
  path: hostilePath,
  kept: {
    drive: "Blue",
    at: at("06T21:00"),
    modified: at("06T20:58"),
    bytes: 4_120,
    path: `Kestrel Cliffs/${hostilePath}`,
  },
  other: {
    drive: hostileDrive,
    at: at("06T21:01"),
    modified: at("05T23:12"),
    bytes: 3_980,
    path: null,
    deleted: false,
  },
};

export const workFiles: readonly WorkFileJson[] = [
  hostilePath,
  ...Array.from({ length: 211 }, (_, n) => `Exports/KC-${n}.jpg`),
].map((path, n) => ({
  path,
  bytes: 4_000 + n,
  modified: at("06T20:58"),
  drives: n % 3 === 0 ? ["Blue", "Slate", hostileDrive] : ["Blue"],
  versions: n === 0 ? 3 : 1,
  deleted: n === 4,
}));

const counts = { frames: 6_433, files: 12_867, bytes: 640_000_000_000, edits: 212 };

/** All is home: what the daemon says when nothing is missing. */
export const complete: ReceiptJson = {
  trip: { ...trip, code: "KC" },
  rehearsal: false,
  begun: at("15T19:02"),
  ended: at("15T21:47"),
  complete: true,
  headline: "Kestrel Cliffs is home: all 6,433 frames stand in the archive, verified.",
  advice: "Blue and Slate may be reused. Keep one as it is until a second archive copy exists.",
  stopped: "",
  expected: counts,
  found: counts,
  targets: [
    {
      folder: "/archive",
      tripFolder: "/archive/2027/Kestrel Cliffs",
      done: true,
      why: "",
      readBack: "direct",
      how: "Read back past this computer's cache.",
      copied: { files: 12_800, bytes: 636_000_000_000 },
      there: { files: 67, bytes: 4_000_000_000 },
      edits: 212,
      versions: 40,
      receipt: "/archive/2027/Kestrel Cliffs receipt.html",
    },
  ],
  sources: [
    { drive: "Blue", present: true, files: 12_867, bytes: 640_000_000_000, edits: 212 },
    { drive: "Slate", present: true, files: 0, bytes: 0, edits: 0 },
    { drive: hostileDrive, present: false, files: 0, bytes: 0, edits: 0 },
  ],
  missing: [],
  missingTotal: 0,
  damage: [
    {
      path: "2027-06-03/KC-20270603-A0421.NEF",
      drive: "Slate",
      what: "It reads differently from what was verified.",
      healed: true,
    },
  ],
  damageTotal: 1,
  brokenAtSource: [{ path: "2027-06-06/KC-20270606-B0417.NEF", why: "it ends before its last strip" }],
  clashes: [{ path: "Notes.txt", keptAs: "Notes (2).txt", what: "Another file of this name stood there." }],
  elsewhere: [{ path: "2027-06-03/KC-20270603-A0422.NEF", standsAs: "best/cliff.NEF" }],
  conflicts: [{ path: hostilePath, what: "Blue's version of Sun 6 June, 20:58 is in place." }],
  drives: [
    { drive: "Blue", present: true, mayBeReused: true, why: "", retired: false },
    { drive: "Slate", present: true, mayBeReused: true, why: "", retired: true },
    {
      drive: hostileDrive,
      present: false,
      mayBeReused: false,
      why: "It wasn't in, and may hold what the others don't.",
      retired: false,
    },
  ],
  cautions: "Before you reuse a drive: look at a few frames in the archive first.",
};

/** Something is missing: no drive may be reused. */
export const incomplete: ReceiptJson = {
  ...complete,
  complete: false,
  headline: "Kestrel Cliffs isn't all home: 60 files are missing.",
  advice: "Plug in Rust: it was the last to hold them. Keep every drive as it is.",
  found: { ...counts, frames: 6_403, files: 12_807 },
  targets: complete.targets.map((target) => ({
    ...target,
    readBack: "cache",
    how: "Read back, perhaps from a cache: this file system allows no other way.",
  })),
  missing: [hostilePath, ...Array.from({ length: 59 }, (_, n) => `2027-06-06/KC-20270606-B${n}.NEF`)].map(
    (path) => ({
      path,
      bytes: 52_000_000,
      kind: "frame",
      lastSeen: `on ${hostileDrive}, Sun 6 June, 22:41`,
    }),
  ),
  missingTotal: 60,
  drives: complete.drives.map((each) => ({
    ...each,
    mayBeReused: false,
    retired: false,
    why: "Something is missing.",
  })),
};

export const rehearsed: ReceiptJson = {
  ...incomplete,
  rehearsal: true,
  targets: complete.targets.map((target) => ({ ...target, receipt: null })),
};

export const homeState = (receipt: ReceiptJson | null): HomeStateJson => ({
  trip,
  archive: { folder: "/archive", tree: "{taken:yyyy}/{trip}", also: ["/media/anna/Far shelf/archive"] },
  running: false,
  receipt,
});

export interface ToldDaemon {
  readonly face: FakeFace;
  /** As a computer is asked for a link. */
  readonly links: Pick<Computer, "must">;
  home: HomeStateJson;
  edits: EditsJson;
  close(): Promise<void>;
}

/** A daemon that tells what stands in it; what it was asked to do is in `face.asked`. */
export async function tellingDaemon(): Promise<ToldDaemon> {
  const told = {
    home: homeState(null),
    edits: {
      trip,
      edits,
      conflicts: [conflict],
      files: workFiles,
      total: workFiles.length,
      at: status.at,
    } as EditsJson,
  };
  const face: FakeFace = Object.assign(fakeFace(status), {
    home: {
      state: () => told.home,
      begin: async (wish) => {
        face.asked.push(`begin ${JSON.stringify(wish)}`);
        told.home = { ...told.home, running: true };
        return told.home;
      },
      stop: () => {
        // It ends a little later, between two files, and then its receipt is there.
        face.asked.push("stop");
      },
      retire: async (name) => {
        face.asked.push(`retire ${name}`);
        return { name, trips: [trip.name] };
      },
    },
    edits: {
      edits: (_trip, from, most) => ({ ...told.edits, files: told.edits.files.slice(from, from + most) }),
      versions: async (_trip, path) => ({
        path,
        deleted: false,
        versions: [
          {
            at: at("06T21:00"),
            modified: at("06T20:58"),
            bytes: 4_120,
            drives: ["Blue", "Slate"],
            inPlace: true,
            madeOn: "Blue",
          },
          {
            at: at("05T23:15"),
            modified: at("05T23:12"),
            bytes: 3_980,
            drives: ["Blue"],
            inPlace: false,
            madeOn: hostileDrive,
          },
          {
            at: at("04T22:00"),
            modified: at("04T21:59"),
            bytes: 3_900,
            drives: [],
            inPlace: false,
            madeOn: null,
          },
        ],
      }),
      restore: async (of, path, time) => {
        face.asked.push(`restore ${of} ${path} ${time}`);
        return { path, drive: "Blue", at: at("06T22:50") };
      },
      conflict: async () => ({
        ...conflict,
        differences: [
          { property: "crs:Exposure2012", kept: "+0.35", other: null },
          { property: "xmp:Rating", kept: "4", other: "<script>alert(1)</script>" },
        ],
        why: "",
      }),
      seen: (id) => {
        face.asked.push(`seen ${id}`);
        told.edits = { ...told.edits, conflicts: [], edits: { ...edits, conflicts: 0 } };
      },
    },
  } satisfies Pick<FakeFace, "home" | "edits">);
  const api = createApi(face, "5a".repeat(32), readPageFiles(builtPage), (bug) => {
    throw bug;
  });
  await api.listen();
  return Object.assign(told, {
    face,
    links: {
      must: async () => {
        const url = api.link("").replace(/#$/, "");
        return { status: 0, out: JSON.stringify({ url }), errors: "" };
      },
    },
    close: () => api.close(),
  });
}
