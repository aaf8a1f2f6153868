/**
 * Drives and cards on Linux: what the kernel has mounted, joined with what is known of the devices. A card or drive
 * that nobody mounts is mounted through UDisks2, once each time it is put in: whoever unmounts it wants it unmounted.
 * The computer's own disks never appear here and are never mounted.
 */

import { readFile } from "node:fs/promises";
import { list as listDrives } from "drivelist";
import { absolutePath, baseName, type VolumeId } from "../../../shared/identity.ts";
import { millis } from "../../../shared/units.ts";
import type { Clock } from "../../ports/clock.ts";
import type { Ejection, Volume, Volumes } from "../../ports/volumes.ts";
import { probeFileSystem } from "../common/blkid.ts";
import { type Mount, readMountTable } from "../common/mountTable.ts";
import { unmount } from "../common/unmount.ts";
import { type BlockDevice, readBlockDevices } from "./blockDevices.ts";
import { watchFileSystems, watchMountRoots, watchUsb } from "./hints.ts";
import { type DiskFacts, type Portable, portableAmong } from "./portable.ts";
import { mountThroughUdisks, unmountThroughUdisks } from "./udisks.ts";

/** ms. Mounting a large exFAT drive that wasn't ejected takes some seconds. */
const mountLimit = millis(20_000);
/** ms. A mount that failed (no rights, damaged) is tried again after this, not at every look. */
const mountRetryAfter = 60_000;

/** What is remembered of a file system on a device while it is plugged in. */
interface Handled {
  /** It was mounted once: never mounted by us again. */
  mounted: boolean;
  /** On the steady clock; undefined: not tried yet. */
  triedAt: number | undefined;
}

export class LinuxVolumes implements Volumes {
  readonly #clock: Clock;
  #handled = new Map<string, Handled>();
  #seen = new Map<string, Volume>();
  #appearances = 0;
  #lastLook: Promise<unknown> = Promise.resolve();

  constructor(clock: Clock) {
    this.#clock = clock;
  }

  /** One look at a time: a mount in progress isn't begun twice. */
  look(): Promise<readonly Volume[]> {
    const next = this.#lastLook.then(() => this.#look());
    this.#lastLook = next.catch(() => undefined);
    return next;
  }

  /** Through UDisks2, which lets its user; else by umount, which lets root and whoever the mount belongs to. */
  async eject(id: VolumeId): Promise<Ejection> {
    const volume = [...this.#seen.values()].find((each) => each.id === id);
    if (volume === undefined) return { ejected: true };
    const mount = (await readMountTable()).findLast((each) => each.at === volume.root);
    if (mount === undefined) return { ejected: true };
    const answer = await unmountThroughUdisks(mount.source, mountLimit);
    return answer.ejected ? answer : unmount(volume.root);
  }

  /** Resolves once watching has begun, and watches until `stop` aborts. */
  async watch(hint: () => void, stop: AbortSignal): Promise<void> {
    if (stop.aborted) return;
    watchMountRoots(hint, stop);
    watchFileSystems(hint, stop);
    await watchUsb(hint, stop);
  }

  async #look(): Promise<readonly Volume[]> {
    let portable = await lookOnce();
    if (await this.#mountWhatNobodyDid(portable)) portable = await lookOnce();
    const seen = new Map<string, Volume>();
    for (const { mount, device } of portable.mounted) {
      const key = `${mount.id} ${mount.at} ${await attachKey(device)}`;
      seen.set(key, this.#seen.get(key) ?? (await this.#appeared(mount, device)));
    }
    this.#seen = seen;
    return [...seen.values()];
  }

  async #appeared(mount: Mount, device: BlockDevice): Promise<Volume> {
    this.#appearances += 1;
    // Without udev lsblk knows neither; the device itself does.
    const { uuid, label } = device.uuid === "" ? await probeFileSystem(device.path) : device;
    return {
      id: `${baseName(device.path)}-${this.#appearances}` as VolumeId,
      root: absolutePath(mount.at),
      label,
      fsId: uuid,
      totalBytes: device.sizeBytes,
    };
  }

  /** True if something was mounted just now. Forgets what is no longer plugged in. */
  async #mountWhatNobodyDid(portable: Portable): Promise<boolean> {
    const handled = new Map<string, Handled>();
    for (const { device } of portable.mounted) {
      handled.set(await attachKey(device), { mounted: true, triedAt: undefined });
    }
    let some = false;
    for (const device of portable.unmounted) {
      const key = await attachKey(device);
      const before = this.#handled.get(key) ?? { mounted: false, triedAt: undefined };
      handled.set(key, before);
      const now = this.#clock.steady();
      if (before.mounted || (before.triedAt !== undefined && now - before.triedAt < mountRetryAfter))
        continue;
      before.triedAt = now;
      const answer = await mountThroughUdisks(device.path, mountLimit);
      before.mounted = answer.mounted;
      some ||= answer.mounted;
    }
    this.#handled = handled;
    return some;
  }
}

async function lookOnce(): Promise<Portable> {
  const [devices, mounts, disks] = await Promise.all([readBlockDevices(), readMountTable(), readDisks()]);
  return portableAmong(devices, mounts, disks);
}

async function readDisks(): Promise<readonly DiskFacts[]> {
  try {
    return await listDrives();
  } catch {
    return []; // Without knowing the disks only what is mounted where media are counts.
  }
}

/** The same for a file system for as long as its medium stays in: the kernel counts media (diskseq, Linux 5.15). */
async function attachKey(device: BlockDevice): Promise<string> {
  const sequence = await readFile(`/sys/block/${baseName(device.disk)}/diskseq`, "utf8").catch(() => "");
  return `${device.path} ${device.uuid} ${sequence.trim()}`;
}
