/**
 * What a scrub read and found as text: drive by drive, then everything that isn't as it was verified, grouped by what
 * became of it, with what is safe and what to do. What was known before and isn't made good yet stands among it.
 */

import type { FindingJson, ScrubJson } from "../../shared/api.ts";
import { counted, formatBytes, formatCount } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { list } from "../core/verdict.ts";
import { type Seeds, seedsFor } from "./seeds.ts";
import { paragraph, signed } from "./table.ts";
import { usualColumns } from "./terminal.ts";

/** Lines in a group. The rest is counted; `--json` has all. */
const namedMost = 20;
/** Characters. A path where someone is to look is shown whole. */
const longestPath = 1_000;

/** What copies were found to be, the gravest first. */
const kinds = ["damaged", "missing", "changed", "moved"] as const;
type Kind = (typeof kinds)[number];

/** `2 damaged` in a drive's line. */
const shortWords: Readonly<Record<Kind, string>> = {
  damaged: "damaged",
  missing: "gone",
  changed: "changed by another program",
  moved: "moved",
};

/**
 * @param unicode whether the terminal shows the seeds' signs; ASCII ones otherwise
 * @param width columns
 */
export function renderScrub(scrub: ScrubJson, unicode: boolean, width = usualColumns): string {
  const seeds = seedsFor(unicode);
  const drives = scrub.drives.map((drive) => {
    const findings = scrub.findings.filter((finding) => finding.drive === drive.name);
    return renderDrive(drive, findings, scrub.complete, seeds, width);
  });
  const groups = kinds.map((what) => {
    const found = scrub.findings.filter((finding) => finding.what === what);
    return found.length === 0 ? "" : renderGroup(what, found, seeds, width);
  });
  const parts = [
    drives.length === 0 ? paragraph("No verified copy was there to be read.", width, " ") : drives.join(""),
    ...groups,
    scrub.complete ? "" : signed(seeds.owed, incomplete, width),
  ];
  return parts.filter((part) => part !== "").join("\n");
}

const incomplete =
  "Not all of it was read: a drive went or failed on the way. What was found before that counts, and nothing was " +
  "deleted. Plug the drive in again and run `scrubjay scrub` once more.";

function renderDrive(
  drive: ScrubJson["drives"][number],
  findings: readonly FindingJson[],
  complete: boolean,
  seeds: Seeds,
  width: number,
): string {
  const amount = `${counted(drive.files, "file")}, ${formatBytes(bytes(drive.bytes))}`;
  const unsure =
    drive.unsure > 0 ? ` ${formatCount(drive.unsure)} of them were read perhaps from a cache.` : "";
  const said = `${printable(drive.name, 60)}: ${amount}${outcomeOf(drive.files, findings, complete)}.${unsure}`;
  return signed(signOf(drive.unsure, findings, seeds), said, width);
}

/** The end of a drive's line: `, all as verified` or `; 2 damaged, 1 gone, 1 of them known since before`. */
function outcomeOf(files: number, findings: readonly FindingJson[], complete: boolean): string {
  const numbers = kinds.flatMap((kind) => {
    const found = findings.filter(({ what }) => what === kind).length;
    return found === 0 ? [] : [`${formatCount(found)} ${shortWords[kind]}`];
  });
  if (findings.some(({ what }) => what !== "moved")) return `; ${numbers.join(", ")}${sinceBefore(findings)}`;
  if (files === 0) return "";
  const all = complete ? ", all as verified" : ", all that was read is as verified";
  return numbers.length === 0 ? all : `${all}, ${numbers.join(", ")}`;
}

function sinceBefore(findings: readonly FindingJson[]): string {
  const known = findings.filter(isEarlier).length;
  if (known === 0) return "";
  return known === findings.length
    ? ", known since before"
    : `, ${formatCount(known)} of them known since before`;
}

function isEarlier({ earlier }: FindingJson): boolean {
  return earlier === true;
}

function signOf(unsure: number, findings: readonly FindingJson[], seeds: Seeds): string {
  if (findings.some(({ what }) => what === "damaged" || what === "missing")) return seeds.damaged;
  if (findings.some(({ what }) => what === "changed")) return seeds.owed;
  return unsure > 0 ? seeds.unsure : seeds.verified;
}

function renderGroup(what: Kind, found: readonly FindingJson[], seeds: Seeds, width: number): string {
  const signs = { damaged: seeds.damaged, missing: seeds.damaged, changed: seeds.owed, moved: seeds.dot };
  const names = namesWithin(namedMost);
  const newFirst = [...found].sort((a, b) => Number(isEarlier(a)) - Number(isEarlier(b)));
  const healed = newFirst.filter((finding) => finding.healed);
  const owed = newFirst.filter((finding) => !finding.healed);
  const { happened, safe, next } = wordsOf(what, found, owed.length);
  const head = signed(signs[what], `${happened} ${safe}`, width);
  if (what === "moved") return head + names(newFirst, width);
  const part = (title: string, findings: readonly FindingJson[]): string => {
    if (findings.length === 0) return "";
    const number = findings.length === found.length ? "" : ` (${formatCount(findings.length)})`;
    return paragraph(`${title}${number}:`, width, "    ") + names(findings, width);
  };
  const titles = titlesOf[what];
  const parts = [part(titles.healed, healed), part(titles.owed, owed)];
  return head + parts.join("") + paragraph(next, width, "    ");
}

/** What became of the files of a group. */
const titlesOf: Readonly<Record<Exclude<Kind, "moved">, { readonly healed: string; readonly owed: string }>> =
  {
    damaged: {
      healed: "A good copy stands there again",
      owed: "Left as it is until a good copy takes its place; owed by the drive",
    },
    missing: { healed: "A good copy stands there again", owed: "Owed by the drive" },
    changed: { healed: "The original stands beside it again", owed: "Owed by the drive" },
  };

/** The three sentences of a group. */
function wordsOf(
  what: Kind,
  found: readonly FindingJson[],
  owed: number,
): { readonly happened: string; readonly safe: string; readonly next: string } {
  const one = found.length === 1;
  const files = counted(found.length, "file");
  const drives = list([...new Set(found.map((finding) => finding.drive))]);
  const again = `Run \`scrubjay scrub\` again soon; if more is found, don't trust ${drives} any more.`;
  const [it, its] = owed === 1 ? ["it", "its card"] : ["them", "their cards"];
  const owes = `Plug in another drive that holds ${it}, or put ${its} in: what is owed is made good by itself.`;
  const next = owed > 0 ? `Keep the cards. ${owes}` : again;
  switch (what) {
    case "damaged":
      return {
        happened: `${files} on ${drives} can't be read as verified any more, and no program wrote ${one ? "it" : "them"}.`,
        safe: "Nothing was deleted, and other drives' copies count as before.",
        next,
      };
    case "missing":
      return {
        happened: `${files} on ${drives} ${one ? "is" : "are"} gone: nothing stands under ${one ? "its name" : "their names"}, and nothing equal was found elsewhere in the trip's folder.`,
        safe: "Other drives' copies count as before.",
        next: owed > 0 ? next : `If nobody removed ${one ? "it" : "them"}, don't trust ${drives} any more.`,
      };
    case "changed":
      return {
        happened: `${files} on ${drives} ${one ? "was" : "were"} changed by another program after ${one ? "it was" : "they were"} verified.`,
        safe: `${one ? "It was left as it is and counts" : "They were left as they are and count"} as a copy no more; other drives' copies count as before.`,
        next: owed > 0 ? owes : "Nothing needs to be done.",
      };
    case "moved":
      return {
        happened: `${files} on ${drives} ${one ? "was" : "were"} moved or renamed.`,
        safe: `${one ? "It is" : "They are"} as verified and ${one ? "counts" : "count"} where ${one ? "it stands" : "they stand"} now. Nothing needs to be done.`,
        next: "",
      };
  }
}

/** Names for one group, never more than `most` in all its parts; the rest of each part is counted. */
function namesWithin(most: number): (findings: readonly FindingJson[], width: number) => string {
  let left = most;
  return (findings, width) => {
    const shown = findings.slice(0, left);
    left -= shown.length;
    const lines = shown.map((finding) => paragraph(nameOf(finding), width, "      ", "        "));
    const rest = findings.length - shown.length;
    const more = `${shown.length === 0 ? "" : "and "}${formatCount(rest)}${shown.length === 0 ? "" : " more"}; \`--json\` names them`;
    return lines.join("") + (rest > 0 ? paragraph(more, width, "      ") : "");
  };
}

function nameOf(finding: FindingJson): string {
  const { drive, path, movedTo, aside = null, beside = null } = finding;
  const parts = [
    `${printable(drive, 60)}: ${printable(path, longestPath)}`,
    ...(movedTo === null ? [] : [`now ${printable(movedTo, longestPath)}`]),
    ...(aside === null ? [] : [`the damaged file is set aside as ${printable(aside, longestPath)}`]),
    ...(beside === null ? [] : [`the original is ${printable(beside, longestPath)}`]),
    ...(isEarlier(finding) ? ["known since before"] : []),
  ];
  return parts.join(", ");
}
