/**
 * Originals that a program moved, renamed or wrote into on a drive that stays in: noticed by what a listing lacks and by
 * what hints name, and looked into as anything that isn't as it was verified. What they became is concluded elsewhere
 * (`losses.ts`): moved ones are followed, changed ones are work files from then on.
 */

import { nameKey } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import type { CopyRow } from "../../ports/ledger.ts";
import type { DriveBay } from "../driveBay.ts";
import type { EnginePorts } from "../ports.ts";
import { missingKey, type Watched } from "./watching.ts";

/** ms. FAT keeps times in steps of two seconds. */
const timeStep = 2_000;

/** @returns whether any was: then what was listed is no longer what counts */
export async function movedOriginals(
  { ports, bay }: { readonly ports: EnginePorts; readonly bay: DriveBay },
  listed: readonly Watched[],
): Promise<boolean> {
  let looked = false;
  for (const watched of listed) {
    const suspects = await suspectsOn(ports, watched);
    if (suspects.length === 0) continue;
    const { ledger } = ports;
    const written = suspects.flatMap((copy) => {
      const original = ledger.original(copy.original);
      return original === undefined ? [] : [{ copy, original }];
    });
    await bay.guarded(watched.publisher, async () => {
      await bay.lookInto(watched.publisher, written);
    });
    watched.stale = true;
    looked = true;
  }
  return looked;
}

async function suspectsOn(ports: EnginePorts, watched: Watched): Promise<readonly CopyRow[]> {
  const { ledger, clock, limits } = ports;
  const now = clock.steady();
  const { drive, trip, publisher } = watched;
  // One that was followed since it was listed isn't missing.
  const missing = (watched.listing?.missing ?? []).filter(
    ({ original, path }) => ledger.copyOf(original, drive.id)?.path === path,
  );
  const quiet = missing.filter(({ path }) => watched.quietFor(missingKey(path), now) >= limits.editsQuiet);
  watched.originalsWait = quiet.length < missing.length;
  const suspects = new Map(quiet.map((copy) => [copy.path, copy]));
  for (const { path } of watched.listing?.resized ?? []) watched.hinted.add(path);
  const byKey = new Map(
    watched.hinted.size === 0
      ? []
      : ledger.copiesOn(drive.id, trip).map((copy) => [nameKey(copy.path), copy]),
  );
  for (const hint of [...watched.hinted]) {
    watched.hinted.delete(hint);
    const copy = byKey.get(nameKey(hint));
    if (copy === undefined || suspects.has(copy.path)) continue;
    try {
      const facts = await ports.files.facts(publisher.pathOf(trip, copy.path));
      const size = ledger.original(copy.original)?.size;
      const times = ledger.timesOf(copy.original);
      const asGiven = times.length === 0 || times.some((time) => Math.abs(time - facts.modified) <= timeStep);
      if (facts.size === size && asGiven) continue;
      // One that is being written is looked at when it is done.
      if (clock.now() - facts.modified < limits.editsQuiet && facts.modified <= clock.now()) {
        watched.hinted.add(hint);
        watched.originalsWait = true;
      } else suspects.set(copy.path, copy);
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
    }
  }
  return [...suspects.values()];
}
