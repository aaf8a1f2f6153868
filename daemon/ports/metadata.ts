/** What cameras wrote into their files. Reads headers only; a file it can't read is an answer, not a failure. */

import type { CameraFacts } from "../../shared/camera.ts";
import type { AbsolutePath } from "../../shared/identity.ts";

export interface MetadataReader {
  /**
   * Facts of each file, in the order given; undefined where nothing could be read (not a picture, damaged, gone, or
   * it took too long). Never rejects for a file's sake.
   */
  read(paths: readonly AbsolutePath[]): Promise<readonly (CameraFacts | undefined)[]>;
  close(): Promise<void>;
}
