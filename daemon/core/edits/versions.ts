/**
 * Versions of one work file: a small graph in which each names those it follows. Which is the newest, which is an
 * ancestor of which, and which a drive was last known to hold. Clocks decide nothing here.
 */

import type { ContentHash } from "../../../shared/identity.ts";
import type { Bytes, Instant } from "../../../shared/units.ts";

export interface Version {
  readonly id: string;
  /** "": it was deleted. */
  readonly hash: ContentHash | "";
  readonly size: Bytes;
  readonly modified: Instant;
  readonly after: readonly string[];
}

/** Those that no other one follows. */
export function headsOf<V extends Version>(versions: readonly V[]): readonly V[] {
  const followed = new Set(versions.flatMap(({ after }) => after));
  return versions.filter(({ id }) => !followed.has(id));
}

/**
 * Of those that no other one follows the one that holds. Content that was taken over on one side as it was, and that the
 * other side had replaced already, doesn't come back by its time.
 */
export function holding<V extends Version>(versions: readonly V[]): V | undefined {
  const heads = headsOf(versions);
  const isReplaced = (head: V): boolean =>
    sameBefore(head, versions).some((elder) =>
      heads.some((other) => other.hash !== head.hash && comesBefore(elder.id, other.id, versions)),
    );
  const [first, ...others] = heads;
  if (others.length === 0) return first;
  const live = heads.filter((head) => !isReplaced(head));
  return inOrder(live.length > 0 ? live : heads).at(-1);
}

/** A version, and those before it whose content it goes on with. */
function sameBefore<V extends Version>(version: V, versions: readonly V[]): readonly V[] {
  const same = new Set([version]);
  for (const each of same)
    for (const other of versions)
      if (other.hash === version.hash && each.after.includes(other.id)) same.add(other);
  return [...same];
}

/** Whether `elder` comes before `younger`. A version isn't its own ancestor. */
export function comesBefore(elder: string, younger: string, versions: readonly Version[]): boolean {
  const byId = new Map(versions.map((version) => [version.id, version]));
  const seen = new Set<string>();
  const open = [...(byId.get(younger)?.after ?? [])];
  for (let id = open.pop(); id !== undefined; id = open.pop()) {
    if (id === elder) return true;
    if (seen.has(id)) continue;
    seen.add(id);
    open.push(...(byId.get(id)?.after ?? []));
  }
  return false;
}

/** Of the versions that a drive held in its place at some time the one that stands there, by what is written down. */
export function standingOf<V extends Version>(
  versions: readonly V[],
  held: ReadonlySet<string> | undefined,
): V | undefined {
  if (held === undefined) return undefined;
  const candidates = versions.filter(({ id }) => held.has(id));
  const latest = candidates.filter(
    ({ id }) => !candidates.some((other) => other.id !== id && comesBefore(id, other.id, versions)),
  );
  return inOrder(latest).at(-1);
}

/** The same order whoever asks: by time of the file, then by content and name. The last one wins. */
export function inOrder<V extends Version>(versions: readonly V[]): readonly V[] {
  const key = ({ hash, id }: V) => `${hash} ${id}`;
  return [...versions].sort((a, b) => {
    // Of a deletion and a change made apart the change holds.
    if ((a.hash === "") !== (b.hash === "")) return a.hash === "" ? -1 : 1;
    return a.modified - b.modified || (key(a) < key(b) ? -1 : 1);
  });
}
