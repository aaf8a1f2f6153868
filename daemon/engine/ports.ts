/** The outside things that the engine works with, picked once by `daemon/main.ts`. */

import type { Limits } from "../../config/defaults.ts";
import type { Clock } from "../ports/clock.ts";
import type { Files } from "../ports/files.ts";
import type { FolderWatch } from "../ports/folderWatch.ts";
import type { Hashing } from "../ports/hashing.ts";
import type { Ledger } from "../ports/ledger.ts";
import type { MetadataReader } from "../ports/metadata.ts";
import type { Notices } from "../ports/notices.ts";
import type { PictureCache, PictureMaker } from "../ports/pictures.ts";
import type { Randomness } from "../ports/randomness.ts";
import type { SidecarTool } from "../ports/sidecars.ts";
import type { TripFiles } from "../ports/tripFiles.ts";
import type { Volumes } from "../ports/volumes.ts";

export interface EnginePorts {
  readonly files: Files;
  readonly folderWatch: FolderWatch;
  readonly volumes: Volumes;
  readonly ledger: Ledger;
  readonly metadata: MetadataReader;
  readonly notices: Notices;
  readonly pictures: PictureMaker;
  readonly pictureCache: PictureCache;
  readonly sidecars: SidecarTool;
  readonly tripFiles: TripFiles;
  readonly clock: Clock;
  readonly randomness: Randomness;
  readonly hashing: Hashing;
  readonly limits: Limits;
}
