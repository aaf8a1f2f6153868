/** `scrubjay archive check FOLDER`: a merged trip is read again, from what stands in its folder alone. */

import { resolve } from "node:path";
import { limits } from "../../config/defaults.ts";
import { counted, formatBytes, formatCount } from "../../shared/format.ts";
import type { ArchiveCheckJson } from "../../shared/homeApi.ts";
import { absolutePath } from "../../shared/identity.ts";
import { FileFault, UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { bytes, type Millis } from "../../shared/units.ts";
import type { Progress } from "../engine/progress.ts";
import type { Call, Command } from "./command.ts";
import { type Seeds, seedsFor } from "./seeds.ts";
import { paragraph, signed } from "./table.ts";
import { columnsOf, outJson, usualColumns, writesUnicode } from "./terminal.ts";
import { howFar, showLines } from "./workProgress.ts";

/** Lines in a group. The rest is counted; `--json` has all. */
const namedMost = 20;

export const archiveCheck: Command = {
  name: "archive check",
  operands: ["FOLDER"],
  options: {},
  does: "reads a merged trip again and compares it with the list in its folder",
  more: "FOLDER is the trip's folder in the archive, with its `checksums.xxh64`. Works without the daemon and on any computer; nothing is written. Any tool that reads such lists does the same: `xxhsum -c checksums.xxh64`.\nExit status: 0 all that is listed is as listed, 64 there is no list, 65 something is damaged or missing, 74 an I/O error. Files that the list doesn't name are told and are no fault.",
  run,
};

async function run(call: Call): Promise<number> {
  const [folder = ""] = call.operands;
  const { terminal } = call;
  // Loaded only here: the platform's libraries come with it, and nothing else of the daemon is used.
  const { selectFiles } = await import("../platform/select.ts");
  const { checkArchive } = await import("../engine/homecoming/check.ts");
  const { files, hashing, clock } = await selectFiles();
  let far = (): string => "";
  const done = new AbortController();
  const showing = showLines(terminal, async () => far(), done.signal);
  let found: ArchiveCheckJson;
  try {
    const around = {
      files,
      hashing,
      clock,
      limits,
      onBegun: (progress: Progress) => {
        far = () => lineOf(folder, progress, clock.steady());
      },
    };
    found = await checkArchive(around, absolutePath(resolve(folder)));
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    throw new UserMistake(
      `${printable(fault.path, 1_000)} gave no answer (${fault.code}). Nothing was written.`,
      "See whether the disk is connected, then check again.",
      74,
    );
  } finally {
    done.abort();
    await showing;
  }
  if (call.json) outJson(terminal, found);
  else terminal.out(renderCheck(found, writesUnicode(terminal.env), columnsOf(terminal)));
  return found.good ? 0 : 65;
}

function lineOf(folder: string, progress: Progress, now: Millis): string {
  const { doneBytes, totalBytes } = progress;
  const bytesPerSecond = progress.bytesPerSecond(now);
  const secondsLeft = progress.secondsLeft(now) ?? null;
  const work = {
    kind: "scrub",
    from: folder,
    to: [],
    doneBytes,
    totalBytes,
    bytesPerSecond,
    secondsLeft,
  } as const;
  return `Reading: ${howFar(work)}`;
}

/**
 * @param unicode whether the terminal shows the seeds' signs; ASCII ones otherwise
 * @param width columns
 */
export function renderCheck(check: ArchiveCheckJson, unicode: boolean, width = usualColumns): string {
  const seeds = seedsFor(unicode);
  const { files, bytes: size, unsure, damaged, missing, unlisted, good } = check;
  const amount = `${counted(files, "file")}, ${formatBytes(bytes(size))}`;
  const cache = unsure === 0 ? "" : ` ${formatCount(unsure)} of them were read perhaps from a cache.`;
  const said = good
    ? `${amount}, all as listed.`
    : `${amount}; ${formatCount(damaged.length)} damaged, ${formatCount(missing.length)} missing.`;
  return [
    signed(signOf(check, seeds), `${printable(check.folder, 1_000)}: ${said}${cache}`, width),
    group(
      "Damaged; take good copies from another archive or a drive:",
      damaged.map(({ path, what }) => `${path}: ${what}`),
      width,
    ),
    group("Missing:", missing, width),
    group("Not listed: somebody added them.", unlisted, width),
  ]
    .filter((part) => part !== "")
    .join("\n");
}

function signOf({ good, unsure }: ArchiveCheckJson, seeds: Seeds): string {
  if (!good) return seeds.damaged;
  return unsure > 0 ? seeds.unsure : seeds.verified;
}

function group(title: string, lines: readonly string[], width: number): string {
  if (lines.length === 0) return "";
  const shown = lines
    .slice(0, namedMost)
    .map((line) => paragraph(printable(line, 2_000), width, "      ", "        "));
  const rest = lines.length - shown.length;
  const more =
    rest > 0 ? paragraph(`and ${formatCount(rest)} more; \`--json\` names them`, width, "      ") : "";
  return paragraph(title, width, "    ") + shown.join("") + more;
}
