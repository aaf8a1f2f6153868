/**
 * What tells the file system below a folder from others, for as long as it isn't made anew: its UUID where it is on a
 * device, its server and share where it comes over a network. "" where nothing tells.
 */

import { readdir, realpath } from "node:fs/promises";
import { join } from "node:path";
import { probeFileSystem } from "./blkid.ts";
import { type Mount, mountOf, readMountTable } from "./mountTable.ts";

/** Kinds of which the mount table's source is the server's name and what it shares (nfs(5), mount.cifs(8), mount(8)). */
const network: ReadonlySet<string> = new Set(["nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "fuse.sshfs"]);
/** udev's links from UUIDs to devices, which every user may read (udev(7), 60-persistent-storage.rules). */
const byUuid = "/dev/disk/by-uuid";

/** @param path absolute, without links in it. Never rejects. */
export async function fileSystemId(path: string): Promise<string> {
  const mount = mountOf(await readMountTable(), path);
  return mount === undefined ? "" : idOfMount(mount);
}

export async function idOfMount({ fsType, source }: Pick<Mount, "fsType" | "source">): Promise<string> {
  if (network.has(fsType)) return source;
  if (!source.startsWith("/dev/")) return "";
  return (await uuidByLink(source)) ?? (await probeFileSystem(source)).uuid;
}

async function uuidByLink(device: string): Promise<string | undefined> {
  try {
    const real = await realpath(device);
    for (const uuid of await readdir(byUuid)) if ((await realpath(join(byUuid, uuid))) === real) return uuid;
  } catch {
    // No udev here, or the device went.
  }
  return undefined;
}
