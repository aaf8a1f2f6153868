/**
 * May this card be formatted? Yes only if every file that counts has its goal of verified copies on different drives,
 * by a listing made while the card was in. Worked out anew from copies each time it is asked, so it goes the moment a
 * copy goes.
 */

import { counted, formatCount } from "../../shared/format.ts";
import type { DriveId, RelativePath } from "../../shared/identity.ts";
import { inSentence, printable } from "../../shared/text.ts";

export interface VerdictFile {
  readonly path: RelativePath;
  /** Known drives that hold a verified copy of exactly these bytes. */
  readonly heldBy: readonly DriveId[];
  /** Those of them where it was read back perhaps from a cache. */
  readonly unsure: readonly DriveId[];
  /** Archives that hold it, verified there. */
  readonly archives: readonly string[];
  /** False while it was never read whole as it stands. */
  readonly known: boolean;
  /** What went wrong with it, as a part of a sentence; undefined if nothing did. */
  readonly fault: string | undefined;
  /** What is wrong with it as the card gives it, unless someone knows of that; undefined if nothing is. */
  readonly damage: string | undefined;
  /** Someone looked at its frame and said that it isn't fine. */
  readonly doubted: boolean;
  /** What became of copies that were verified once, by drive, as a part of a sentence. */
  readonly lostOn: ReadonlyMap<DriveId, string>;
}

export interface VerdictDrive {
  /** Undefined: named in the trip, never introduced. */
  readonly id: DriveId | undefined;
  readonly name: string;
  readonly present: boolean;
  /** The drive of this name was declared lost. */
  readonly lost: boolean;
}

export interface CardForVerdict {
  /** `card 7`, as it begins a sentence: `Card 7`. */
  readonly name: string;
  readonly present: boolean;
  /** Whether its files were listed since it was put in (or while it last was). */
  readonly surveyed: boolean;
  /** Whether it was listed once more after the last copying, or is gone. */
  readonly confirmed: boolean;
  /** Undefined while it isn't known which trip it belongs to. */
  readonly goal: number | undefined;
  readonly drives: readonly VerdictDrive[];
  readonly files: readonly VerdictFile[];
  /** Archives of trips that are home, each on a medium of its own; the names are their folders. */
  readonly archives: readonly {
    readonly id: string;
    readonly name: string;
    /** It was read back perhaps from a cache. */
    readonly unsure: boolean;
  }[];
  /** Folders that couldn't be listed: what is in them is unknown. */
  readonly unreadFolders: readonly RelativePath[];
  /** Files that stood on it, were never copied and are gone from it: a recovery may still find them there. */
  readonly vanished: number;
  /** It is known from a drive's record only, and was never put in here. */
  readonly hearsay: boolean;
}

export interface Lacking {
  readonly path: RelativePath;
  readonly verified: number;
  readonly goal: number;
  readonly why: string;
}

export interface Verdict {
  readonly clear: boolean;
  readonly sentence: string;
  readonly lacking: readonly Lacking[];
}

export function verdictOf(card: CardForVerdict): Verdict {
  if (card.hearsay) {
    const sentence = `${card.name} is known from a drive's record only. Put it in once before you format it.`;
    return { clear: false, sentence, lacking: [] };
  }
  if (!card.surveyed) {
    const sentence = card.present
      ? `${card.name} is being looked at. Keep it.`
      : `${card.name} has not been looked at since it was last put in. Keep it.`;
    return { clear: false, sentence, lacking: [] };
  }
  const lacking: Lacking[] = card.unreadFolders.map((path) => ({
    path,
    verified: 0,
    goal: card.goal ?? 0,
    why: "this folder can't be read, so what is in it is unknown",
  }));
  /** Those that are kept though they have their copies. */
  const atGoal: VerdictFile[] = [];
  for (const file of card.files) {
    const verified = new Set(file.heldBy).size + new Set(file.archives).size;
    const enough = card.goal !== undefined && file.known && verified >= card.goal;
    if (enough && file.damage === undefined && !file.doubted) continue;
    if (enough) atGoal.push(file);
    const why = enough ? whyKept(file) : whyLacking(file, card);
    lacking.push({ path: file.path, verified, goal: card.goal ?? 0, why });
  }
  if (lacking.length === 0 && !card.confirmed)
    return { clear: false, sentence: `${card.name} is being looked at once more. Keep it.`, lacking };
  if (lacking.length === 0 && card.vanished > 0) {
    const gone = card.vanished === 1 ? "was never copied is" : "were never copied are";
    const sentence = `Keep ${inSentence(card.name)}: ${counted(card.vanished, "file")} that ${gone} gone from it.`;
    return { clear: false, sentence, lacking };
  }
  const clear = lacking.length === 0;
  return { clear, sentence: clear ? clearSentence(card) : keepSentence(card, lacking, atGoal), lacking };
}

function whyKept({ damage, doubted }: VerdictFile): string {
  const damaged = damage === undefined ? [] : [`${damage}, as the card gives it`];
  return [...damaged, ...(doubted ? [doubtedWords] : [])].join("; ");
}

const doubtedWords = "looked at and not fine";

function whyLacking(file: VerdictFile, card: CardForVerdict): string {
  if (file.fault !== undefined) return file.fault;
  if (card.goal === undefined) return "it isn't known which trip this card belongs to";
  if (!file.known) return "it was never copied";
  const owing = card.drives.filter((drive) => drive.id === undefined || !file.heldBy.includes(drive.id));
  if (owing.length === 0 && file.archives.length > 0)
    return `it is home, and no further drive keeps a copy of it (${card.goal} are asked for)`;
  if (owing.length === 0) return `the trip has no further drive for ${card.goal} copies`;
  return owing.map((drive) => `${printable(drive.name)} owes it${state(drive, file)}`).join(", ");
}

function state(drive: VerdictDrive, file: VerdictFile): string {
  if (drive.id === undefined) return drive.lost ? " (declared lost)" : " (not introduced yet)";
  const lost = file.lostOn.get(drive.id);
  const reasons = [...(lost === undefined ? [] : [lost]), ...(drive.present ? [] : ["not plugged in"])];
  return reasons.length === 0 ? "" : ` (${reasons.join(", ")})`;
}

function clearSentence(card: CardForVerdict): string {
  if (card.files.length === 0) return `${card.name} holds no files.`;
  const holders = card.drives.filter(
    (drive) =>
      drive.id !== undefined && card.files.every((file) => file.heldBy.includes(drive.id as DriveId)),
  );
  const homes = card.archives.filter(({ id }) => card.files.every((file) => file.archives.includes(id)));
  const where = holders.length + homes.length >= (card.goal ?? 0) ? whereAll(holders, homes) : "";
  const all = card.files.length === 1 ? "Its one file is" : `All ${formatCount(card.files.length)} files are`;
  const unsure = card.drives.filter(
    (drive) => drive.id !== undefined && card.files.some((file) => file.unsure.includes(drive.id as DriveId)),
  );
  const doubtful = card.archives.filter(
    (home) => home.unsure && card.files.some((file) => file.archives.includes(home.id)),
  );
  const places = whereAll(unsure, doubtful).trim();
  const perhaps =
    places === ""
      ? ""
      : ` ${places.charAt(0).toUpperCase()}${places.slice(1)} they were read back perhaps from a cache, not from the medium.`;
  return `${card.name} may be formatted. ${all} verified${where}.${perhaps}`;
}

/** ` on Blue and in the archive /archive` */
function whereAll(holders: readonly VerdictDrive[], homes: CardForVerdict["archives"]): string {
  const drives = holders.length === 0 ? [] : [`on ${list(holders.map((drive) => drive.name))}`];
  const one = homes.length === 1;
  const folders = joined(homes.map((home) => printable(home.name, 200)));
  const archives = homes.length === 0 ? [] : [`in the archive${one ? "" : "s"} ${folders}`];
  const all = [...drives, ...archives];
  return all.length === 0 ? "" : ` ${all.join(" and ")}`;
}

function keepSentence(
  card: CardForVerdict,
  lacking: readonly Lacking[],
  atGoal: readonly VerdictFile[],
): string {
  if (card.goal === undefined)
    return `Keep ${inSentence(card.name)}: it isn't known which trip it belongs to.`;
  const short = lacking.filter((each) => each.verified < each.goal || each.goal === 0);
  const damaged = atGoal.filter((file) => file.damage !== undefined).length;
  const doubted = atGoal.filter((file) => file.damage === undefined && file.doubted).length;
  const reasons: string[] = [];
  if (short.length > 0) {
    const least = short.reduce((few, each) => Math.min(few, each.verified), card.goal);
    const lack = short.length === 1 ? "lacks" : "lack";
    reasons.push(`${counted(short.length, "file")} ${lack} copies (${least} of ${card.goal})`);
  }
  if (damaged > 0)
    reasons.push(`${counted(damaged, "file")} ${damaged === 1 ? "is" : "are"} damaged on the card itself`);
  if (doubted > 0)
    reasons.push(
      `${counted(doubted, "file")} ${doubted === 1 ? "was" : "were"} looked at and ${doubted === 1 ? "isn't" : "aren't"} fine`,
    );
  return `Keep ${inSentence(card.name)}: ${reasons.join(", and ")}.${homeSentence(card, short)}`;
}

/** Whoever formats a card of a trip that is home must know that what is left is in the archive, and where. */
function homeSentence(card: CardForVerdict, short: readonly Lacking[]): string {
  const lacking = new Set(short.map(({ path }) => path));
  const files = card.files.filter(({ path }) => lacking.has(path));
  const homes = card.archives.filter(({ id }) => files.every(({ archives }) => archives.includes(id)));
  if (files.length === 0 || files.length < short.length || homes.length === 0) return "";
  return ` ${files.length === 1 ? "It is" : "They are"} home${whereAll([], homes)}.`;
}

/** `Blue`, `Blue and Slate`, `Blue, Slate and Rust`, harmless to read. */
export function list(names: readonly string[]): string {
  return joined(names.map((name) => printable(name, 60)));
}

function joined(shown: readonly string[]): string {
  if (shown.length < 2) return shown.join("");
  return `${shown.slice(0, -1).join(", ")} and ${shown.at(-1)}`;
}
