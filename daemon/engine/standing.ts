/**
 * Whether copies that are written down still stand where they should, by name and size alone: quick enough to be asked
 * each time a drive comes. Reading them is scrubbing's job.
 *
 * Invariant: a drive that can't be read or goes meanwhile proves nothing, so nothing is called missing then.
 */

import { folderOf, type RelativePath, type TripId, under } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { bytes } from "../../shared/units.ts";
import type { CopyRow, OriginalRow } from "../ports/ledger.ts";
import { identityFile } from "../record/driveLayout.ts";
import type { EnginePorts } from "./ports.ts";
import type { Publisher } from "./publisher.ts";

/** A copy as written down, with what it is a copy of. */
export interface WrittenCopy {
  readonly copy: CopyRow;
  readonly original: OriginalRow;
}

/**
 * Those of `copies` that are gone, have another size, or of which the drive tells nothing. Whether the drive was there all the time is for the caller to
 * ask afterwards.
 * @throws FileFault when the drive as a whole gives no answer.
 */
export async function notStanding(
  ports: EnginePorts,
  publisher: Publisher,
  copies: readonly WrittenCopy[],
): Promise<readonly WrittenCopy[]> {
  const lost: WrittenCopy[] = [];
  const folders = new RealFolders(ports, publisher);
  for (const each of copies) {
    if (publisher.drive.gone.aborted) return [];
    if (!(await stands(ports, publisher, folders, each))) lost.push(each);
  }
  if (lost.length > 0) await stillThere(ports, publisher);
  return lost;
}

/**
 * A mount point that was left behind is an empty folder: without the drive's own identity it isn't that drive.
 * @throws FileFault where it isn't
 */
export async function stillThere(ports: EnginePorts, publisher: Publisher): Promise<void> {
  const { volume, traits } = publisher.drive;
  const root = await ports.files.facts(volume.root);
  if (root.device !== traits.device) throw new FileFault("gone", volume.root);
  // After a pull stat may still answer; opening a file doesn't (Linux 6.1, a mount made by hand).
  await ports.files.readSmall(under(volume.root, identityFile), bytes(ports.limits.ownFileBytesMax));
}

async function stands(
  ports: EnginePorts,
  publisher: Publisher,
  folders: RealFolders,
  { copy, original }: WrittenCopy,
): Promise<boolean> {
  try {
    if (!(await folders.has(original.trip, folderOf(copy.path)))) return false;
    const facts = await ports.files.facts(publisher.pathOf(original.trip, copy.path));
    return facts.kind === "file" && facts.size === original.size;
  } catch (fault) {
    // Whether it is gone or the medium gives no answer there: it is looked into before anything is concluded.
    if (fault instanceof FileFault && fault.code !== "gone" && fault.code !== "too-many") return false;
    throw fault;
  }
}

/** Which folders of trips are folders all the way: what is reached through a link isn't on this drive. */
export class RealFolders {
  readonly #ports: Pick<EnginePorts, "files">;
  readonly #publisher: Publisher;
  readonly #known = new Map<string, boolean>();

  constructor(ports: Pick<EnginePorts, "files">, publisher: Publisher) {
    this.#ports = ports;
    this.#publisher = publisher;
  }

  async has(trip: TripId, folder: RelativePath): Promise<boolean> {
    const path = this.#publisher.pathOf(trip, folder);
    const known = this.#known.get(path);
    if (known !== undefined) return known;
    const above = folder === "" || (await this.has(trip, folderOf(folder)));
    const real = above && (await this.#ports.files.facts(path)).kind === "folder";
    this.#known.set(path, real);
    return real;
  }
}
