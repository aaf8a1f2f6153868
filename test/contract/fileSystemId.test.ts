/** What tells file systems apart: their UUIDs on devices, server and share over a network, nothing where nothing does. */

import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { fileSystemId, idOfMount } from "../../daemon/platform/common/fileSystemId.ts";
import { canUseLoopVolumes, makeVolume, whyNoLoopVolumes } from "../support/loopVolume.ts";

test("over a network it is the server and what it shares, as mount(8) names it", async () => {
  expect(await idOfMount({ fsType: "nfs4", source: "nas:/photos" })).toBe("nas:/photos");
  expect(await idOfMount({ fsType: "cifs", source: "//nas/photos" })).toBe("//nas/photos");
});

test("what has no device and no server has none", async () => {
  expect(await idOfMount({ fsType: "tmpfs", source: "tmpfs" })).toBe("");
  expect(await fileSystemId("/proc")).toBe("");
});

const onLoop = canUseLoopVolumes();
test.skipIf(!onLoop)(
  `on a device it is the UUID (${onLoop ? "loop device" : whyNoLoopVolumes})`,
  async () => {
    const at = mkdtempSync(join(tmpdir(), "scrubjay-fsid-"));
    for (const fs of ["ext4", "exfat"] as const) {
      const volume = makeVolume({ fs, sizeBytes: 4_000_000, label: "HOME", at });
      try {
        // blkid of util-linux says what the file system calls itself.
        const uuid = execFileSync("blkid", ["-p", "-o", "value", "-s", "UUID", volume.image], {
          encoding: "utf8",
        });
        expect(await fileSystemId(at)).toBe(uuid.trim());
      } finally {
        volume.remove();
      }
    }
    rmSync(at, { recursive: true });
  },
);
