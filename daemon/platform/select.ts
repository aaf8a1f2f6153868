/**
 * The one place that asks which operating system this is, and picks the adapters for it. So far Linux; with practice
 * folders any system that Node runs on.
 */

import { realpath } from "node:fs/promises";
import { homedir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { limits } from "../../config/defaults.ts";
import { type AbsolutePath, absolutePath } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { bytes, count, millis } from "../../shared/units.ts";
import type { Clock } from "../ports/clock.ts";
import type { Files } from "../ports/files.ts";
import type { FolderWatch } from "../ports/folderWatch.ts";
import type { Hashing } from "../ports/hashing.ts";
import type { MetadataReader } from "../ports/metadata.ts";
import type { Notices } from "../ports/notices.ts";
import type { PictureMaker } from "../ports/pictures.ts";
import type { Randomness } from "../ports/randomness.ts";
import type { SidecarTool } from "../ports/sidecars.ts";
import type { Volumes } from "../ports/volumes.ts";
import { ExiftoolMetadata } from "./common/exiftoolMetadata.ts";
import { FramePictures } from "./common/framePictures.ts";
import { NodeFiles } from "./common/nodeFiles.ts";
import { NodeNotices } from "./common/nodeNotices.ts";
import { pathFromBytes } from "./common/pathBytes.ts";
import { runTool } from "./common/runTool.ts";
import { SystemClock } from "./common/systemClock.ts";
import { SystemRandomness } from "./common/systemRandomness.ts";
import { WatchedFolders } from "./common/watchedFolders.ts";
import { XmpSidecars } from "./common/xmpSidecars.ts";
import { createHashing } from "./common/xxHash.ts";
import { type ComputerCheck, checkLinux } from "./linux/computerChecks.ts";
import { DesktopNotices } from "./linux/desktopNotices.ts";
import { endingWithParent } from "./linux/endingWithParent.ts";
import { LinuxVolumes } from "./linux/linuxVolumes.ts";
import { PracticeVolumes } from "./practice/practiceVolumes.ts";

export interface Platform {
  readonly files: Files;
  readonly folderWatch: FolderWatch;
  readonly volumes: Volumes;
  readonly notices: Notices;
  readonly clock: Clock;
  readonly randomness: Randomness;
  readonly hashing: Hashing;
  /** To be closed by the caller. */
  readonly metadata: MetadataReader;
  /** To be closed by the caller. */
  readonly pictures: PictureMaker;
  /** To be closed by the caller. */
  readonly sidecars: SidecarTool;
}

/**
 * The adapters for this computer. `practice`: the folder whose folders are the volumes; undefined for real media.
 * `cache`: a folder of this user's for what is there for a moment.
 * @throws UserMistake where the system isn't served yet, or the practice folder isn't there.
 */
export async function selectPlatform(options: {
  readonly practice: string | undefined;
  readonly cache: AbsolutePath;
  /** Hears which matter's notice was clicked, where the system tells. */
  readonly onChosen: (matter: string) => void;
}): Promise<Platform> {
  const files = new NodeFiles();
  const clock = new SystemClock();
  const launcher = process.platform === "linux" ? await endingWithParent() : [];
  const oneExiftool = { processes: count(1), timeout: millis(limits.pictureTimeout), launcher };
  return {
    files,
    folderWatch: new WatchedFolders(),
    volumes:
      options.practice === undefined
        ? realVolumes(clock)
        : new PracticeVolumes(await practiceFolder(options.practice), files),
    notices:
      process.platform === "linux"
        ? new DesktopNotices(new NodeNotices(), options.onChosen)
        : new NodeNotices(),
    clock,
    randomness: new SystemRandomness(),
    hashing: await createHashing(),
    metadata: new ExiftoolMetadata({
      processes: count(limits.metadataProcesses),
      timeout: millis(limits.metadataTimeout),
      launcher,
    }),
    pictures: new FramePictures({
      ...oneExiftool,
      worker: fileURLToPath(new URL("./common/pictureWorker.js", import.meta.url)),
      folder: join(options.cache, "embedded"),
      sides: { sheet: limits.sheetPixels, large: limits.largePixels },
      bytesMax: bytes(limits.pictureSourceBytesMax),
      pixelsMax: limits.picturePixelsMax,
    }),
    sidecars: new XmpSidecars({ ...oneExiftool, folder: join(options.cache, "sidecars") }),
  };
}

/** Reading files of this computer and their digests, for a command that works without the daemon. */
export async function selectFiles(): Promise<Pick<Platform, "files" | "hashing" | "clock">> {
  return { files: new NodeFiles(), hashing: await createHashing(), clock: new SystemClock() };
}

/** What works on this computer and what is missing. @throws UserMistake where the system isn't served yet. */
export async function checkComputer(places = ownPlaces()): Promise<readonly ComputerCheck[]> {
  mustBeLinux();
  return checkLinux(places);
}

/** @returns whether a browser was asked to show it. Never rejects. */
export async function openInBrowser(url: string): Promise<boolean> {
  const [command, ...args] = browserOpeners[process.platform] ?? ["xdg-open"];
  if (command === undefined) return false;
  return (await runTool(command, [...args, url], millis(10_000))) !== undefined;
}

/** `start` is a word of the command interpreter, whose first quoted argument is a window's title. */
const browserOpeners: { readonly [system: string]: readonly string[] } = {
  darwin: ["open"],
  win32: ["cmd", "/c", "start", ""],
};

function realVolumes(clock: Clock): Volumes {
  mustBeLinux();
  return new LinuxVolumes(clock);
}

function mustBeLinux(): void {
  if (process.platform === "linux") return;
  throw new UserMistake(
    "Cards and drives are watched for on Linux only so far.",
    "Run it on Linux, or with `--practice FOLDER` on any system.",
  );
}

/** Absolute and without links, as the mount table names folders. */
async function practiceFolder(folder: string): Promise<AbsolutePath> {
  try {
    return absolutePath(pathFromBytes(await realpath(folder, "buffer")));
  } catch (error) {
    const why = error instanceof Error && "code" in error ? String(error.code) : "unknown";
    throw new UserMistake(
      `The practice folder '${printable(folder)}' can't be used (${why}).`,
      "Make it first, then start the daemon again.",
    );
  }
}

/** Where configuration, data and state of this user are (XDG Base Directory Specification 0.8), or SCRUBJAY_HOME. */
function ownPlaces(): readonly string[] {
  const own = process.env["SCRUBJAY_HOME"];
  if (own !== undefined && own !== "") return [own];
  const place = (variable: string, otherwise: string): string =>
    join(process.env[variable] || join(homedir(), otherwise), "scrubjay");
  return [
    place("XDG_CONFIG_HOME", ".config"),
    place("XDG_DATA_HOME", ".local/share"),
    place("XDG_STATE_HOME", ".local/state"),
  ];
}
