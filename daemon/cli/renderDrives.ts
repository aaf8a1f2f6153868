/** The known drives as text. */

import type { DriveStatusJson } from "../../shared/api.ts";
import { whyAway } from "../../shared/boardTable.ts";
import { counted, formatBytes } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { tableOrList } from "./table.ts";
import { usualColumns } from "./terminal.ts";

/** @param width columns */
export function renderDrives(drives: readonly DriveStatusJson[], width = usualColumns): string {
  if (drives.length === 0)
    return "No drive is known yet. Add one with `scrubjay drive add MOUNT --name NAME`.\n";
  const rows = drives.map((drive) => [
    printable(drive.name),
    drive.role ?? "",
    printable(drive.place ?? ""),
    drive.present ? printable(drive.mount ?? "here") : (whyAway(drive) ?? "not here"),
    freeOf(drive),
    counted(drive.holds.files, "file"),
    drive.owed.files === 0
      ? "nothing"
      : `${counted(drive.owed.files, "file")}, ${formatBytes(bytes(drive.owed.bytes))}`,
  ]);
  return tableOrList(["drive", "role", "place", "where", "free", "holds", "owes"], rows, width);
}

function freeOf(drive: DriveStatusJson): string {
  if (drive.freeBytes === null || drive.totalBytes === null) return "";
  return `${formatBytes(bytes(drive.freeBytes))} of ${formatBytes(bytes(drive.totalBytes))}`;
}
