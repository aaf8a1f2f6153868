/**
 * Writing down what stands in an archive, a number of files at a time: folders flushed, checksum list, record, ledger. An
 * archive that fails drops out, and the others go on.
 */

import type { Fact, ReadBack } from "../../../shared/facts.ts";
import { folderOf, type RelativePath, relativePath, under } from "../../../shared/identity.ts";
import { bytes, type Instant } from "../../../shared/units.ts";
import type { SeenFile } from "../../ports/archiveLedger.ts";
import type { EncodedFact } from "../../ports/ledger.ts";
import type { ChecksumEntry } from "../../record/checksums.ts";
import { encodeFact } from "../../record/journal.ts";
import type { CarryContext } from "./carry.ts";
import { dropTarget } from "./failing.ts";
import { contentOf, type Item, type Target } from "./run.ts";

export interface Placed {
  readonly item: Item;
  readonly path: RelativePath;
  readonly modified: Instant;
  readonly readBack: ReadBack;
}

/** What stands in one archive under its name and isn't written down yet. */
export class Batch {
  readonly target: Target;
  readonly placed: Placed[] = [];
  /** Something gave way: the list has lines that don't hold any more. */
  replaced = false;

  constructor(target: Target) {
    this.target = target;
  }
}

/** Writes down what stands. A failure concerns this archive alone. */
export async function writeBatch(context: CarryContext, batch: Batch): Promise<void> {
  const { target } = batch;
  const placed = batch.placed.splice(0);
  const { archive } = target;
  if (placed.length === 0 || archive?.record === undefined || archive.id === "") return;
  const { files, ledger, clock, hashing } = context.ports;
  const { trip } = context.run;
  try {
    const folders = new Set(placed.map(({ path }) => folderOf(relativePath(`${archive.tree}/${path}`))));
    for (const folder of folders) await files.flushFolder(under(archive.folder, folder));
    await archive.record.addChecksums(placed.map(({ item, path }) => ({ hash: item.hash, path })));
    const at = clock.now();
    const ways = [...new Set(placed.map((each) => each.readBack))];
    const facts = ways.map((how): EncodedFact => {
      const those = placed.filter((each) => each.readBack === how);
      const fact: Fact = {
        kind: "archived",
        trip: trip.id,
        at,
        archive: archive.id,
        readBack: how,
        files: those.map(({ item, path }) => ({ path, hash: item.hash, size: item.size })),
      };
      return encodeFact(fact, hashing);
    });
    await archive.record.add(facts);
    ledger.apply(facts);
    context.tell(facts);
    const seen: SeenFile[] = [];
    for (const { item, path } of placed) {
      // As this file system keeps the time, which may be in steps.
      const { modified } = await files.facts(under(archive.folder, `${archive.tree}/${path}`));
      seen.push({ path, hash: item.hash, size: item.size, modified, at });
    }
    ledger.archives.see(archive.id, trip.id, seen);
    for (const { item, path, readBack: how } of placed) {
      target.stands.set(item, path);
      if (how === "cache") target.readBack = "cache";
    }
  } catch (fault) {
    await dropTarget(context.ports.files, target, fault);
  }
}

/**
 * The list holds what stands there now and nothing that gave way. A work file that was edited at home is listed as it is
 * now; an original that isn't what it was is not: whether a program or the disk changed it, nobody verified it.
 */
export async function mendList({ ports, run }: CarryContext, target: Target): Promise<void> {
  const { archive } = target;
  if (archive?.record === undefined) return;
  const stands = new Map([...target.stands].map(([{ hash }, path]) => [path, hash] as const));
  const ours = new Map(ports.ledger.archives.seen(archive.id, run.trip.id).map((file) => [file.path, file]));
  const originals = new Set(run.originals.map(contentOf));
  for (const { path, hash, modified } of target.standing) {
    const before = ours.get(path);
    const edited = before !== undefined && before.modified !== modified && !originals.has(contentOf(before));
    if (edited && hash !== undefined && !stands.has(path)) stands.set(path, hash);
  }
  const entries = [...stands].map(([path, hash]): ChecksumEntry => ({ hash, path }));
  try {
    await archive.record.mendChecksums(entries, bytes(ports.limits.journalBytesMax));
  } catch (fault) {
    await dropTarget(ports.files, target, fault);
  }
}
