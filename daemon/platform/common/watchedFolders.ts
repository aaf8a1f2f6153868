/**
 * Folders watched by chokidar. Only folders are: each tells of the files in it, and a trip has a hundred thousand of
 * those.
 */

import { watch } from "chokidar";
import { type AbsolutePath, type RelativePath, relativePath } from "../../../shared/identity.ts";
import type { FolderWatch } from "../../ports/folderWatch.ts";

export class WatchedFolders implements FolderWatch {
  async watch(
    folder: AbsolutePath,
    hint: (path: RelativePath | undefined) => void,
    stop: AbortSignal,
  ): Promise<void> {
    if (stop.aborted) return;
    const watcher = watch(folder, {
      ignoreInitial: true,
      followSymlinks: false,
      ignored: (_path, stats) => stats?.isFile() === true,
    });
    watcher.on("raw", (_event, path, details) => hint(below(folder, path, details)));
    watcher.on("all", () => hint(undefined));
    // One that fails (too many watches, a drive that went) costs hints only.
    watcher.on("error", () => hint(undefined));
    await new Promise<void>((resolve) => {
      if (stop.aborted) resolve();
      stop.addEventListener("abort", () => resolve(), { once: true });
    });
    await watcher.close();
  }
}

/** Node tells a name within the folder that is watched, or none. */
function below(folder: AbsolutePath, name: unknown, details: unknown): RelativePath | undefined {
  const watched =
    typeof details === "object" && details !== null && "watchedPath" in details
      ? details.watchedPath
      : undefined;
  if (typeof name !== "string" || typeof watched !== "string" || !watched.startsWith(folder))
    return undefined;
  const inside = watched.slice(folder.length).replace(/^\//, "");
  return relativePath(inside === "" ? name : `${inside}/${name}`);
}
