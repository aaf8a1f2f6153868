/** Work files and their versions as text. */

import type {
  EditsJson,
  EditsStatusJson,
  EditVersionJson,
  EditVersionsJson,
  RestoredJson,
} from "../../shared/editsApi.ts";
import { counted, formatBytes, formatCount } from "../../shared/format.ts";
import { fullMoment, shortMoment } from "../../shared/moments.ts";
import { asArgument, printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import type { Seeds } from "./seeds.ts";
import { paragraph, signed, tableOrList } from "./table.ts";

/** characters. Paths are shown whole. */
const pathLongest = 1_200;

/** @param width columns */
export function renderEdits(known: EditsJson, seeds: Seeds, width: number): string {
  const { edits, files, conflicts } = known;
  if (known.trip === null) return paragraph("No trip is described yet.", width);
  if (edits === null || known.total === 0)
    return paragraph(`${printable(known.trip.name)} has no work files yet.`, width);
  const rows = files.map((file) => [
    printable(file.path, pathLongest),
    file.deleted ? "deleted, kept" : formatBytes(bytes(file.bytes)),
    shortMoment(file.modified, known.at),
    file.drives.length === 0 ? "no drive" : file.drives.map((drive) => printable(drive, 40)).join(", "),
    formatCount(file.versions),
  ]);
  const list = tableOrList(["file", "size", "changed", "newest on", "versions"], rows, width);
  const clashes = conflicts.map((conflict) =>
    signed(
      seeds.damaged,
      `${printable(conflict.path, pathLongest)} was changed on ${printable(conflict.kept.drive, 40)}, ${shortMoment(conflict.kept.modified, known.at)}, and ${conflict.other.deleted ? "deleted" : "changed"} on ${printable(conflict.other.drive, 40)}, ${shortMoment(conflict.other.modified, known.at)}, apart. Both versions are kept; the newer one is in place. \`scrubjay edits list ${asArgument(conflict.path)}\` shows them, \`scrubjay open\` what differs.`,
      width,
    ),
  );
  return [list, summary(edits, seeds, width), ...clashes].filter((part) => part !== "").join("\n");
}

function summary(edits: EditsStatusJson, seeds: Seeds, width: number): string {
  const lines = edits.drives.map(({ drive, files, behind }) =>
    behind === 0
      ? signed(seeds.verified, `${printable(drive, 40)}: the newest of all ${formatCount(files)}.`, width)
      : signed(seeds.owed, `${printable(drive, 40)}: lacks the newest of ${counted(behind, "file")}.`, width),
  );
  if (edits.waiting > 0) {
    const what = edits.waitingFor.map(({ path, why }) => `${printable(path)} ${printable(why)}`);
    const named = what.length === 0 ? "" : ` ${what.join("; ")}.`;
    lines.push(
      signed(seeds.dot, `${counted(edits.waiting, "file")} waited for, copied when quiet.${named}`, width),
    );
  }
  if (edits.leftOut.files > 0)
    lines.push(
      signed(
        seeds.dot,
        `${counted(edits.leftOut.files, "file")} (${formatBytes(bytes(edits.leftOut.bytes))}) left out, as the profile says.`,
        width,
      ),
    );
  if (edits.deleted > 0)
    lines.push(
      signed(
        seeds.dot,
        `${counted(edits.deleted, "file")} deleted on the primary drive; the last versions stay in the histories.`,
        width,
      ),
    );
  return lines.join("");
}

/** @param width columns */
export function renderVersions({ path, deleted, versions }: EditVersionsJson, width: number): string {
  const head = deleted
    ? `${printable(path, pathLongest)} was deleted; its last version is kept.`
    : printable(path, pathLongest);
  const rows = versions.map((version) => [
    // As it stands: what `--at` takes.
    version.at,
    formatBytes(bytes(version.bytes)),
    version.inPlace && !deleted ? "in place" : "earlier",
    version.drives.length === 0
      ? "no drive that is in"
      : version.drives.map((drive) => printable(drive, 40)).join(", "),
    version.madeOn === null ? "" : printable(version.madeOn, 40),
  ]);
  return `${paragraph(head, width)}${tableOrList(["version", "size", "is", "on", "made on"], rows, width)}`;
}

/** @param width columns */
export function renderRestored(restored: RestoredJson, version: EditVersionJson, width: number): string {
  const said = `The version of ${fullMoment(version.at)} is in place again on ${printable(restored.drive, 40)}: ${printable(restored.path, pathLongest)}. It goes to the other drives by itself; what stood there stays in the history.`;
  return paragraph(said, width);
}
