/**
 * What an original that a program wrote into is called as a work file: `STEM-changed.EXT`, beside the untouched copy. On
 * the drive where it was changed it stands under the original's own name.
 */

import { extensionOf, type RelativePath } from "../../../shared/identity.ts";

export function changedName(path: RelativePath): RelativePath {
  const extension = extensionOf(path);
  return `${path.slice(0, path.length - extension.length)}-changed${extension}` as RelativePath;
}
