/**
 * What is on a card: every file, each as part of a frame, as an extra, or as something left behind with its reason.
 * Files that were read whole before are recognised by their quick fingerprint, without reading them again.
 *
 * Invariants: files listed = frames' files + extras + leavings; no link is followed; nothing on the card is changed.
 */

import type { CardId, RelativePath } from "../../shared/identity.ts";
import { baseName, under } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { type Bytes, bytes, type Instant, instant } from "../../shared/units.ts";
import { type CardFrame, groupFrames } from "../core/cardLayout.ts";
import { leavingReason } from "../core/leavings.ts";
import type { Entry } from "../ports/files.ts";
import type { CardFile, CardFileState } from "../ports/ledger.ts";
import type { BlockPool } from "./bounds.ts";
import type { EnginePorts } from "./ports.ts";
import type { PresentCard } from "./presence.ts";
import { FileEnds, fingerprintEnds } from "./transfer.ts";

export interface Survey {
  readonly frames: readonly CardFrame[];
  readonly files: ReadonlyMap<RelativePath, CardFile>;
  /** Folders that couldn't be listed. */
  readonly unreadFolders: readonly RelativePath[];
}

interface Found {
  readonly path: RelativePath;
  readonly size: Bytes;
  readonly modified: Instant;
  /** Undefined: it counts. */
  readonly leaving: string | undefined;
}

/**
 * Lists the card and writes that into the ledger.
 * @param look finds out whether the card is still there; asked where a folder can't be listed
 * @returns undefined when the card went meanwhile.
 */
export async function surveyCard(
  ports: EnginePorts,
  card: PresentCard,
  pool: BlockPool,
  look: () => Promise<unknown>,
): Promise<Survey | undefined> {
  const { found, unreadFolders } = await listAll(ports, card);
  if (unreadFolders.length > 0) await look();
  if (card.gone.aborted) return undefined;
  const { frames, extras } = groupFrames(found.filter((file) => file.leaving === undefined));
  const files = rolesOf(found, frames, extras);
  await recognise(ports, card, files, pool);
  if (card.gone.aborted) return undefined;
  ports.ledger.setCardFiles(card.id, [...files.values()], ports.clock.now());
  return { frames, files, unreadFolders };
}

/**
 * Files that counted, were never read and aren't on the card any more. An extra that has other bytes now is a camera's
 * own list or database, written anew.
 * @param sameVisit the card stayed in: what has other bytes under its old name was still being written
 */
export function vanishedFrom(
  before: readonly CardFileState[],
  survey: Survey,
  sameVisit: boolean,
): readonly CardFileState[] {
  // What is in a folder that can't be listed may still be there.
  if (survey.unreadFolders.length > 0) return [];
  const renamed = newcomers(before, survey);
  return before.filter((file) => {
    if (file.role === "leaving" || file.copied || renamed.has(looks(file))) return false;
    const now = survey.files.get(file.path);
    const unknown = file.size === 0 && file.modified === 0;
    if (now === undefined || sameVisit || unknown || file.role === "extra") return now === undefined;
    return now.size !== file.size || now.modified !== file.modified;
  });
}

/** Files that stand where none stood before, by name, size and time: someone may have put what was there elsewhere. */
function newcomers(before: readonly CardFileState[], survey: Survey): ReadonlySet<string> {
  const known = new Set(before.map((each) => each.path));
  const fresh = [...survey.files.values()].filter((each) => !known.has(each.path));
  return new Set(fresh.map(looks));
}

function looks({ path, size, modified }: CardFile): string {
  return `${baseName(path)} ${size} ${modified}`;
}

/** Whether the card still shows what was listed; an unlisted folder is none of it. */
export async function stillAsListed(ports: EnginePorts, card: PresentCard, survey: Survey): Promise<boolean> {
  const { found, unreadFolders } = await listAll(ports, card);
  if (found.length !== survey.files.size || unreadFolders.length !== survey.unreadFolders.length)
    return false;
  return found.every(({ path, size, modified }) => {
    const listed = survey.files.get(path);
    return listed?.size === size && listed.modified === modified;
  });
}

function rolesOf(
  found: readonly Found[],
  frames: readonly CardFrame[],
  extras: readonly RelativePath[],
): ReadonlyMap<RelativePath, CardFile> {
  const role = new Map<RelativePath, Pick<CardFile, "role" | "frame">>();
  for (const frame of frames)
    for (const file of frame.files) role.set(file.path, { role: file.role, frame: frame.key });
  for (const path of extras) role.set(path, { role: "extra", frame: "" });
  return new Map(
    found.map(({ path, size, modified, leaving }) => {
      const part = role.get(path) ?? { role: "leaving" as const, frame: "" };
      return [path, { path, size, modified, ...part, why: leaving ?? "" }];
    }),
  );
}

async function listAll(ports: EnginePorts, card: PresentCard) {
  const { files, limits } = ports;
  const found: Found[] = [];
  const unreadFolders: RelativePath[] = [];

  const enter = async (folder: RelativePath, depth: number, reason: string | undefined): Promise<void> => {
    if (card.gone.aborted) return;
    let entries: readonly Entry[];
    try {
      if (depth > limits.folderDepthMax) throw new FileFault("io", folder);
      entries = await files.list(under(card.volume.root, folder));
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
      unreadFolders.push(folder);
      return;
    }
    const inOrder = [...entries].sort((a, b) => (a.name < b.name ? -1 : 1));
    for (const entry of inOrder) {
      const path = (folder === "" ? entry.name : `${folder}/${entry.name}`) as RelativePath;
      if (entry.kind === "folder") {
        await enter(path, depth + 1, reason ?? leavingReason(path, "folder"));
        continue;
      }
      found.push(await lookAt(path, entry, reason));
    }
  };

  const lookAt = async (path: RelativePath, entry: Entry, reason: string | undefined): Promise<Found> => {
    try {
      const facts = await files.facts(under(card.volume.root, path));
      const leaving = reason ?? leavingReason(path, facts.kind, facts.size);
      return { path, size: facts.size, modified: facts.modified, leaving };
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
      // Its name is known though its facts are not: it counts, and copying it will say what is wrong.
      const leaving = reason ?? leavingReason(path, entry.kind);
      return { path, size: bytes(0), modified: instant(0), leaving };
    }
  };

  await enter("" as RelativePath, 0, undefined);
  return { found, unreadFolders };
}

/** A file that looks as it did when it was read whole is compared at both its ends; what differs is forgotten. */
async function recognise(
  ports: EnginePorts,
  card: PresentCard,
  files: ReadonlyMap<RelativePath, CardFile>,
  pool: BlockPool,
): Promise<void> {
  for (const sighting of ports.ledger.sightings(card.id)) {
    if (card.gone.aborted) return;
    const file = files.get(sighting.path);
    const { size, modified, ends } = sighting.fingerprint;
    if (file === undefined || file.size !== size || file.modified !== modified) continue;
    // What was damaged is read whole again: another reader may read it better.
    if (sighting.damage !== "") {
      ports.ledger.forgetSighting(card.id, file.path);
      continue;
    }
    try {
      if ((await endsOf(ports, card, file, pool)) !== ends) ports.ledger.forgetSighting(card.id, file.path);
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
      // Unreadable now: what was read before still holds, and so does its copy.
    }
  }
}

/**
 * Read past the cache where that can be: it shows what is on the card now, and a read through the cache would fetch a
 * multiple of what was asked for, ahead of it.
 */
async function endsOf(ports: EnginePorts, card: PresentCard, file: CardFile, pool: BlockPool) {
  const most = fingerprintEnds(file.size, ports.limits.fingerprintEndBytes);
  const { handle } = await ports.files.openToVerify(under(card.volume.root, file.path));
  const block = await pool.take();
  try {
    const ends = new FileEnds(most);
    ends.take(block.subarray(0, await handle.read(block.subarray(0, most), 0)));
    if (file.size > most) {
      // Only the last part counts from here on; what lies between is not needed.
      const tailAt = Math.max(most, file.size - most);
      const from = tailAt - (tailAt % alignment);
      const upTo = Math.ceil((file.size - from) / alignment) * alignment;
      ends.take(block.subarray(tailAt - from, await handle.read(block.subarray(0, upTo), from)));
    }
    return ends.digest(ports.hashing);
  } finally {
    pool.giveBack(block);
    await handle.close();
  }
}

/** bytes. Where reads past the cache begin and end. */
const alignment = 4096;

/** What people call a card: its number in the trip, else its label. */
export function cardName(number: number, label: string, id: CardId): string {
  if (number > 0) return `Card ${number}`;
  return label === "" ? `Card ${id.slice(0, 6)}` : `Card “${printable(label, 60)}”`;
}
