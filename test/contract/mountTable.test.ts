/** The kernel's mount table, as it writes it: from it comes which device a folder stands on. */

import { expect, test } from "vitest";
import { mountOf, parseMountTable } from "../../daemon/platform/common/mountTable.ts";

// Lines in the form of proc(5), "mountinfo"; the first is that page's own example.
const table = Buffer.from(
  [
    "36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue",
    "27 1 254:0 / / rw,relatime - ext4 /dev/vda rw,discard",
    "41 27 0:21 / /proc rw,relatime - proc proc rw",
    "50 27 8:17 / /media/anna/ALDINE\\040R2 rw,nosuid,nodev - exfat /dev/sdb1 rw,uid=1000,errors=remount-ro",
    "51 27 8:33 / /media/anna/a\\134b\\011c ro - vfat /dev/sdc1 ro",
    "52 50 7:0 / /media/anna/ALDINE\\040R2/inner rw shared:9 master:2 - ext4 /dev/loop0 rw,data=journal",
    "torn line",
    "",
  ].join("\n"),
);

test("device, place, type and options of every mount are read, torn lines left out", () => {
  const mounts = parseMountTable(table);
  expect(mounts).toHaveLength(6);
  expect(mounts[0]).toEqual({
    id: "36",
    device: "98:0",
    root: "/mnt1",
    at: "/mnt2",
    fsType: "ext3",
    source: "/dev/root",
    options: ["rw", "noatime", "rw", "errors=continue"],
  });
  expect(mounts[3]?.at).toBe("/media/anna/ALDINE R2");
  expect(mounts[3]?.source).toBe("/dev/sdb1");
});

test("blanks, tabs and backslashes in a mount point are read back", () => {
  expect(parseMountTable(table)[4]?.at).toBe("/media/anna/a\\b\tc");
});

test("a folder stands on the innermost mount around it", () => {
  const mounts = parseMountTable(table);
  expect(mountOf(mounts, "/media/anna/ALDINE R2/DCIM")?.device).toBe("8:17");
  expect(mountOf(mounts, "/media/anna/ALDINE R2/inner")?.device).toBe("7:0");
  expect(mountOf(mounts, "/media/anna/ALDINE R2 again")?.device).toBe("254:0");
  expect(mountOf(mounts, "/")?.device).toBe("254:0");
});
