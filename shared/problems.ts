/**
 * The catalogue of everything that can go wrong, as values: a stable code, the thing concerned, and three sentences
 * (what happened, what is safe, what to do next). A code is never reused for another meaning. README's table of
 * alerts agrees with `alertCodes`; a test holds both together.
 */

/** Words that scripts hold on to. */
export const alertCodes = [
  "drive-missing",
  "drive-full",
  "drive-fills-soon",
  "damaged-source",
  "read-error",
  "write-error",
  "copy-differs",
  "no-trip",
  "unknown-card",
  "same-place",
  "clock-suspect",
  "name-clash",
  "work-conflict",
  "drive-twice",
  "record-unreadable",
  "unknown-drive",
  "copy-missing",
  "card-unfinished",
  "copy-changed",
  "verdict-withdrawn",
  "card-formatted",
  "on-no-drive",
  "frame-doubted",
] as const;
export type AlertCode = (typeof alertCodes)[number];

/** What can be the matter with a file on a card or drive, or with the medium itself, until it goes right. */
export const mediumFaultCodes = [
  "read-error",
  "write-error",
  "copy-differs",
  "copy-missing",
  "copy-spoilt",
  "copy-changed",
  "name-clash",
  "bad-name",
  "too-large",
] as const;
export type MediumFaultCode = (typeof mediumFaultCodes)[number];

/** `urgent`: frames are at risk now. `warning`: something is owed or doubtful. `note`: good to know. */
export type Severity = "urgent" | "warning" | "note";

/** The three sentences of every message. Plain text; names in it are already made harmless by `text.ts`. */
export interface Explained {
  readonly happened: string;
  readonly safe: string;
  readonly next: string;
}

/** Something that is the matter now. It goes when its cause goes. */
export interface Alert extends Explained {
  readonly code: AlertCode;
  readonly severity: Severity;
  /** What it is about, stable: with `code` it says whether two alerts are the same one. */
  readonly about: string;
}

/** One line for a list: the three sentences in a row. */
export function sentences(problem: Explained): string {
  return [problem.happened, problem.safe, problem.next].filter((part) => part !== "").join(" ");
}

/** How a file operation failed, whatever the platform called it. */
export type FileFaultCode =
  | "missing" //      nothing stands there
  | "exists" //       something stands there already
  | "gone" //         the whole volume is no longer there
  | "no-space"
  | "read-only"
  | "denied"
  | "bad-name" //     the file system cannot hold this name
  | "too-large" //    the file system cannot hold a file of this size
  | "too-many" //     the system's limit of open files
  | "changed" //      it is not what it was a moment ago
  | "differs" //      it looks the same and gives other bytes
  | "io"; //          the medium failed

/**
 * The one exception of the file port. Expected failures travel as this exception through the streaming loops, where
 * values would double the code, and become values at the border of a copy (`daemon/engine/transfer.ts`).
 */
export class FileFault extends Error {
  readonly code: FileFaultCode;
  readonly path: string;
  constructor(code: FileFaultCode, path: string, cause?: unknown) {
    super(`${code}: ${path}`, cause === undefined ? undefined : { cause });
    this.name = "FileFault";
    this.code = code;
    this.path = path;
  }
}

/** Exit statuses of the command line for what can't be done: 1 is *not yet*, the others are sysexits numbers. */
export const mistakeExits = [1, 64, 65, 69, 74, 78] as const;
export type MistakeExit = (typeof mistakeExits)[number];

/** A mistake of the person who called, said in their words; `exit` is the status of the command line (sysexits). */
export class UserMistake extends Error {
  readonly exit: MistakeExit;
  readonly next: string;
  constructor(message: string, next: string, exit: MistakeExit = 64) {
    super(message);
    this.name = "UserMistake";
    this.next = next;
    this.exit = exit;
  }
}
