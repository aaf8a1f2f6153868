/**
 * Real file systems for tests: an image file on a loop device, mounted. Only as root and where the tools are; ask
 * `canUseLoopVolumes` first and skip by name otherwise. Whatever a test leaves behind is unmounted and detached when
 * its process ends.
 */

import { spawnSync } from "node:child_process";
import {
  closeSync,
  existsSync,
  ftruncateSync,
  mkdirSync,
  mkdtempSync,
  openSync,
  readFileSync,
  rmSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

export interface VolumeWish {
  readonly fs: "ext4" | "exfat";
  readonly sizeBytes: number;
  readonly label: string;
  /** The folder to mount at; made if missing. */
  readonly at: string;
  /** For `mount -o`, such as `noatime`: exfat-fuse otherwise writes the time of each reading to the medium. */
  readonly options?: string;
  /** For `mkfs.ext4` in place of what small images want. */
  readonly mkfs?: readonly string[];
}

export interface LoopVolume {
  readonly at: string;
  /** The image's file: what the medium holds. */
  readonly image: string;
  /** The loop device, `/dev/loopN`. */
  readonly device: string;
  /** Takes it out: unmounts and detaches, as unplugging after an eject. */
  unmount(): void;
  /** Puts it in again, at the same folder or another. */
  mount(at?: string): void;
  /** Unmounts if need be and removes the image. */
  remove(): void;
}

/** Whether they can be made here: tried once, since a container may have all the tools and still refuse the mount. */
export function canUseLoopVolumes(): boolean {
  if (process.getuid?.() !== 0 || !existsSync("/dev/loop-control")) return false;
  const tools = ["mkfs.ext4", "mkfs.exfat", "mount.exfat-fuse", "losetup", "mount", "umount"];
  if (!tools.every((tool) => spawnSync("sh", ["-c", `command -v ${tool}`]).status === 0)) return false;
  if (!existsSync("/dev/fuse") || spawnSync("losetup", ["--find"]).status !== 0) return false;
  const at = mkdtempSync(join(tmpdir(), "scrubjay-trial-"));
  try {
    makeVolume({ fs: "ext4", sizeBytes: 4_000_000, label: "TRIAL", at }).remove();
    return true;
  } catch {
    return false;
  } finally {
    rmSync(at, { recursive: true, force: true });
  }
}

/** Why a test that needs loop volumes doesn't run: for its skip's name. */
export const whyNoLoopVolumes = "needs root, loop devices, e2fsprogs, exfatprogs and exfat-fuse";

/** Makes the image and its file system, and mounts it. */
export function makeVolume(wish: VolumeWish): LoopVolume {
  const folder = mkdtempSync(join(tmpdir(), "scrubjay-volume-"));
  const image = join(folder, "image");
  const descriptor = openSync(image, "wx");
  ftruncateSync(descriptor, wish.sizeBytes);
  closeSync(descriptor);
  if (wish.fs === "ext4") {
    // -m 0: no reserve for root, so that full means full; a small journal leaves room on small images.
    const shape = wish.mkfs ?? ["-m", "0", "-J", "size=1", "-b", "1024"];
    run("mkfs.ext4", "-q", ...shape, "-L", wish.label, image);
  } else {
    run("mkfs.exfat", "-L", wish.label, image);
  }
  const volume = new MountedImage(wish, folder, image);
  volume.mount();
  return volume;
}

class MountedImage implements LoopVolume {
  at: string;
  readonly image: string;
  device = "";
  readonly #fs: "ext4" | "exfat";
  readonly #options: readonly string[];
  readonly #folder: string;

  constructor(wish: VolumeWish, folder: string, image: string) {
    this.at = wish.at;
    this.image = image;
    this.#fs = wish.fs;
    this.#options = wish.options === undefined ? [] : ["-o", wish.options];
    this.#folder = folder;
    left.add(this);
  }

  mount(at = this.at): void {
    this.at = at;
    mkdirSync(at, { recursive: true });
    this.device = attach(this.image);
    try {
      // exfat-fuse goes into the background by itself, but keeps the streams it was given: it gets none.
      if (this.#fs === "exfat") run("mount.exfat-fuse", ...this.#options, this.device, at);
      else run("mount", ...this.#options, this.device, at);
    } catch (error) {
      spawnSync("losetup", ["--detach", this.device]);
      this.device = "";
      throw error;
    }
  }

  unmount(): void {
    if (this.device === "") return;
    // A file that is being closed right now makes it busy for a moment.
    if (
      !patiently(() => spawnSync("umount", [this.at], { stdio: "ignore" }).status === 0 || !mounted(this.at))
    ) {
      spawnSync("umount", ["--lazy", this.at], { stdio: "ignore" });
    }
    // Detached once only: the number is given to another program as soon as it is free. The FUSE helper, and whoever
    // has a file open on it, lets go of the device a little after umount has returned.
    const { device } = this;
    patiently(() => spawnSync("losetup", ["--detach", device], { stdio: "ignore" }).status === 0);
    patiently(() => !holds(device, this.image));
    this.device = "";
  }

  remove(): void {
    this.unmount();
    rmSync(this.#folder, { recursive: true, force: true });
    left.delete(this);
  }
}

const left = new Set<MountedImage>();
process.on("exit", () => {
  for (const volume of left) volume.remove();
});

/** Two programs may ask for the same free device at once; the loser tries again. */
function attach(image: string): string {
  let last = "";
  for (let attempt = 0; attempt < 5; attempt += 1) {
    const { status, stdout, stderr } = spawnSync("losetup", ["--find", "--show", image], {
      encoding: "utf8",
    });
    if (status === 0) return stdout.trim();
    last = stderr;
  }
  throw new Error(`losetup: ${last}`);
}

function mounted(at: string): boolean {
  return readFileSync("/proc/self/mountinfo", "utf8").includes(` ${at.replaceAll(" ", "\\040")} `);
}

/** Whether this loop device still shows this image. */
function holds(device: string, image: string): boolean {
  try {
    const shown = `/sys/block/${device.slice("/dev/".length)}/loop/backing_file`;
    return readFileSync(shown, "utf8").trim() === image;
  } catch {
    return false; // Nothing is attached.
  }
}

function patiently(done: () => boolean): boolean {
  for (let attempt = 0; attempt < 40; attempt += 1) {
    if (done()) return true;
    spawnSync("sleep", ["0.05"]);
  }
  return false;
}

function run(command: string, ...args: string[]): void {
  const { status, error } = spawnSync(command, args, { stdio: "ignore" });
  if (status !== 0) throw new Error(`${command} ${args.join(" ")}: ${error?.message ?? `status ${status}`}`);
}
