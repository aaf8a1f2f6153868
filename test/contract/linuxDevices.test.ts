/**
 * Which of a computer's disks may be a card or a drive. The texts have the form of lsblk 2.38 (Debian 12) and of
 * proc(5); they were written by hand after what such a computer prints, with a USB reader, an external solid-state
 * drive, a card in a built-in reader and a stick that the computer was started from.
 */

import { describe, expect, test } from "vitest";
import { parseMountTable } from "../../daemon/platform/common/mountTable.ts";
import { type BlockDevice, parseBlockDevices } from "../../daemon/platform/linux/blockDevices.ts";
import { type DiskFacts, portableAmong } from "../../daemon/platform/linux/portable.ts";

interface Raw {
  readonly name: string;
  readonly uuid?: string;
  readonly label?: string;
  readonly fstype?: string;
  readonly size?: number;
  readonly at?: readonly string[];
  readonly rm?: boolean;
  readonly hotplug?: boolean;
  readonly tran?: string;
  readonly type?: string;
  readonly children?: readonly Raw[];
}

/** One device as lsblk writes it. */
function row(raw: Raw): object {
  return {
    name: raw.name,
    path: `/dev/${raw.name}`,
    uuid: raw.uuid ?? null,
    label: raw.label ?? null,
    fstype: raw.fstype ?? null,
    size: raw.size ?? 64_000_000_000,
    mountpoints: raw.at ?? [null],
    rm: raw.rm ?? false,
    hotplug: raw.hotplug ?? false,
    tran: raw.tran ?? null,
    type: raw.type ?? "disk",
    ...(raw.children === undefined ? {} : { children: raw.children.map(row) }),
  };
}
const lsblk = (...raw: readonly Raw[]): string => JSON.stringify({ blockdevices: raw.map(row) });

const builtIn: Raw = {
  name: "nvme0n1",
  tran: "nvme",
  children: [
    { name: "nvme0n1p1", type: "part", fstype: "vfat", uuid: "0A1B-2C3D", at: ["/boot/efi"] },
    {
      name: "nvme0n1p2",
      type: "part",
      fstype: "ext4",
      uuid: "11111111-2222-3333-4444-555555555555",
      at: ["/"],
    },
    { name: "nvme0n1p3", type: "part", fstype: "ext4", uuid: "spare" },
  ],
};
const reader: Raw = {
  name: "sdb",
  rm: true,
  hotplug: true,
  tran: "usb",
  children: [
    {
      name: "sdb1",
      type: "part",
      rm: true,
      hotplug: true,
      fstype: "exfat",
      uuid: "12AB-34CD",
      label: "ALDINE R2",
      at: ["/media/anna/ALDINE R2"],
    },
  ],
};
const solidState: Raw = {
  name: "sdc",
  hotplug: true,
  tran: "usb",
  children: [
    { name: "sdc1", type: "part", hotplug: true, fstype: "exfat", uuid: "5566-7788", label: "Blue" },
  ],
};
const slot: Raw = {
  name: "mmcblk0",
  hotplug: true,
  tran: "mmc",
  children: [{ name: "mmcblk0p1", type: "part", hotplug: true, fstype: "exfat", uuid: "99AA-BBCC" }],
};
const emptySlot: Raw = { name: "sdd", rm: true, hotplug: true, tran: "usb", size: 0 };
const disc: Raw = { name: "sr0", rm: true, tran: "sata", type: "rom", fstype: "udf", uuid: "disc" };

const disk = (device: string, facts: Partial<DiskFacts>): DiskFacts => ({
  device: `/dev/${device}`,
  isSystem: false,
  isRemovable: true,
  isUSB: true,
  isCard: null,
  ...facts,
});
const disks: readonly DiskFacts[] = [
  disk("nvme0n1", { isSystem: true, isRemovable: false, isUSB: false }),
  disk("sdb", {}),
  disk("sdc", {}),
  disk("mmcblk0", { isUSB: false }),
  disk("sdd", {}),
];

const mountLine = (id: number, at: string, type: string, source: string, root = "/"): string =>
  `${id} 1 8:${id} ${root} ${at.replaceAll(" ", "\\040")} rw - ${type} ${source} rw`;
const mounts = (...lines: readonly string[]) => parseMountTable(Buffer.from(`${lines.join("\n")}\n`));
const ownMounts = [
  mountLine(20, "/", "ext4", "/dev/nvme0n1p2"),
  mountLine(21, "/boot/efi", "vfat", "/dev/nvme0n1p1"),
];
const paths = (devices: readonly BlockDevice[]): string[] => devices.map((device) => device.path);

describe("what lsblk tells", () => {
  test("partitions follow their disk and have what is told of the disk only", () => {
    const devices = parseBlockDevices(lsblk(builtIn, reader, slot));
    expect(paths(devices)).toEqual([
      "/dev/nvme0n1",
      "/dev/nvme0n1p1",
      "/dev/nvme0n1p2",
      "/dev/nvme0n1p3",
      "/dev/sdb",
      "/dev/sdb1",
      "/dev/mmcblk0",
      "/dev/mmcblk0p1",
    ]);
    expect(devices[5]).toEqual({
      path: "/dev/sdb1",
      disk: "/dev/sdb",
      type: "part",
      uuid: "12AB-34CD",
      label: "ALDINE R2",
      fsType: "exfat",
      sizeBytes: 64_000_000_000,
      removable: true,
      hotplug: true,
      transport: "usb",
      mountpoints: ["/media/anna/ALDINE R2"],
    });
    expect(devices[7]).toMatchObject({ disk: "/dev/mmcblk0", transport: "mmc", label: "", mountpoints: [] });
  });

  test("numbers and truths as text, as older versions write them, are read", () => {
    const text = '{"blockdevices":[{"path":"/dev/sdb","size":"512","rm":"1","hotplug":"0","type":"disk"}]}';
    expect(parseBlockDevices(text)[0]).toMatchObject({ sizeBytes: 512, removable: true, hotplug: false });
  });

  test("what can't be read is no device", () => {
    for (const text of [
      "",
      "{",
      "[]",
      "{}",
      '{"blockdevices":{}}',
      '{"blockdevices":[{"name":"x"},7,null]}',
    ]) {
      expect(parseBlockDevices(text)).toEqual([]);
    }
  });
});

describe("what may be a card or a drive", () => {
  test("a mounted card is seen; an external drive and a card in the slot that nobody mounted are to be mounted", () => {
    const found = portableAmong(
      parseBlockDevices(lsblk(builtIn, reader, solidState, slot, emptySlot, disc)),
      mounts(...ownMounts, mountLine(30, "/media/anna/ALDINE R2", "exfat", "/dev/sdb1")),
      disks,
    );
    expect(found.mounted.map(({ mount, device }) => [mount.at, device.uuid])).toEqual([
      ["/media/anna/ALDINE R2", "12AB-34CD"],
    ]);
    expect(paths(found.unmounted)).toEqual(["/dev/sdc1", "/dev/mmcblk0p1"]);
  });

  test("the computer's own disks are left alone, unused partitions of theirs too", () => {
    const found = portableAmong(parseBlockDevices(lsblk(builtIn)), mounts(...ownMounts), disks);
    expect(found).toEqual({ mounted: [], unmounted: [] });
  });

  test("a stick that the computer was started from is the computer's own, data partition and all", () => {
    const stick: Raw = {
      name: "sdb",
      rm: true,
      hotplug: true,
      tran: "usb",
      children: [
        { name: "sdb1", type: "part", fstype: "ext4", at: ["/"] },
        { name: "sdb2", type: "part", fstype: "exfat", at: ["/media/anna/data"] },
        { name: "sdb3", type: "part", fstype: "exfat" },
      ],
    };
    const table = [
      mountLine(20, "/", "ext4", "/dev/sdb1"),
      mountLine(21, "/media/anna/data", "exfat", "/dev/sdb2"),
    ];
    expect(portableAmong(parseBlockDevices(lsblk(stick)), mounts(...table), disks)).toEqual({
      mounted: [],
      unmounted: [],
    });
  });

  test("an external drive mounted by hand anywhere is seen; one that drivelist calls the system's only where media are", () => {
    const devices = parseBlockDevices(lsblk(builtIn, solidState));
    const anywhere = mounts(...ownMounts, mountLine(30, "/data/blue", "exfat", "/dev/sdc1"));
    expect(portableAmong(devices, anywhere, disks).mounted).toHaveLength(1);
    const system = [disk("sdc", { isSystem: true })];
    expect(portableAmong(devices, anywhere, system).mounted).toHaveLength(0);
    const media = mounts(...ownMounts, mountLine(30, "/run/media/anna/Blue", "exfat", "/dev/sdc1"));
    expect(portableAmong(devices, media, system).mounted).toHaveLength(1);
  });

  test("a loop device counts only where media are mounted, and is never mounted by us", () => {
    const loop: Raw = { name: "loop0", type: "loop", fstype: "ext4", uuid: "loop" };
    const devices = parseBlockDevices(lsblk(loop));
    const all = [disk("loop0", {})];
    expect(
      portableAmong(devices, mounts(mountLine(30, "/snap/core/1", "ext4", "/dev/loop0")), all).mounted,
    ).toEqual([]);
    expect(portableAmong(devices, mounts(), all).unmounted).toEqual([]);
    expect(
      portableAmong(devices, mounts(mountLine(30, "/mnt/card", "ext4", "/dev/loop0")), all).mounted,
    ).toHaveLength(1);
  });

  test("content that is no file system is never mounted: swap, encrypted, a part of a volume group", () => {
    for (const fstype of ["swap", "crypto_LUKS", "LVM2_member", "BitLocker"]) {
      const drive: Raw = { ...solidState, children: [{ name: "sdc1", type: "part", hotplug: true, fstype }] };
      expect(portableAmong(parseBlockDevices(lsblk(drive)), mounts(), disks).unmounted).toEqual([]);
    }
  });

  test("an opened encrypted drive is seen by what is inside it", () => {
    const drive: Raw = {
      ...solidState,
      children: [
        {
          name: "sdc1",
          type: "part",
          hotplug: true,
          fstype: "crypto_LUKS",
          children: [{ name: "mapper/luks-1", type: "crypt", fstype: "ext4", uuid: "inner", label: "Slate" }],
        },
      ],
    };
    const table = mounts(...ownMounts, mountLine(30, "/media/anna/Slate", "ext4", "/dev/mapper/luks-1"));
    const found = portableAmong(parseBlockDevices(lsblk(drive)), table, disks);
    expect(found.mounted.map(({ device }) => [device.uuid, device.disk])).toEqual([["inner", "/dev/sdc"]]);
    expect(found.unmounted).toEqual([]);
  });

  test("mounted twice it is one volume, and a folder of it mounted elsewhere is none", () => {
    const devices = parseBlockDevices(lsblk(solidState));
    const table = mounts(
      mountLine(29, "/data/part", "exfat", "/dev/sdc1", "/folder"),
      mountLine(30, "/data/blue", "exfat", "/dev/sdc1"),
      mountLine(31, "/media/anna/Blue", "exfat", "/dev/sdc1"),
    );
    expect(portableAmong(devices, table, disks).mounted.map(({ mount }) => mount.at)).toEqual([
      "/media/anna/Blue",
    ]);
  });
});
