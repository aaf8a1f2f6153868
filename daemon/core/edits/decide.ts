/**
 * What follows from a work file as it is found on a drive: nothing, an update of that drive, a new version, a deletion,
 * or a change that was made apart from another. Values in, values out; nothing is ever dropped by a decision.
 */

import type { ContentHash } from "../../../shared/identity.ts";
import type { Bytes, Instant } from "../../../shared/units.ts";
import { headsOf, holding, standingOf, type Version } from "./versions.ts";

/** What stands under a path on a drive; undefined: nothing does. */
export interface Found {
  readonly hash: ContentHash;
  readonly size: Bytes;
  readonly modified: Instant;
}

export interface OnDrive {
  readonly versions: readonly Version[];
  /** Versions that this drive held at some time. */
  readonly held: ReadonlySet<string> | undefined;
  readonly found: Found | undefined;
  /** A deletion counts on the primary alone: elsewhere the file is brought up again. */
  readonly primary: boolean;
  /** Whether another drive is known to hold the newest version; where none is, nobody could bring it up again. */
  readonly elsewhere?: boolean;
}

export type Decision =
  /** It is as it should be. `record`: the version that the drive isn't yet known to hold. */
  | { readonly what: "same"; readonly record: string | undefined }
  /** The drive lacks the newest version. */
  | { readonly what: "behind" }
  /** A new version, which follows the newest. */
  | { readonly what: "new"; readonly after: readonly string[] }
  | { readonly what: "deleted"; readonly after: readonly string[] }
  /** It was changed here and elsewhere apart. `base`: what the drive's own version follows. */
  | {
      readonly what: "apart";
      readonly base: readonly string[];
      readonly heads: readonly string[];
      /** Whether what is found is the newer one and is to stand. */
      readonly foundWins: boolean;
    };

export function decide({ versions, held, found, primary, elsewhere = true }: OnDrive): Decision {
  const heads = headsOf(versions);
  const head = holding(versions);
  const base = standingOf(versions, held);
  if (found === undefined) return decideAbsent(head, base, primary || !elsewhere);
  if (head === undefined) return { what: "new", after: [] };
  if (found.hash === head.hash)
    return { what: "same", record: held?.has(head.id) === true ? undefined : head.id };
  if (base !== undefined && found.hash === base.hash) return { what: "behind" };
  // An earlier version on a drive of which nothing is written down: it was away while others went on.
  if (base === undefined && versions.some(({ hash }) => hash === found.hash)) return { what: "behind" };
  // A change of what holds, be it that the same content came to hold once more since.
  if (base !== undefined && (base.id === head.id || (base.hash === head.hash && base.hash !== "")))
    return { what: "new", after: heads.map(({ id }) => id) };
  const foundWins = head.hash === "" || found.modified > head.modified;
  return {
    what: "apart",
    base: base === undefined ? [] : [base.id],
    heads: heads.map(({ id }) => id),
    foundWins,
  };
}

function decideAbsent(head: Version | undefined, base: Version | undefined, counts: boolean): Decision {
  if (head === undefined) return { what: "same", record: undefined };
  if (head.hash === "") return { what: "same", record: base?.id === head.id ? undefined : head.id };
  // Deleted here while it was changed elsewhere: the change holds, and comes back.
  if (counts && base?.id === head.id) return { what: "deleted", after: [head.id] };
  return { what: "behind" };
}
