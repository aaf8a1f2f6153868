/** Every file below a folder, with what tells whether it was written to since. Links aren't followed. */

import { type AbsolutePath, type RelativePath, under } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import type { Bytes, Instant } from "../../../shared/units.ts";
import type { EnginePorts } from "../ports.ts";

export interface ListedFile {
  /** Below the folder. */
  readonly path: RelativePath;
  readonly size: Bytes;
  readonly modified: Instant;
}

/**
 * None where the folder isn't there.
 * @param pass whether a path, a file's or a folder's, is left out
 * @throws FileFault where a folder can't be listed
 */
export async function listBelow(
  { files, limits }: Pick<EnginePorts, "files" | "limits">,
  folder: AbsolutePath,
  pass: (path: RelativePath) => boolean = () => false,
): Promise<readonly ListedFile[]> {
  const found: ListedFile[] = [];
  const enter = async (inside: RelativePath, depth: number): Promise<void> => {
    if (depth > limits.folderDepthMax) return;
    for (const { name, kind } of await files.list(under(folder, inside))) {
      const path = (inside === "" ? name : `${inside}/${name}`) as RelativePath;
      if (pass(path)) continue;
      if (kind === "folder") await enter(path, depth + 1);
      if (kind !== "file") continue;
      const facts = await files.facts(under(folder, path)).catch((fault: unknown) => {
        // It was taken away between the two looks.
        if (fault instanceof FileFault && fault.code === "missing") return undefined;
        throw fault;
      });
      if (facts?.kind === "file") found.push({ path, size: facts.size, modified: facts.modified });
    }
  };
  try {
    await enter("" as RelativePath, 0);
  } catch (fault) {
    if (!(fault instanceof FileFault) || fault.code !== "missing" || fault.path !== folder) throw fault;
  }
  return found.sort((a, b) => (a.path < b.path ? -1 : 1));
}
