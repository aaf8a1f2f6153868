/**
 * Block devices as `lsblk` (util-linux 2.37 or newer) tells them. Parsing is pure and forgiving: what doesn't parse is
 * no device. Not its job: which of them may be a card or a drive (`portable.ts`).
 */

import { z } from "zod";
import { type Bytes, bytes, millis } from "../../../shared/units.ts";
import { runTool } from "../common/runTool.ts";

/** A disk, partition, loop device or anything else that holds blocks. */
export interface BlockDevice {
  /** `/dev/sdb1` */
  readonly path: string;
  /** The disk it is a part of, `/dev/sdb`; itself for a disk. */
  readonly disk: string;
  /** `disk`, `part`, `loop`, `crypt`, `rom`, … */
  readonly type: string;
  /** The file system's UUID or serial; "" where there is none. */
  readonly uuid: string;
  readonly label: string;
  /** `exfat`, `ext4`, `vfat`, …; "" for no known content. */
  readonly fsType: string;
  readonly sizeBytes: Bytes;
  /** The medium can be taken out, or the device unplugged. */
  readonly removable: boolean;
  readonly hotplug: boolean;
  /** `usb`, `nvme`, `mmc`, `sata`, …; "" unknown. A partition has its disk's. */
  readonly transport: string;
  readonly mountpoints: readonly string[];
}

const columns = "NAME,PATH,UUID,LABEL,FSTYPE,SIZE,MOUNTPOINTS,RM,HOTPLUG,TRAN,TYPE";
const lsblkLimit = millis(10_000);

const yes = z.union([z.boolean(), z.string().transform((text) => text === "1")]).catch(false);
const text = z.string().nullish();
const deviceShape = z.object({
  path: z.string(),
  uuid: text,
  label: text,
  fstype: text,
  size: z.coerce.number().catch(0),
  mountpoints: z.array(text).catch([]),
  rm: yes,
  hotplug: yes,
  tran: text,
  type: z.string().catch(""),
  children: z.array(z.unknown()).catch([]),
});
const outputShape = z.object({ blockdevices: z.array(z.unknown()) });

/** Every device now, parts after their disks. None if lsblk can't be asked. Never rejects. */
export async function readBlockDevices(): Promise<readonly BlockDevice[]> {
  const output = await runTool("lsblk", ["--json", "--bytes", "--output", columns], lsblkLimit);
  return output === undefined ? [] : parseBlockDevices(output);
}

/** Reads the JSON of `lsblk --json --bytes`; children become entries of their own. */
export function parseBlockDevices(output: string): readonly BlockDevice[] {
  let parsed: unknown;
  try {
    parsed = JSON.parse(output);
  } catch {
    return [];
  }
  const shape = outputShape.safeParse(parsed);
  return shape.success ? shape.data.blockdevices.flatMap((each) => devicesOf(each, undefined)) : [];
}

function devicesOf(raw: unknown, parent: BlockDevice | undefined): readonly BlockDevice[] {
  const shape = deviceShape.safeParse(raw);
  if (!shape.success) return [];
  const { path, uuid, label, fstype, size, mountpoints, rm, hotplug, tran, type, children } = shape.data;
  const device: BlockDevice = {
    path,
    disk: parent?.disk ?? path,
    type,
    uuid: uuid ?? "",
    label: label ?? "",
    fsType: fstype ?? "",
    sizeBytes: bytes(size),
    removable: rm || (parent?.removable ?? false),
    hotplug: hotplug || (parent?.hotplug ?? false),
    transport: tran ?? parent?.transport ?? "",
    mountpoints: mountpoints.filter((each) => each !== null && each !== undefined),
  };
  return [device, ...children.flatMap((child) => devicesOf(child, device))];
}
