/**
 * What works on this computer and what is missing, for `scrubjay doctor`. Each check tries the thing itself; none
 * changes anything but a small file that it removes again. A check never throws: failing is its answer.
 */

import { constants } from "node:fs";
import { access, mkdtemp, rm } from "node:fs/promises";
import { homedir } from "node:os";
import { dirname, join } from "node:path";
import { absolutePath } from "../../../shared/identity.ts";
import { bytes, count, instant, millis } from "../../../shared/units.ts";
import { onBus } from "../common/dbus.ts";
import { ExiftoolMetadata } from "../common/exiftoolMetadata.ts";
import { NodeFiles } from "../common/nodeFiles.ts";
import { runTool } from "../common/runTool.ts";
import { createHashing } from "../common/xxHash.ts";
import { udisksVersion } from "./udisks.ts";

/** One thing that was tried. */
export interface ComputerCheck {
  readonly what: string;
  readonly works: boolean;
  /** What was found, or what went wrong. */
  readonly detail: string;
  /** What to do about it; "" where it works. */
  readonly fix: string;
}

const answerLimit = millis(5_000);

/** Tries everything at once. `places`: the folders that configuration, ledger and logs are in. */
export async function checkLinux(places: readonly string[]): Promise<readonly ComputerCheck[]> {
  return Promise.all([
    check("Node.js", "Install Node.js 20.19 or newer.", nodeVersion),
    check("SQLite (the ledger)", "Run `npm ci` again; it builds or fetches the SQLite binding.", sqlite),
    check("XXH64 (the hash)", "Run `npm ci` again; the installation is damaged.", hashing),
    check(
      "reading past the cache",
      "Nothing is lost: copies on such a file system are read back too and say `cache`. Prefer kernel exFAT or ext4 on drives.",
      directReading,
    ),
    check("ExifTool (dates and bodies)", "Install Perl: `apt install perl`.", exiftool),
    check("lsblk (disks)", "Install util-linux 2.37 or newer.", lsblk),
    check(
      "UDisks2 (mounting)",
      "Install it with `apt install udisks2`, or mount cards and drives yourself.",
      async () => `version ${await udisksVersion(answerLimit)}`,
    ),
    check(
      "notices on the desktop",
      "Install it with `apt install libnotify-bin`, and run inside a desktop session; the board and `scrubjay status` say the same.",
      notices,
    ),
    check("USB hot-plug", "Nothing is lost: cards are found a few seconds later.", usb),
    ...places.map((place) =>
      check(`writing in ${place}`, `Make the folder writable, or set SCRUBJAY_HOME to another.`, () =>
        writable(place),
      ),
    ),
  ]);
}

async function check(what: string, fix: string, attempt: () => Promise<string>): Promise<ComputerCheck> {
  try {
    return { what, works: true, detail: await attempt(), fix: "" };
  } catch (error) {
    return { what, works: false, detail: error instanceof Error ? error.message : String(error), fix };
  }
}

async function nodeVersion(): Promise<string> {
  const [major = 0, minor = 0] = process.versions.node.split(".").map(Number);
  if (major < 20 || (major === 20 && minor < 19))
    throw new Error(`version ${process.versions.node} is too old`);
  return `version ${process.versions.node}`;
}

async function sqlite(): Promise<string> {
  const { default: Database } = await import("better-sqlite3");
  const database = new Database(":memory:");
  try {
    return `version ${String(database.prepare("SELECT sqlite_version()").pluck().get())}`;
  } finally {
    database.close();
  }
}

async function hashing(): Promise<string> {
  const running = (await createHashing()).start();
  running.update(Buffer.from("abc"));
  const digest = running.digest();
  // The digest of `abc` as published in several test suites.
  if (digest !== "44bc2cf5ad770999") throw new Error(`it gives ${digest} for a known text`);
  return "gives the published digest";
}

async function directReading(): Promise<string> {
  const folder = await mkdtemp(join(homedir(), ".scrubjay-check-"));
  try {
    const files = new NodeFiles();
    const path = absolutePath(join(folder, "file"));
    const written = await files.createToWrite(path);
    await written.write(new Uint8Array(8192).fill(7), 0);
    await written.finish(instant(0));
    await written.close();
    const [block] = files.blocks(1, bytes(8192));
    const { handle, readBack } = await files.openToVerify(path);
    const length = block === undefined ? 0 : await handle.read(block, 0);
    await handle.close();
    if (length !== 8192 || block?.every((value) => value === 7) !== true)
      throw new Error("reads back differently");
    const { fsType } = await files.traits(absolutePath(folder));
    if (readBack !== "direct") throw new Error(`the home folder (${fsType}) doesn't allow it`);
    return `works in the home folder (${fsType})`;
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

async function exiftool(): Promise<string> {
  const metadata = new ExiftoolMetadata({ processes: count(1), timeout: answerLimit, launcher: [] });
  try {
    return `version ${await metadata.version()}`;
  } finally {
    await metadata.close();
  }
}

async function lsblk(): Promise<string> {
  const output = await runTool("lsblk", ["--json", "--bytes", "--output", "PATH,MOUNTPOINTS"], answerLimit);
  if (output === undefined) throw new Error("it is missing, or too old to list mount points");
  return "lists disks";
}

async function notices(): Promise<string> {
  if ((await runTool("notify-send", ["--version"], answerLimit)) === undefined)
    throw new Error("no notify-send");
  const reply = await onBus("session", answerLimit, (call) =>
    call({
      destination: "org.freedesktop.Notifications",
      path: "/org/freedesktop/Notifications",
      interface: "org.freedesktop.Notifications",
      member: "GetServerInformation",
      signature: "",
      body: [],
    }),
  );
  return `shown by ${String(reply[0])}`;
}

async function usb(): Promise<string> {
  const { usb: all } = await import("usb");
  return `${(await all.getDevices()).length} USB devices`;
}

/** A place that isn't there yet is made later; then the folder that it will stand in counts. */
async function writable(place: string): Promise<string> {
  let folder = place;
  for (;;) {
    try {
      await access(folder, constants.W_OK);
      return folder === place ? "can be written" : "will be made when it is needed";
    } catch (error) {
      const missing = error instanceof Error && "code" in error && error.code === "ENOENT";
      if (!missing || dirname(folder) === folder) throw error;
      folder = dirname(folder);
    }
  }
}
