/**
 * What is the matter now: every alert follows from what is plugged in, owed and known to have failed. An alert goes by
 * itself when its cause goes. Each has its three sentences here and nowhere else.
 */

import { counted, formatBytes } from "../../shared/format.ts";
import type { CardId, DriveId } from "../../shared/identity.ts";
import type { Alert, MediumFaultCode } from "../../shared/problems.ts";
import { asArgument, inSentence, printable } from "../../shared/text.ts";
import type { Bytes, Millis } from "../../shared/units.ts";
import { type FillView, fillsSoon } from "./forecast.ts";
import { list } from "./verdict.ts";

export interface AlertTrip {
  readonly id: string;
  readonly name: string;
  readonly goal: { readonly copies: number; readonly places: number };
  /** Whether a card of this trip is in and holds files that were never read. */
  readonly cardHasNews: boolean;
  readonly drives: readonly AlertDrive[];
}

export interface AlertDrive {
  readonly name: string;
  readonly id: DriveId | undefined;
  readonly place: string | undefined;
  readonly present: boolean;
  /** The drive of this name was declared lost, and no other took its name. */
  readonly lost: boolean;
  /** How long it hasn't been plugged in; undefined while it is, or when it never was. */
  readonly away: Millis | undefined;
  readonly holdsFiles: number;
  readonly owedFiles: number;
  readonly owedBytes: Bytes;
  /** What of the cards that are in doesn't fit on it. */
  readonly unfit: { readonly files: number; readonly bytes: Bytes } | undefined;
}

export interface AlertCard {
  readonly id: CardId;
  /** `Card 7` */
  readonly name: string;
  readonly decision: "trip" | "none" | "several" | "waiting";
  /** Names of the trips that could own it. */
  readonly candidates: readonly string[];
  /** How many of its frames lie outside the trip's days. */
  readonly outside: number;
  readonly from: string;
  readonly to: string;
}

export interface AlertFault {
  readonly medium: CardId | DriveId;
  /** `Card 7`, `Slate` */
  readonly mediumName: string;
  readonly code: MediumFaultCode;
  /** Files concerned, printable; empty for the medium as a whole. */
  readonly paths: readonly string[];
  readonly detail: string;
}

export interface AlertView {
  readonly trips: readonly AlertTrip[];
  readonly cards: readonly AlertCard[];
  readonly faults: readonly AlertFault[];
  /** Mounts that carry both a drive's identity and a camera's folders. */
  readonly ambiguous: readonly string[];
  /** Mounts with a drive's identity that is in already, or that this computer doesn't know. */
  readonly strangers: readonly {
    readonly mount: string;
    readonly name: string;
    readonly why: "twice" | "unknown" | "lost";
  }[];
  /** Mounts that are there and give no answer, so that it isn't known what they are. */
  readonly unreadable: readonly string[];
  /** Cards that were taken out with files on them that were never copied. */
  readonly unfinished: readonly { readonly id: CardId; readonly name: string; readonly files: number }[];
  /** Cards with files that are damaged as the card gives them, and of which nobody has said that it is known. */
  readonly damaged: readonly {
    readonly id: CardId;
    readonly name: string;
    readonly files: readonly { readonly path: string; readonly why: string }[];
  }[];
  /** Cards that were said to be clear and aren't any more. */
  readonly withdrawn: readonly { readonly id: CardId; readonly name: string; readonly sentence: string }[];
  /** Cards from which files are gone that were never copied. */
  readonly vanished: readonly {
    readonly id: CardId;
    readonly name: string;
    readonly paths: readonly string[];
  }[];
  /** Cards that came empty and look like others that went with files on them that lack copies. */
  readonly emptied: readonly {
    readonly id: CardId;
    readonly name: string;
    readonly others: readonly string[];
  }[];
  /** Originals that no drive holds, and the cards that showed them last. */
  readonly nowhere: { readonly paths: readonly string[]; readonly cards: readonly string[] };
  /** Work files that were changed on two drives apart, and nobody has said that they know; by trip. */
  readonly conflicts: readonly { readonly trip: string; readonly paths: readonly string[] }[];
  /** Frames that someone looked at and found not fine, by the card that gave them. */
  readonly doubted: readonly {
    /** The card's id, or the trip's where no card is known. */
    readonly about: string;
    /** `Card 7`; undefined where no card is known. */
    readonly card: string | undefined;
    /** Names of the frames. */
    readonly frames: readonly string[];
  }[];
  /** Trips that are under way, with what their drives still have room for. */
  readonly filling: readonly FillView[];
  /** Drives whose journal has lines that don't hold. */
  readonly spoilt: readonly { readonly name: string; readonly id: string; readonly lines: number }[];
}

export function alertsOf(view: AlertView): readonly Alert[] {
  return [
    ...view.trips.flatMap(driveMissing),
    ...view.trips.flatMap(driveFull),
    ...view.filling.flatMap(fillsSoon),
    ...view.faults.map(faultAlert),
    ...view.cards.flatMap(cardWithoutTrip),
    ...view.cards.flatMap(clockSuspect),
    ...view.trips.flatMap(samePlace),
    ...view.ambiguous.map(ambiguous),
    ...view.strangers.map(stranger),
    ...view.unreadable.map(unreadable),
    ...view.unfinished.map(unfinished),
    ...view.damaged.map(damagedSource),
    ...view.withdrawn.map(withdrawn),
    ...view.vanished.map(vanished),
    ...view.emptied.map(emptied),
    ...nowhere(view.nowhere),
    ...view.doubted.map(frameDoubted),
    ...view.conflicts.map(workConflict),
    ...view.spoilt.map(spoilt),
  ];
}

const cardUntouched = "The card was only read.";

function driveMissing(trip: AlertTrip): Alert[] {
  return trip.drives
    .filter((drive) => !drive.present && (drive.owedFiles > 0 || trip.cardHasNews))
    .map((drive) => {
      const name = printable(drive.name);
      const owes =
        drive.owedFiles > 0
          ? ` It owes ${counted(drive.owedFiles, "file")} (${formatBytes(drive.owedBytes)}).`
          : "";
      const happened = `${whyMissing(trip, drive)}${owes}`;
      const holders = trip.drives.filter((other) => other.present && other.holdsFiles > 0);
      const safe =
        holders.length > 0
          ? `Copying goes on to ${list(holders.map((holder) => holder.name))}.`
          : "Everything else goes on without it.";
      const introduce = `\`scrubjay drive add MOUNT --name ${asArgument(drive.name)}\``;
      const next = drive.lost
        ? `Plug another drive in and run ${introduce}; it is caught up by itself.`
        : drive.id === undefined
          ? `Plug it in and introduce it: under Drives on the page, or with ${introduce}.`
          : `Plug ${name} in before the cards are formatted; it is caught up by itself.`;
      return {
        code: "drive-missing",
        severity: "warning",
        about: `${trip.id}/${drive.name}`,
        happened,
        safe,
        next,
      };
    });
}

function whyMissing(trip: AlertTrip, { name, id, lost, away }: AlertDrive): string {
  const shown = printable(name);
  if (lost) return `${shown} was declared lost, and no drive has taken its place in ${printable(trip.name)}.`;
  if (id === undefined)
    return `${shown} takes part in ${printable(trip.name)} and has not been introduced yet.`;
  if (away === undefined || away < longAway) return `${shown} is not plugged in.`;
  const hours = Math.floor(away / longAway);
  const span = hours < 48 ? counted(hours, "hour") : counted(Math.floor(hours / 24), "day");
  return `${shown} has not been plugged in for ${span}.`;
}

/** ms. An hour: before that, how long a drive has been away is no news. */
const longAway = 3_600_000;

function driveFull(trip: AlertTrip): Alert[] {
  return trip.drives.flatMap((drive) => {
    if (drive.unfit === undefined || drive.unfit.files === 0) return [];
    const name = printable(drive.name);
    const others = trip.drives.filter(
      (other) => other !== drive && other.present && other.unfit === undefined,
    );
    const elsewhere = others.length > 0 ? ` ${list(others.map((other) => other.name))} took them.` : "";
    return [
      {
        code: "drive-full",
        severity: "urgent",
        about: `${trip.id}/${drive.name}`,
        happened: `${name} is full. ${counted(drive.unfit.files, "file")} didn't fit.`,
        safe: `Nothing on it was changed.${elsewhere}`,
        next: `Free ${formatBytes(drive.unfit.bytes)} on ${name}, or use a larger drive; the rest follows by itself. Keep the card until then.`,
      },
    ];
  });
}

function faultAlert(fault: AlertFault): Alert {
  const medium = printable(fault.mediumName);
  const files = fault.paths.length === 0 ? "" : named(fault.paths);
  const detail = fault.detail === "" ? "" : ` (${printable(fault.detail)})`;
  const about = `${fault.medium} ${fault.code}`;
  switch (fault.code) {
    case "read-error":
      return {
        code: "read-error",
        severity: "urgent",
        about,
        happened:
          fault.paths.length === 0
            ? `${medium} gives no sure answer${detail}.`
            : `${medium} can't be read in ${counted(fault.paths.length, "place")}: ${files}${detail}.`,
        safe: `Everything else on it is copied. ${cardUntouched}`,
        next: `Keep ${medium}. Take it out and put it in again, or try a second reader, which may read it better.`,
      };
    case "write-error":
      return {
        code: "write-error",
        severity: "urgent",
        about,
        happened: `${medium} couldn't be written${files === "" ? "" : ` for ${files}`}${detail}.`,
        safe: `What ${medium} held before is unchanged; the other drives went on.`,
        next: `Check the cable, take ${medium} out and put it in again; what it owes is tried again. If it happens twice, replace the drive.`,
      };
    case "copy-differs":
      return {
        code: "copy-differs",
        severity: "urgent",
        about,
        happened: `${counted(fault.paths.length, "copy", "copies")} on ${medium} read back differently: ${files}.`,
        safe: `The bad ${fault.paths.length === 1 ? "copy was" : "copies were"} thrown away and none counts. ${cardUntouched}`,
        next: `Keep the card. Try another cable or socket for ${medium}; if it happens again, don't trust that drive.`,
      };
    case "copy-missing":
      return {
        code: "copy-missing",
        severity: "warning",
        about,
        happened: `${counted(fault.paths.length, "copy", "copies")} on ${medium} ${fault.paths.length === 1 ? "is" : "are"} gone or cut short: ${files}.`,
        safe: `${fault.paths.length === 1 ? "It doesn't" : "They don't"} count any more. Nothing on ${medium} was changed.`,
        next: `Plug in another drive that holds ${fault.paths.length === 1 ? "it" : "them"}, or put the card in again; the rest follows by itself. If nobody removed ${fault.paths.length === 1 ? "it" : "them"}, don't trust ${medium}.`,
      };
    case "copy-spoilt":
      return {
        code: "copy-differs",
        severity: "urgent",
        about,
        happened: `${counted(fault.paths.length, "copy", "copies")} on ${medium} ${fault.paths.length === 1 ? "is" : "are"} damaged: ${files}${detail}.`,
        safe: `${fault.paths.length === 1 ? "It doesn't count, is" : "They don't count, are"} passed on to nobody, and nothing was deleted.`,
        next: `${fault.paths.length === 1 ? "A good copy takes the place of the damaged one" : "Good copies take the place of the damaged ones"} on ${medium} as soon as a drive or card that has ${fault.paths.length === 1 ? "one" : "them"} is in. If it happens again, don't trust ${medium}.`,
      };
    case "copy-changed":
      return {
        code: "copy-changed",
        severity: "warning",
        about,
        happened: `${counted(fault.paths.length, "original")} on ${medium} ${fault.paths.length === 1 ? "was" : "were"} changed by another program: ${files}.`,
        safe: `${fault.paths.length === 1 ? "It was left as it is; it counts" : "They were left as they are; they count"} as a copy no more.`,
        next: `Let the editor write sidecars rather than into originals. An untouched copy is put beside ${fault.paths.length === 1 ? "it" : "them"} as soon as a drive that has one is in.`,
      };
    case "name-clash":
      return {
        code: "name-clash",
        severity: "warning",
        about,
        happened: `On ${medium} other files already stand under names of this trip: ${files}.`,
        safe: "They were left as they are; the frames stand beside them with a number added.",
        next: `Look at them on ${medium}; nothing needs to be done.`,
      };
    case "bad-name":
      return {
        code: "write-error",
        severity: "warning",
        about,
        happened: `${medium} can't hold the name of ${files}.`,
        safe: "The other drives hold it.",
        next: `Format ${medium} as exFAT before the next trip, or choose shorter names in the profile.`,
      };
    case "too-large":
      return {
        code: "write-error",
        severity: "urgent",
        about,
        happened: `${files} is too large for the file system of ${medium}.`,
        safe: "The other drives hold it; nothing was cut.",
        next: `Use a drive formatted as exFAT; FAT32 holds no file of 4 GiB or more.`,
      };
  }
}

function cardWithoutTrip(card: AlertCard): Alert[] {
  if (card.decision === "trip" || card.decision === "waiting") return [];
  const several = card.decision === "several";
  const command = `\`scrubjay cards assign ${card.id} TRIP\``;
  return [
    {
      code: "no-trip",
      severity: "urgent",
      about: card.id,
      happened: several
        ? `${card.name} fits ${list(card.candidates)}, and it can't be known which.`
        : `The days of ${card.name} (${card.from} to ${card.to}) fit no trip.`,
      safe: `What isn't copied yet waits for the answer. ${cardUntouched}`,
      next: several
        ? `Say which trip it is, here or with ${command}.`
        : `Describe the trip on the page or with \`scrubjay trip add FILE\`; or say which one it is, with ${command}.`,
    },
  ];
}

function clockSuspect(card: AlertCard): Alert[] {
  if (card.decision !== "trip" || card.outside === 0) return [];
  return [
    {
      code: "clock-suspect",
      severity: "warning",
      about: card.id,
      happened: `${counted(card.outside, "frame")} of ${card.name} ${card.outside === 1 ? "lies" : "lie"} outside the trip's days (the card runs from ${card.from} to ${card.to}).`,
      safe: "They are copied and filed under their own day.",
      next: "Check the clock and zone of the body, or leave it if the card holds older pictures.",
    },
  ];
}

/** Drives sit together while they are written, so this is judged by where each is said to be kept. */
function samePlace(trip: AlertTrip): Alert[] {
  const holders = trip.drives.filter((drive) => drive.holdsFiles > 0);
  const places = new Set(holders.map((drive) => drive.place ?? ""));
  if (holders.length < 2 || places.size >= trip.goal.places) return [];
  return [
    {
      code: "same-place",
      severity: "warning",
      about: trip.id,
      happened: `The copies of ${printable(trip.name)} are kept in ${counted(places.size, "place")}; the goal is ${trip.goal.places}.`,
      safe: `${list(holders.map((drive) => drive.name))} hold verified copies.`,
      next: "Keep one drive somewhere else, and say where in the profile.",
    },
  ];
}

function ambiguous(mount: string): Alert {
  return {
    code: "unknown-card",
    severity: "warning",
    about: mount,
    happened: `${printable(mount)} carries a drive's identity and a camera's folders at once.`,
    safe: "Nothing on it was read or written.",
    next: "If it is a card, remove its `.scrubjay` folder; if it is a drive, move its camera folders into another folder. Then put it in again.",
  };
}

function stranger(drive: AlertView["strangers"][number]): Alert {
  const mount = printable(drive.mount);
  const name = printable(drive.name);
  if (drive.why === "unknown")
    return {
      code: "unknown-drive",
      severity: "note",
      about: drive.mount,
      happened: `${mount} is the drive ${name} of another Scrubjay.`,
      safe: "Nothing was written to it.",
      next: `If it is yours, \`scrubjay rebuild ${asArgument(drive.mount)}\` learns all that it knows.`,
    };
  if (drive.why === "lost")
    return {
      code: "unknown-drive",
      severity: "warning",
      about: drive.mount,
      happened: `${mount} is ${name}, which was declared lost.`,
      safe: "Nothing was written to it, and nothing on it counts.",
      next: `To use it again, run \`scrubjay drive add ${asArgument(drive.mount)} --name NAME\` with a name that is free; what stands on it is read, and what is good counts again.`,
    };
  return {
    code: "drive-twice",
    severity: "warning",
    about: drive.mount,
    happened: `${mount} says it is ${name}, which is another medium.`,
    safe: "Nothing was written to it.",
    next: "It looks like a copy of that drive. Remove its `.scrubjay` folder and introduce it under a name of its own.",
  };
}

function unreadable(mount: string): Alert {
  return {
    code: "unknown-card",
    severity: "warning",
    about: mount,
    happened: `${printable(mount)} is plugged in and can't be read, so it isn't known what it is.`,
    safe: "Nothing on it was written. All else goes on.",
    next: "Take it out and put it in again, or try another reader or cable. If it is a card, keep it.",
  };
}

function unfinished(card: AlertView["unfinished"][number]): Alert {
  return {
    code: "card-unfinished",
    severity: "urgent",
    about: card.id,
    happened: `${card.name} was taken out before all of it was copied: ${counted(card.files, "file")} may be on it alone.`,
    safe: "What was copied before is safe. The card was only read.",
    next: `Keep ${inSentence(card.name)} and put it in again; copying goes on by itself. If it is of no concern, \`scrubjay cards dismiss ${card.id}\` says so.`,
  };
}

function spoilt(record: { readonly name: string; readonly id: string; readonly lines: number }): Alert {
  return {
    code: "record-unreadable",
    severity: "note",
    about: record.id,
    happened: `${counted(record.lines, "line")} of the record on ${printable(record.name)} can't be read.`,
    safe: "Those lines were passed over; what this computer knows of them is written again below.",
    next: "Nothing needs to be done. If it grows, the drive may be failing.",
  };
}

function damagedSource(card: AlertView["damaged"][number]): Alert {
  const [first] = card.files;
  const one = card.files.length === 1;
  const which = named(card.files.map((file) => file.path));
  const why = one && first !== undefined ? ` (${first.why})` : "";
  return {
    code: "damaged-source",
    severity: "urgent",
    about: card.id,
    happened: `${counted(card.files.length, "file")} of ${inSentence(card.name)} ${one ? "is" : "are"} damaged as the card gives ${one ? "it" : "them"}: ${which}${why}.`,
    safe: `${one ? "It is" : "They are"} copied as ${one ? "it is" : "they are"}. ${cardUntouched}`,
    next: `Keep ${inSentence(card.name)}: another reader may read it better. Look at ${one ? "the frame" : "the frames"}; if nothing better can be had, \`scrubjay cards accept ${card.id} PATH\` lets the card go.`,
  };
}

function withdrawn(card: AlertView["withdrawn"][number]): Alert {
  return {
    code: "verdict-withdrawn",
    severity: "urgent",
    about: card.id,
    happened: `${card.name} may not be formatted any more. ${card.sentence}`,
    safe: "The copies that are still counted were verified.",
    next: `If ${inSentence(card.name)} isn't formatted yet, keep it and put it in again. If it is, what other drives hold of it is copied from them by itself as soon as they are in.`,
  };
}

function vanished(card: AlertView["vanished"][number]): Alert {
  const one = card.paths.length === 1;
  return {
    code: "card-formatted",
    severity: "urgent",
    about: card.id,
    happened: `${counted(card.paths.length, "file")} that stood on ${inSentence(card.name)} when it was last in ${one ? "was" : "were"} never copied and ${one ? "is" : "are"} gone from it: ${named(card.paths)}.`,
    safe: `Everything that was copied from it before is safe. ${cardUntouched}`,
    next: `Take nothing more with ${inSentence(card.name)}: a recovery service may still find what is gone from it. \`scrubjay cards --json\` names all; if ${one ? "it was" : "they were"} deleted on purpose, \`scrubjay cards dismiss ${card.id}\` says so.`,
  };
}

function nowhere({ paths, cards }: AlertView["nowhere"]): Alert[] {
  if (paths.length === 0) return [];
  const one = paths.length === 1;
  const where =
    cards.length === 0
      ? "If a card still has"
      : `If ${list(cards.map((card, index) => (index === 0 ? inSentence(card) : inSentence(card))))} still ${cards.length === 1 ? "has" : "have"}`;
  return [
    {
      code: "on-no-drive",
      severity: "urgent",
      about: "nowhere",
      happened: `${counted(paths.length, "file")} ${one ? "is" : "are"} on no drive that is known: ${named(paths)}.`,
      safe: "Everything else is on the drives that the board shows.",
      next: `${where} ${one ? "it" : "them"}, put it in and don't format it: what is on it is copied again by itself.`,
    },
  ];
}

function frameDoubted({ about, card, frames }: AlertView["doubted"][number]): Alert {
  const one = frames.length === 1;
  const from = card === undefined ? "" : ` of ${inSentence(card)}`;
  const keep = card === undefined ? "Keep the card" : `Keep ${inSentence(card)}`;
  return {
    code: "frame-doubted",
    severity: "urgent",
    about,
    happened: `${counted(frames.length, "frame")}${from} ${one ? "was" : "were"} looked at and ${one ? "isn't" : "aren't"} fine: ${named(frames)}.`,
    safe: `The copies equal what the card gave, and nothing was changed. ${cardUntouched}`,
    next: `${keep}. Look at ${one ? "the same frame" : "the same frames"} in another program, and try another reader. If ${one ? "it is" : "they are"} fine after all, say so where you looked at ${one ? "it" : "them"}.`,
  };
}

function workConflict({ trip, paths }: AlertView["conflicts"][number]): Alert {
  const one = paths.length === 1;
  return {
    code: "work-conflict",
    severity: "warning",
    about: trip,
    happened: `${counted(paths.length, "work file")} ${one ? "was" : "were"} changed on two drives apart: ${named(paths)}.`,
    safe: `Both versions are kept: the newer ${one ? "one stands" : "ones stand"} in place, the other in the histories of the drives.`,
    next: "Look at both under Edits on the page: put the other one in place, or say that you know. `scrubjay edits list PATH` shows the versions.",
  };
}

function emptied(card: AlertView["emptied"][number]): Alert {
  return {
    code: "card-formatted",
    severity: "urgent",
    about: card.id,
    happened: `${card.name} came empty, and looks like ${list(card.others.map(inSentence))}, which went before all of ${card.others.length === 1 ? "it" : "them"} was safe.`,
    safe: "What was copied from it before is safe. Formatting gives a card a new identity, so this can't be known for sure.",
    next: "If it is another card, nothing is the matter. If it is the same, take nothing more with it: a recovery service may still find what was on it. `scrubjay cards` names what lacks copies.",
  };
}

/** Up to three names, and how many more. */
function named(paths: readonly string[]): string {
  const shown = paths.slice(0, 3).map((path) => printable(path, 80));
  const more = paths.length - shown.length;
  return more > 0 ? `${shown.join(", ")} and ${counted(more, "more", "more")}` : list(shown);
}
