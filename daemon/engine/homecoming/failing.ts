/**
 * An archive that fails takes no further part in its homecoming, and says why. A server answers over a network that
 * something failed, seldom what: so it is asked once more whether the archive still stands there and has room.
 */

import { counted } from "../../../shared/format.ts";
import { FileFault } from "../../../shared/problems.ts";
import { printable } from "../../../shared/text.ts";
import { type Bytes, bytes } from "../../../shared/units.ts";
import type { Files } from "../../ports/files.ts";
import { wordsFor } from "../faultWords.ts";
import type { Archive } from "./archive.ts";
import type { Item, Target } from "./run.ts";

/**
 * Anything but a failure of files is a bug and goes on.
 * @param needed what was to be written there
 */
export async function dropTarget(
  files: Files,
  target: Target,
  fault: unknown,
  needed: Bytes = bytes(0),
): Promise<void> {
  if (!(fault instanceof FileFault)) throw fault;
  const { code } = await whatItWas(files, target.archive, fault, needed);
  const shown = printable(target.folder, 1_000);
  if (target.why === "") target.why = `${shown} ${sentence(code)}`;
}

function sentence(code: FileFault["code"]): string {
  switch (code) {
    case "no-space":
      return "is full. What was brought there stays. Free room there, then bring it home again.";
    case "gone":
      return "is no longer connected. What was brought there stays. Connect it again, then bring it home again.";
    default:
      return `failed: ${wordsFor(code)}. What was brought there stays.`;
  }
}

/**
 * One file couldn't be brought there. Where only this one can't stand there, it alone is left out.
 */
export async function leaveOutOrDrop(
  files: Files,
  target: Target,
  fault: unknown,
  item: Item,
): Promise<void> {
  const fileOnly = fault instanceof FileFault && (fault.code === "bad-name" || fault.code === "too-large");
  if (fileOnly) target.refused.set(item, fault.code);
  else await dropTarget(files, target, fault, item.size);
}

const rename = " Give it another name on the drives, then bring it home again.";

/** Why not all of it stands there, as sentences; "" while nothing is against it. */
export function whyNotAll({ why, folder, refused }: Target): string {
  const [first, ...others] = [...refused].sort(([a], [b]) => (a.path < b.path ? -1 : 1));
  if (why !== "" || first === undefined) return why;
  const [{ path, work }, code] = first;
  const more = others.length === 0 ? "" : ` So it is with ${counted(others.length, "other file")}.`;
  return `${printable(folder, 1_000)} can't take ${printable(path, 1_000)}: ${wordsFor(code)}.${more}${work && code === "bad-name" ? rename : ""}`;
}

/** The fault, or what stands behind it as far as the archive tells now. */
export async function whatItWas(
  files: Files,
  archive: Archive | undefined,
  fault: FileFault,
  needed: Bytes = bytes(0),
): Promise<FileFault> {
  if (archive === undefined || !mayMeanAnother.has(fault.code)) return fault;
  try {
    const { device, freeBytes, blockBytes } = await files.traits(archive.folder);
    if (device !== archive.at.device) return new FileFault("gone", archive.folder, fault);
    const full = fault.code !== "missing" && freeBytes < Math.max(needed, blockBytes);
    return full ? new FileFault("no-space", fault.path, fault) : fault;
  } catch (asked) {
    if (!(asked instanceof FileFault)) throw asked;
    return new FileFault("gone", archive.folder, fault);
  }
}

/** SFTP, NFS and SMB answer so to much else (SFTP 3, section 7: SSH_FX_FAILURE is all that a full disk says). */
const mayMeanAnother: ReadonlySet<FileFault["code"]> = new Set(["io", "denied", "missing"]);
