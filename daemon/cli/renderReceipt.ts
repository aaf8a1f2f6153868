/** A homecoming's receipt as text: what is home, what is missing and where it was last seen, which drives may be reused. */

import { counted, formatBytes, formatCount } from "../../shared/format.ts";
import type { HomeCountsJson, HomeTargetJson, ReceiptJson } from "../../shared/homeApi.ts";
import { printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { type Seeds, seedsFor } from "./seeds.ts";
import { paragraph, signed } from "./table.ts";
import { usualColumns } from "./terminal.ts";

/** Lines in a group. The rest is counted; `--json` has all. */
const namedMost = 20;
const longestPath = 1_000;

/**
 * @param unicode whether the terminal shows the seeds' signs; ASCII ones otherwise
 * @param width columns
 */
export function renderReceipt(receipt: ReceiptJson, unicode: boolean, width = usualColumns): string {
  const seeds = seedsFor(unicode);
  const part = (sign: string, title: string, lines: readonly string[], total = lines.length): string =>
    lines.length === 0 ? "" : signed(sign, title, width) + names(lines, total, width);
  const { missing, damage, clashes, elsewhere, conflicts, brokenAtSource } = receipt;
  const parts = [
    paragraph(receipt.headline, width, " ") + paragraph(receipt.advice, width, " "),
    paragraph(`Expected: ${countsIn(receipt.expected)}.`, width, " ") +
      paragraph(`Found: ${countsIn(receipt.found)}.`, width, " "),
    receipt.targets.map((target) => targetLine(target, receipt.rehearsal, seeds, width)).join(""),
    receipt.sources
      .map(({ drive, files, bytes: size, edits }) =>
        signed(
          seeds.dot,
          `${drive} gave ${counted(files, "file")} (${sizeOf(size)})${edits === 0 ? "" : ` and ${counted(edits, "work file")}`}.`,
          width,
        ),
      )
      .join(""),
    part(
      seeds.owed,
      `${counted(receipt.missingTotal, "file")} ${receipt.missingTotal === 1 ? "is" : "are"} missing. What was merged is untouched by that.`,
      missing.map(({ path, lastSeen }) => `${printable(path, longestPath)}: last seen ${lastSeen}`),
      receipt.missingTotal,
    ),
    part(
      seeds.damaged,
      `${counted(receipt.damageTotal, "copy", "copies")} on drives ${receipt.damageTotal === 1 ? "isn't" : "aren't"} as verified; none of it went into the archive.`,
      damage.map(
        ({ path, drive, what, healed }) =>
          `${drive}: ${printable(path, longestPath)}. ${what} ${healed ? "Another drive gave a good copy." : "No drive that is in has a good copy."}`,
      ),
      receipt.damageTotal,
    ),
    part(
      seeds.damaged,
      "Broken as their cards gave them, and copied as they are:",
      brokenAtSource.map(({ path, why }) => `${printable(path, longestPath)}: ${why}`),
    ),
    part(
      seeds.dot,
      "Two files of one name; both are kept:",
      clashes.map(
        ({ path, keptAs }) =>
          `${printable(path, longestPath)}: the trip's own is ${printable(keptAs, longestPath)}`,
      ),
    ),
    part(
      seeds.dot,
      "There already under another name:",
      elsewhere.map(
        ({ path, standsAs }) =>
          `${printable(path, longestPath)}: stands as ${printable(standsAs, longestPath)}`,
      ),
    ),
    part(
      seeds.dot,
      "Changed on two drives apart; the newer one is in place:",
      conflicts.map(({ path, what }) => `${printable(path, longestPath)}: ${what}`),
    ),
    (receipt.leftOut?.files ?? 0) === 0
      ? ""
      : signed(
          seeds.dot,
          `Left out by the profile: ${counted(receipt.leftOut?.files ?? 0, "file")} (${sizeOf(receipt.leftOut?.bytes ?? 0)}). They stay on the drives only.`,
          width,
        ),
    receipt.drives
      .map(({ drive, mayBeReused, retired, why }) =>
        retired
          ? signed(seeds.dot, `${drive} was freed of the trip.`, width)
          : mayBeReused
            ? signed(seeds.verified, `${drive} may be reused.`, width)
            : signed(seeds.owed, `Keep ${drive} as it is. ${why}`, width),
      )
      .join(""),
    receipt.drives.some(({ mayBeReused }) => mayBeReused) ? paragraph(receipt.cautions, width, " ") : "",
  ];
  return parts.filter((each) => each !== "").join("\n");
}

function targetLine(target: HomeTargetJson, rehearsal: boolean, seeds: Seeds, width: number): string {
  const { tripFolder, done, why, how, copied, there, edits, versions, receipt } = target;
  const sign =
    done && !rehearsal ? (target.readBack === "cache" ? seeds.unsure : seeds.verified) : seeds.owed;
  const said = [
    `${printable(tripFolder, longestPath)}: ${counted(copied.files, "file")} (${sizeOf(copied.bytes)}) ${rehearsal ? "to bring" : "brought"}, ${counted(there.files, "file")} there already` +
      `${edits === 0 ? "" : `, ${counted(edits, "work file")}`}${versions === 0 ? "" : `, ${counted(versions, "earlier version")}`}.`,
    done ? how : why,
    receipt === null ? "" : `The receipt is ${printable(receipt, longestPath)}.`,
  ];
  return signed(sign, said.filter((part) => part !== "").join(" "), width);
}

function countsIn({ frames, files, bytes: size, edits }: HomeCountsJson): string {
  return `${counted(frames, "frame")}, ${counted(files, "file")}, ${sizeOf(size)}, ${counted(edits, "work file")}`;
}

function names(lines: readonly string[], total: number, width: number): string {
  const shown = lines.slice(0, namedMost).map((line) => paragraph(line, width, "      ", "        "));
  const rest = total - Math.min(lines.length, namedMost);
  const more =
    rest > 0 ? paragraph(`and ${formatCount(rest)} more; \`--json\` names them`, width, "      ") : "";
  return shown.join("") + more;
}

const sizeOf = (size: number): string => formatBytes(bytes(size));
