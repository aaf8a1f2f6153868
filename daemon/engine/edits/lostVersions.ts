/**
 * Newest versions that stood on a lost drive alone: nobody can bring them any more. The newest one that a drive still
 * holds takes over, and it is written down that a later one is lost. Where no drive holds any, it stays missing.
 */

import { nameKey } from "../../../shared/identity.ts";
import { printable } from "../../../shared/text.ts";
import { inOrder, standingOf } from "../../core/edits/versions.ts";
import type { EncodedFact } from "../../ports/ledger.ts";
import { encodeFact } from "../../record/journal.ts";
import type { KnownTrip } from "../dating.ts";
import type { EnginePorts } from "../ports.ts";

export function takeOverFromLost(
  { ledger, clock, hashing }: EnginePorts,
  trip: KnownTrip,
  learn: (facts: readonly EncodedFact[]) => void,
): void {
  const lost = new Map(ledger.lostDrives().map(({ id, name }) => [id, name]));
  if (lost.size === 0) return;
  for (const head of ledger.edits.heads(trip.id)) {
    const on = lost.get(head.drive);
    if (on === undefined || head.hash === "" || head.drives.length > 0) continue;
    const { versions, copies } = ledger.edits.ofPath(trip.id, nameKey(head.path));
    const standing = [...copies.values()].flatMap((held) => standingOf(versions, held) ?? []);
    const last = inOrder(standing).at(-1);
    if (last === undefined || last.hash === "") continue;
    const { path, hash, size, modified, drive } = last;
    const at = clock.now();
    const fact = {
      kind: "edit",
      trip: trip.id,
      at,
      path,
      hash,
      size,
      modified,
      drive,
      after: [head.id],
    } as const;
    learn([encodeFact(fact, hashing)]);
    ledger.note(
      "edits",
      head.drive,
      `the newest version of ${printable(path, 200)} was on ${printable(on)} alone, which is lost; the one before it holds`,
      at,
    );
  }
}
