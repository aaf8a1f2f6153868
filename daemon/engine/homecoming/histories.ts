/** Earlier versions of work files, brought into an archive's own histories: verified like everything, not written down. */

import { type ContentHash, folderOf, type RelativePath, under } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import type { Bytes, Instant } from "../../../shared/units.ts";
import { suffixed } from "../../core/filing.ts";
import { readBack } from "../readBack.ts";
import { type Sink, stream } from "../transfer.ts";
import { beginCopy, type CarryContext, discard, type Source } from "./carry.ts";
import type { Target } from "./run.ts";

/** @returns whether it was brought; false where it stands there already, or can't be */
export async function bringBeside(
  context: CarryContext,
  source: Source,
  file: { readonly path: RelativePath; readonly size: Bytes; readonly modified: Instant },
  target: Target,
): Promise<boolean> {
  const { ports, streamPool, verifyPool } = context;
  const { archive } = target;
  const copy = await beginCopy(ports, target);
  if (copy === undefined || archive === undefined) return false;
  try {
    const { handle } = await ports.files.openToVerify(source.path);
    let hash: ContentHash | undefined;
    try {
      const sink: Sink = { handle: copy.handle, fault: undefined };
      const streamed = await stream(handle, [sink], {
        pool: streamPool,
        hashing: ports.hashing,
        readTries: ports.limits.readTries,
        fingerprintEndBytes: ports.limits.fingerprintEndBytes,
        onBytes: context.onBytes,
        stop: source.stop,
      });
      if (sink.fault !== undefined) throw sink.fault;
      hash = streamed?.hash;
    } finally {
      await handle.close().catch(() => undefined);
    }
    if (hash === undefined) throw new FileFault("changed", source.path);
    await copy.handle.finish(file.modified);
    await copy.handle.close();
    if ((await readBack(ports.files, copy.path, verifyPool, ports.hashing)).hash !== hash)
      throw new FileFault("differs", copy.path);
    for (let nth = 1; ; nth += 1) {
      const path = nth === 1 ? file.path : suffixed(file.path, nth);
      const to = under(archive.folder, path);
      await ports.files.makeFolder(archive.at, folderOf(path));
      if ((await ports.files.moveNoReplace(copy.path, to)) === "moved") {
        await ports.files.flushFolder(under(archive.folder, folderOf(path)));
        return true;
      }
      const there = await readBack(ports.files, to, verifyPool, ports.hashing);
      if (there.hash !== hash) continue;
      await discard(ports, copy);
      return false;
    }
  } catch (fault) {
    await discard(ports, copy);
    if (!(fault instanceof FileFault)) throw fault;
    return false;
  }
}
