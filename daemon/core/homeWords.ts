/** A homecoming's two sentences, and how an archive's files were read back, in words. */

import type { ReadBack } from "../../shared/facts.ts";
import { counted } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { list } from "./verdict.ts";

export interface HomeView {
  readonly trip: string;
  readonly rehearsal: boolean;
  readonly complete: boolean;
  /** Why it ended early, as a sentence; "" where it came to its end. */
  readonly stopped: string;
  /** What stands in the archives. */
  readonly files: number;
  readonly edits: number;
  readonly missing: number;
  /** Of archives that aren't done, as sentences. */
  readonly whyNot: readonly string[];
  /** Archives that are done. */
  readonly archives: readonly string[];
  /** Drives that are away and hold what is missing. */
  readonly plugIn: readonly string[];
  /** Cards with files that were never copied. */
  readonly cards: readonly string[];
  /** Work files that can't be taken as they are. */
  readonly open: readonly string[];
  readonly reusable: readonly string[];
}

export function headlineOf(view: HomeView): { readonly headline: string; readonly advice: string } {
  const { trip, rehearsal, complete } = view;
  const what = filesAndEdits(view);
  if (complete && rehearsal)
    return {
      headline: `${trip} can come home whole.`,
      advice: `${what} would stand in ${places(view)}. Nothing was written.`,
    };
  if (complete) {
    const stand = `${what} ${view.files + view.edits === 1 ? "stands" : "stand"} in ${places(view)}, verified.`;
    return { headline: `${trip} is home.`, advice: `${stand} ${reuse(view.reusable)}` };
  }
  const headline = rehearsal ? `${trip} can't come home whole yet.` : `${trip} isn't home yet.`;
  return { headline, advice: whenIncomplete(view) };
}

function places({ archives }: HomeView): string {
  return archives.map((folder) => printable(folder, 1_000)).join(" and ");
}

function reuse(drives: readonly string[]): string {
  if (drives.length === 0) return "No drive may be reused yet; why is said for each.";
  return `${list(drives)} may be reused; read first what is to be known.`;
}

function whenIncomplete(view: HomeView): string {
  const parts: string[] = [];
  if (view.stopped !== "") parts.push(view.stopped);
  parts.push(...view.whyNot);
  if (view.missing > 0)
    parts.push(`${counted(view.missing, "file")} ${view.missing === 1 ? "is" : "are"} missing.`);
  if (view.plugIn.length > 0) parts.push(`Plug in ${list(view.plugIn)}, and bring it home again.`);
  if (view.cards.length > 0) parts.push(`Put ${list(view.cards)} in: it holds files that were never copied.`);
  if (view.open.length > 0)
    parts.push(
      `See to ${list(view.open.slice(0, 3))}: why it can't come is said with it. Then bring it home again.`,
    );
  if (view.missing > 0 && view.plugIn.length + view.cards.length + view.open.length === 0)
    parts.push("Keep every drive and card as it is; what is missing is named with where it was last seen.");
  if (parts.length === 0) parts.push("Bring it home again.");
  return parts.join(" ");
}

/** `1,824 files and 212 work files` */
export function filesAndEdits({ files, edits }: { readonly files: number; readonly edits: number }): string {
  return edits === 0
    ? counted(files, "file")
    : `${counted(files, "file")} and ${counted(edits, "work file")}`;
}

/**
 * @param rehearsal nothing was read back yet
 * @param believed files of which this holds for an earlier homecoming within the last day, and that weren't read again
 */
export function howReadBack(how: ReadBack, rehearsal: boolean, believed = 0): string {
  const read = rehearsal ? "will be read back" : "was read back";
  const earlier =
    believed === 0
      ? ""
      : ` ${counted(believed, "file")} of them ${believed === 1 ? "was" : "were"} read back by a homecoming of the last 24 hours and not again since, as time and size are what they were then.`;
  switch (how) {
    case "direct":
      return `Every file ${read} past this computer's cache and compared.${earlier}`;
    case "remount":
      return `Every file ${read} after a new mount and compared.${earlier}`;
    case "cache":
      return `Every file ${read} and compared, perhaps from a cache: this file system lets no reading go past it.${earlier}`;
  }
}
