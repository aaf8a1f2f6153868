/**
 * The two sentences of the board: is everything safe, and what is to be done. Page, tray, notices and terminal show the
 * same ones.
 */

import { counted, formatSpan } from "../../shared/format.ts";
import { asArgument, inSentence, printable } from "../../shared/text.ts";
import type { Millis } from "../../shared/units.ts";
import { list } from "./verdict.ts";

/** More cards than this are counted, not named. */
const cardsNamedMost = 4;

export interface BoardView {
  readonly tripDescribed: boolean;
  readonly frames: { readonly total: number; readonly atGoal: number };
  /** Files of any trip, extras too, that lack copies. */
  readonly filesLacking: number;
  /** Another trip that lacks copies, with how many files; undefined where all others are whole. */
  readonly otherTrip: { readonly name: string; readonly files: number } | undefined;
  readonly cards: readonly {
    readonly name: string;
    readonly present: boolean;
    readonly clear: boolean;
    readonly files: number;
  }[];
  readonly drives: readonly {
    readonly name: string;
    readonly introduced: boolean;
    /** The drive of this name was declared lost. */
    readonly lost: boolean;
    readonly present: boolean;
    readonly owedFiles: number;
  }[];
  /** The newest work files; undefined while there are none, or when the trip is home. */
  readonly edits:
    | {
        /** How many drives hold all of them, and how many should. */
        readonly whole: number;
        readonly goal: number;
        readonly behind: readonly {
          readonly name: string;
          readonly present: boolean;
          readonly files: number;
        }[];
      }
    | undefined;
  readonly work:
    | {
        readonly kind: "survey" | "copy" | "edits" | "scrub" | "homecoming";
        readonly from: string;
        readonly left: Millis | undefined;
      }
    | undefined;
  /** Someone asked it to wait. */
  readonly paused: boolean;
  /** What to do next, of the first urgent alert. */
  readonly urgent: string | undefined;
  /** Warnings that are said beside all this. */
  readonly warnings: number;
}

/** The headline as long as anything is owed, unclear or urgent. */
export const notSafe = "Not everything is safe yet.";

export interface BoardSentences {
  readonly headline: string;
  readonly advice: string;
}

export function boardSentences(view: BoardView): BoardSentences {
  if (!view.tripDescribed)
    return {
      headline: "No trip is described yet.",
      advice: "Describe one on the page, or in a file for `scrubjay trip add FILE`.",
    };
  // One that is being listed has no files yet and isn't clear; one that is empty is.
  const cards = view.cards.filter((card) => card.files > 0 || (card.present && !card.clear));
  // A card that was taken out half read holds what no drive has: it counts as long as it isn't clear.
  const unclear = cards.filter((card) => !card.clear);
  const allAtGoal = view.frames.atGoal === view.frames.total && view.filesLacking === 0;
  if (view.frames.total === 0 && view.filesLacking === 0 && cards.length === 0)
    return { headline: "Nothing has been copied yet.", advice: beginning(view) };
  const editsSafe = view.edits === undefined || view.edits.whole >= view.edits.goal;
  if (allAtGoal && editsSafe && unclear.length === 0 && view.urgent === undefined)
    return { headline: "Everything is safe.", advice: whenSafe(view) };
  return { headline: notSafe, advice: whenUnsafe(view, unclear) };
}

/** What is said before the name of what is read. */
const doingOf = {
  survey: "Looking at",
  copy: "Copying from",
  edits: "Mirroring work files from",
  scrub: "Reading again",
  homecoming: "Bringing home from",
} as const;

/** What a drive lacks of work files is said of one that owes nothing else, and only while too few hold them. */
function editsBehind({ edits, drives }: BoardView): readonly string[] {
  if (edits === undefined || edits.whole >= edits.goal) return [];
  const owing = new Set(
    drives.filter(({ present, owedFiles }) => !present && owedFiles > 0).map(({ name }) => name),
  );
  return edits.behind
    .filter(({ name }) => !owing.has(name))
    .slice(0, 3)
    .map(({ name, present, files }) => {
      const lacks = `lacks the newest of ${counted(files, "work file")}`;
      return present
        ? `${printable(name)} ${lacks}; they come when they are quiet.`
        : `Plug in ${printable(name)}: it ${lacks}.`;
    });
}

function whatOwes({ name, lost, owedFiles }: BoardView["drives"][number]): string {
  const files = counted(owedFiles, "file");
  if (!lost) return `Plug in ${printable(name)}: it owes ${files}.`;
  return `Put another drive in the place of ${printable(name)}, which is lost: it will owe ${files}.`;
}

function beginning(view: BoardView): string {
  const stranger = view.drives.find((drive) => !drive.introduced);
  if (stranger !== undefined) {
    const name = asArgument(stranger.name);
    return `Plug in ${printable(stranger.name)} and introduce it: under Drives on the page, or with \`scrubjay drive add MOUNT --name ${name}\`.`;
  }
  return "Put a card in.";
}

function whenSafe(view: BoardView): string {
  const clear = view.cards.filter((card) => card.present && card.clear && card.files > 0);
  if (clear.length === 0)
    return view.warnings === 0
      ? "Nothing needs to be done."
      : `There ${view.warnings === 1 ? "is" : "are"} ${counted(view.warnings, "matter")} to look at.`;
  const names = clear.map((card, index) => (index === 0 ? card.name : inSentence(card.name)));
  return `${list(names)} may be formatted.`;
}

function whenUnsafe(view: BoardView, unclear: readonly { readonly name: string }[]): string {
  const parts: string[] = view.paused ? ["Work is paused; `scrubjay continue` goes on with it."] : [];
  // Reading copies again isn't what makes anything safer; what does is told below.
  if (view.work !== undefined && view.work.kind !== "scrub") {
    const left = view.work.left === undefined ? "" : `; ${formatSpan(view.work.left)} left`;
    parts.push(`${doingOf[view.work.kind]} ${inSentence(view.work.from)}${left}.`);
  }
  if (view.urgent !== undefined) parts.push(view.urgent);
  for (const drive of view.drives.filter((each) => !each.present && each.owedFiles > 0).slice(0, 3))
    parts.push(whatOwes(drive));
  parts.push(...editsBehind(view));
  if (view.otherTrip !== undefined)
    parts.push(`${counted(view.otherTrip.files, "file")} of ${printable(view.otherTrip.name)} lack copies.`);
  if (unclear.length > 0) {
    const names = unclear.map((card, index) => (index === 0 ? card.name : inSentence(card.name)));
    const which = names.length <= cardsNamedMost ? list(names) : counted(names.length, "card");
    parts.push(`${which} must not be formatted yet.`);
  }
  return parts.length === 0 ? "Plug in the drives that owe copies." : parts.join(" ");
}
