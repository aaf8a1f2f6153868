/**
 * What follows for a card from its files and the circumstances: its verdict, and what is told of its files. Worked out
 * from these two alone and remembered until either is another, since status is asked far oftener than anything changes.
 *
 * Invariant: with the memory everything comes out as without. So `judge` gets nothing but the files, which the ledger
 * gives another mark for when anything about one of them changes, and circumstances that are plain values, whose whole
 * text is what it is remembered by. Whatever else a verdict is to rest on becomes a circumstance; no clock, no engine,
 * no ledger is to be had here.
 */

import type { CardStatusJson } from "../../shared/api.ts";
import type { LossReason } from "../../shared/facts.ts";
import type { DriveId, OriginalId, RelativePath, TripId } from "../../shared/identity.ts";
import { printable } from "../../shared/text.ts";
import { type Verdict, type VerdictFile, verdictOf } from "../core/verdict.ts";
import type { CardFileState } from "../ports/ledger.ts";

/** Whatever JSON tells apart: of two values that differ, the texts differ. (No `undefined`, no maps or sets.) */
type Plain = string | number | boolean | null | readonly Plain[] | { readonly [name: string]: Plain };

/** All that a card's verdict rests on besides its files as the ledger knows them. */
export type CardCircumstances = {
  /** `Card 7`. */
  readonly name: string;
  readonly present: boolean;
  /** Whether its files were listed since it was put in (or while it last was). */
  readonly surveyed: boolean;
  /** Whether it was listed once more after the last copying, or is gone. */
  readonly confirmed: boolean;
  /** Copies that its trip asks for; null while it isn't known which trip that is. */
  readonly goal: number | null;
  /** Copies that each trip asks for: files may be filed in an earlier one. */
  readonly goals: readonly (readonly [trip: TripId, copies: number])[];
  /** Drives of its trip; none while that isn't known. */
  readonly drives: readonly {
    /** Null: named in the trip, never introduced. */
    readonly id: DriveId | null;
    readonly name: string;
    readonly present: boolean;
    readonly lost: boolean;
  }[];
  /** Archives of trips that are home, each on a medium of its own. */
  readonly archives: readonly {
    readonly id: string;
    readonly folder: string;
    readonly trip: TripId;
    /** It was read back perhaps from a cache. */
    readonly unsure: boolean;
  }[];
  /** What went wrong with its files and folders, each a part of a sentence. */
  readonly faults: readonly (readonly [path: string, detail: string])[];
  /** Copies of its files that were lost on drives of its trip. */
  readonly losses: readonly (readonly [OriginalId, DriveId, LossReason])[];
  /** Drives that are in and can't be looked at. */
  readonly doubtful: readonly DriveId[];
  /** Files that stood on it, were never copied and are gone from it. */
  readonly vanished: number;
  /** It was never put in here, as far as that can be told without its files. */
  readonly unseen: boolean;
};

export interface CardJudgement {
  readonly verdict: Verdict;
  /** Files that count, which is all but leavings. */
  readonly files: number;
  /** Those that no drive is known to hold: never read, or read and not written whole. */
  readonly news: readonly RelativePath[];
  /** Those that are damaged as the card gives them, and nobody said that this is known; harmless to read. */
  readonly damaged: readonly { readonly path: string; readonly why: string }[];
  /** What is told of its files. */
  readonly told: Pick<
    CardStatusJson,
    | "files"
    | "bytes"
    | "frames"
    | "frameFiles"
    | "extras"
    | "leavings"
    | "damaged"
    | "held"
    | "clear"
    | "verdict"
    | "lacking"
    | "lackingTotal"
  >;
}

/** How many lacking files a card names in JSON; the rest is counted. */
const lackingMost = 1_000;

/** One judgement for each mark; it goes when the ledger has another one for that card. */
const remembered = new WeakMap<object, { readonly key: string; readonly judgement: CardJudgement }>();

/**
 * @param mark what the ledger marks these files with
 * @param files looked at only if the judgement isn't remembered
 */
export function judgementOf(
  mark: object,
  files: () => readonly CardFileState[],
  circumstances: CardCircumstances,
): CardJudgement {
  const plain: Plain = circumstances;
  const key = JSON.stringify(plain);
  const before = remembered.get(mark);
  if (before?.key === key) return before.judgement;
  const judgement = judge(files(), circumstances);
  remembered.set(mark, { key, judgement });
  return judgement;
}

/** The same without any memory. */
export function judge(files: readonly CardFileState[], circumstances: CardCircumstances): CardJudgement {
  const counting = files.filter((file) => file.role !== "leaving");
  const ofFrames = counting.filter((file) => file.role !== "extra");
  const verdict = judgeVerdict(files, counting, circumstances);
  return {
    verdict,
    files: counting.length,
    news: counting.filter((file) => !file.copied).map((file) => file.path),
    damaged: counting
      .filter((file) => file.damage !== "" && !file.accepted)
      .map((file) => ({ path: printable(file.path), why: printable(file.damage, 200) })),
    told: {
      files: files.length,
      bytes: counting.reduce((sum, file) => sum + file.size, 0),
      frames: new Set(ofFrames.map((file) => file.frame)).size,
      frameFiles: ofFrames.length,
      extras: counting.length - ofFrames.length,
      leavings: files
        .filter((file) => file.role === "leaving")
        .map((file) => ({ path: printable(file.path), why: file.why })),
      damaged: counting
        .filter((file) => file.damage !== "")
        .map(({ path, damage, accepted }) => ({
          path: printable(path, 1_000),
          why: printable(damage, 200),
          accepted,
        })),
      held: circumstances.drives.map(({ id, name }) => heldOf(id, name, counting)),
      clear: verdict.clear,
      verdict: verdict.sentence,
      lacking: verdict.lacking
        .slice(0, lackingMost)
        .map((file) => ({ ...file, path: printable(file.path, 1_000) })),
      lackingTotal: verdict.lacking.length,
    },
  };
}

function judgeVerdict(
  all: readonly CardFileState[],
  counting: readonly CardFileState[],
  circumstances: CardCircumstances,
): Verdict {
  const { name, present, surveyed, confirmed, drives, vanished, unseen } = circumstances;
  const faults = new Map(circumstances.faults);
  const paths = new Set(all.map((file) => file.path as string));
  const goal = strictestGoal(counting, circumstances);
  return verdictOf({
    name,
    present,
    surveyed,
    confirmed,
    goal: counting.length === 0 ? (goal ?? 0) : goal,
    drives: drives.map((drive) => ({ ...drive, id: drive.id ?? undefined })),
    files: filesFor(counting, circumstances, faults),
    archives: circumstances.archives.map(({ id, folder, unsure }) => ({ id, name: folder, unsure })),
    unreadFolders: [...faults.keys()].filter((path) => !paths.has(path)) as RelativePath[],
    vanished,
    hearsay: unseen && all.length === 0,
  });
}

/** Files may be filed in an earlier trip: each is held to the strictest goal among those concerned. */
function strictestGoal(
  counting: readonly CardFileState[],
  { goal, goals }: CardCircumstances,
): number | undefined {
  if (goal === null) return undefined;
  const concerned = new Set(counting.map((file) => file.trip));
  return Math.max(goal, ...goals.flatMap(([trip, copies]) => (concerned.has(trip) ? [copies] : [])));
}

function filesFor(
  counting: readonly CardFileState[],
  { losses, doubtful, archives }: CardCircumstances,
  faults: ReadonlyMap<string, string>,
): readonly VerdictFile[] {
  const unsureDrives = new Map(doubtful.map((drive) => [drive, cantBeRead]));
  const lost = new Map<OriginalId, Map<DriveId, string>>();
  for (const [original, drive, why] of losses) {
    const ofOriginal = lost.get(original) ?? new Map<DriveId, string>();
    lost.set(original, ofOriginal.set(drive, lossWords[why]));
  }
  return counting.map((file) => {
    const lostOf = file.original === undefined ? undefined : lost.get(file.original);
    return {
      path: file.path,
      heldBy: unsureDrives.size === 0 ? file.drives : file.drives.filter((drive) => !unsureDrives.has(drive)),
      unsure: file.unsure,
      archives: archives
        .filter(({ id, trip }) => trip === file.trip && file.archives.includes(id))
        .map(({ id }) => id),
      known: file.original !== undefined,
      fault: faults.get(file.path),
      damage: file.damage === "" || file.accepted ? undefined : printable(file.damage, 200),
      doubted: file.doubted,
      lostOn: lostOf === undefined ? unsureDrives : new Map([...lostOf, ...unsureDrives]),
    };
  });
}

const cantBeRead = "what it holds can't be looked at now";

const lossWords: { readonly [W in LossReason]: string } = {
  missing: "its copy there is gone",
  damaged: "its copy there is damaged",
  changed: "its copy there was changed by another program",
  moved: "its copy there was moved",
};

function heldOf(id: DriveId | null, name: string, files: readonly CardFileState[]) {
  const held = id === null ? [] : files.filter((file) => file.drives.includes(id));
  const unsure = id === null ? [] : held.filter((file) => file.unsure.includes(id));
  return { drive: printable(name), files: held.length, unsure: unsure.length };
}
