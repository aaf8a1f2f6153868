/**
 * The guest's disk and kernel, built once and kept in ~/.cache/scrubjay-hotplug under a hash of what they are made from.
 * Only as root, where the tools are; `whyNotHere` says what is missing. Not its job: what runs in it.
 */

import { execFileSync, spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, renameSync, rmSync } from "node:fs";
import { homedir } from "node:os";
import { join } from "node:path";

/** Programs of config/debian-packages-hotplug.txt and debian-packages.txt that are called by name. */
const tools = ["qemu-system-x86_64", "mmdebstrap", "busybox", "cpio", "mcopy", "mkfs.exfat", "mkfs.fat"];

/** Why it can't run on this computer, as the rest of a sentence; undefined: it can. */
export function whyNotHere(): string | undefined {
  if (process.arch !== "x64") return "it needs an x86-64 computer";
  if (process.getuid?.() !== 0) return "it needs root, to build the guest and to look into its drives";
  const missing = tools.filter((tool) => spawnSync("sh", ["-c", `command -v ${tool}`]).status !== 0);
  return missing.length === 0 ? undefined : `missing: ${missing.join(", ")}`;
}

/** @returns the folder with vmlinuz, initrd and root.img. @param builder the script's path. */
export function guestFor(builder: string, say: (line: string) => void): string {
  const suite = debianSuite();
  const hash = createHash("sha256").update(readFileSync(builder)).update(suite).update(kernelNow());
  const cache = join(homedir(), ".cache", "scrubjay-hotplug");
  const folder = join(cache, hash.digest("hex").slice(0, 16));
  if (existsSync(folder)) return folder;
  say(`Building the guest (Debian ${suite}), once; it is kept in ${cache} ...`);
  mkdirSync(cache, { recursive: true });
  const fresh = mkdtempSync(join(cache, "building-"));
  try {
    const built = spawnSync(builder, [fresh, suite], { encoding: "utf8", maxBuffer: 64_000_000 });
    if (built.status !== 0)
      throw new Error(
        `The guest couldn't be built: ${built.stderr.trim().split("\n").slice(-5).join(" / ")}`,
      );
    renameSync(fresh, folder);
  } finally {
    rmSync(fresh, { recursive: true, force: true });
  }
  // An older guest is of no more use; one that is being built by another run is left.
  for (const name of readdirSync(cache))
    if (join(cache, name) !== folder && !name.startsWith("building-"))
      rmSync(join(cache, name), { recursive: true, force: true });
  return folder;
}

/** This computer's own release where it is Debian: its Node and what was built for it then run in the guest. */
function debianSuite(): string {
  const release = existsSync("/etc/os-release") ? readFileSync("/etc/os-release", "utf8") : "";
  const suite = /^VERSION_CODENAME=(\w+)$/m.exec(release)?.[1];
  return /^ID=debian$/m.test(release) && suite !== undefined ? suite : "bookworm";
}

function kernelNow(): string {
  try {
    return execFileSync("apt-cache", ["policy", "linux-image-amd64"], { encoding: "utf8" }).replace(
      /[\s\S]*Candidate: (\S+)[\s\S]*/,
      "$1",
    );
  } catch {
    return ""; // Not Debian: the guest stays as it was built.
  }
}
