/** Hints that something below a folder changed. Hints may be lost, doubled or late: whoever gets one looks by itself. */

import type { AbsolutePath, RelativePath } from "../../shared/identity.ts";

export interface FolderWatch {
  /**
   * Watches until `stop` aborts; resolves when the folder is let go of. A folder that can't be watched gives no hints.
   * @param hint what changed, below the folder, where that is known
   */
  watch(
    folder: AbsolutePath,
    hint: (path: RelativePath | undefined) => void,
    stop: AbortSignal,
  ): Promise<void>;
}
