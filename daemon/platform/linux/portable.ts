/**
 * Which file systems may be a card or a drive of the photographer's, and which are the computer's own. Pure. The
 * computer's own disks are left out whole, whatever else stands on them; in doubt a disk is the computer's.
 */

import type { Mount } from "../common/mountTable.ts";
import type { BlockDevice } from "./blockDevices.ts";

/** What drivelist says of a disk. */
export interface DiskFacts {
  /** `/dev/sdb` */
  readonly device: string;
  readonly isSystem: boolean;
  readonly isRemovable: boolean;
  readonly isUSB: boolean | null;
  readonly isCard: boolean | null;
}

/** A file system in its place, and the device it is on. */
export interface MountedFileSystem {
  readonly mount: Mount;
  readonly device: BlockDevice;
}

export interface Portable {
  readonly mounted: readonly MountedFileSystem[];
  /** File systems that nobody has mounted, on disks that can be unplugged or whose medium can be taken out. */
  readonly unmounted: readonly BlockDevice[];
}

/** Where desktops and people mount what isn't the computer's own. */
export const mountRoots = ["/media", "/run/media", "/mnt"] as const;

/** A disk with one of these in use is the computer's own, also when it is a USB stick that it was started from. */
const ownPlaces = /^(\/|\/(boot|efi|usr|var|home|opt|srv|root|etc|nix|snap|sysroot)(\/.*)?|\[SWAP\])$/;

/** Content that is no file system to be mounted as it is. */
const notMountable: ReadonlySet<string> = new Set([
  "",
  "swap",
  "crypto_LUKS",
  "BitLocker",
  "LVM2_member",
  "linux_raid_member",
  "zfs_member",
  "squashfs",
  "iso9660",
]);

/** Sorts everything that is there. */
export function portableAmong(
  devices: readonly BlockDevice[],
  mounts: readonly Mount[],
  disks: readonly DiskFacts[],
): Portable {
  const own = new Set(
    devices.filter((device) => device.mountpoints.some(isOwnPlace)).map((device) => device.disk),
  );
  for (const mount of mounts) {
    const device = devices.find((each) => each.path === mount.source);
    if (device !== undefined && isOwnPlace(mount.at)) own.add(device.disk);
  }
  const facts = new Map(disks.map((disk) => [disk.device, disk]));
  const mounted: MountedFileSystem[] = [];
  const unmounted: BlockDevice[] = [];
  for (const device of devices) {
    if (own.has(device.disk) || device.type === "rom") continue;
    const places = mounts.filter((mount) => mount.source === device.path && mount.root === "/");
    const unpluggable = canBeUnplugged(device, facts.get(device.disk));
    // Mounted in several places it is still one volume: the place that was made for it comes first.
    const place = places.find((mount) => isBelowMountRoot(mount.at)) ?? places[0];
    if (place !== undefined) {
      // A loop device is a file of this computer; one that was mounted where media are is meant as one.
      if (unpluggable || isBelowMountRoot(place.at)) mounted.push({ mount: place, device });
    } else if (unpluggable && device.mountpoints.length === 0 && !notMountable.has(device.fsType)) {
      unmounted.push(device);
    }
  }
  return { mounted, unmounted };
}

function isOwnPlace(place: string): boolean {
  return ownPlaces.test(place);
}

function isBelowMountRoot(place: string): boolean {
  return mountRoots.some((root) => place.startsWith(`${root}/`));
}

/**
 * An external solid-state drive may say that its medium can't be taken out, yet it is on USB; a card in a built-in
 * reader is on the mmc bus, which counts as hot-plug.
 */
function canBeUnplugged(device: BlockDevice, disk: DiskFacts | undefined): boolean {
  if (device.type === "loop" || disk === undefined || disk.isSystem) return false;
  const said = disk.isRemovable || disk.isUSB === true || disk.isCard === true;
  return said && (device.removable || device.hotplug || device.transport === "usb");
}
