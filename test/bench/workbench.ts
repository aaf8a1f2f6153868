/**
 * What the benchmarks share: a computer with two drives and a card on loop devices, the running daemon asked over its
 * API, and what the kernel says about processes and devices. Nothing here judges a number.
 */

import { spawnSync } from "node:child_process";
import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { type DaemonClient, daemonClient } from "../../daemon/api/client.ts";
import { homeFolders } from "../../daemon/home/homeFolders.ts";
import { readRunFile } from "../../daemon/home/runFile.ts";
import { Computer } from "../support/computer.ts";
import type { LoopVolume } from "../support/loopVolume.ts";
import type { ReadLimit } from "./readLimit.ts";
import type { CardSize } from "./shootCard.ts";

/** A line for whoever runs the benchmark. */
export type Say = (line: string) => void;

export const driveNames = ["Blue", "Slate"] as const;

/** Everything is written at once, so that no kernel thread goes on writing behind a measurement. */
const mkfs = ["-m", "0", "-E", "lazy_itable_init=0,lazy_journal_init=0"];

export interface Workbench {
  readonly computer: Computer;
  readonly drives: readonly LoopVolume[];
  readonly client: DaemonClient;
  /** Makes a card whose files `fill` writes, and takes it out again. */
  card(
    name: string,
    fill: (folder: string) => CardSize,
  ): { readonly volume: LoopVolume; readonly size: CardSize };
  /** Starts the daemon, with the trip described and both drives known. @returns its process id. */
  start(): Promise<number>;
}

/** @param cli the compiled command line. @param sizeBytes of each drive and card. `computer.end()` must follow. */
export function workbench(cli: string, sizeBytes: number): Workbench {
  const computer = new Computer(cli);
  const { run } = homeFolders({ SCRUBJAY_HOME: computer.home }, computer.home);
  const drives = driveNames.map((name) => computer.volume(name, "ext4", sizeBytes, { mkfs }));
  return {
    computer,
    drives,
    client: daemonClient(run),
    card: (name, fill) => {
      const at = join(computer.aside, name);
      const volume = computer.volume(name, "ext4", sizeBytes, { at, mkfs, options: "noatime" });
      const size = fill(at);
      volume.unmount();
      return { volume, size };
    },
    start: async () => {
      await computer.start();
      await computer.introduce(...driveNames);
      await idle(computer);
      const pid = (await readRunFile(run))?.pid;
      if (pid === undefined) throw new Error("the daemon left no run file");
      return pid;
    },
  };
}

/** Until nothing is left to do; measuring may take long. */
export async function idle(computer: Computer): Promise<void> {
  const answer = await computer.scrubjay.run("wait", "--timeout", "3600");
  if (answer.status > 1) throw new Error(`wait: ${answer.status} ${answer.errors}`);
}

/** Mounts the card where the daemon sees it, as slow as the limit says. */
export function insert(computer: Computer, card: LoopVolume, limit?: ReadLimit): void {
  card.mount(computer.at("CARD"));
  limit?.put(card.device);
}

/** Milliseconds that `act` takes. */
export async function timed(act: () => void | Promise<void>): Promise<number> {
  const began = performance.now();
  await act();
  return performance.now() - began;
}

/** Runs a general tool that must succeed; what it prints is dropped. */
export function tool(command: string, args: readonly string[], cwd?: string): void {
  const { status, error, stderr } = spawnSync(command, args, {
    ...(cwd === undefined ? {} : { cwd }),
    stdio: ["ignore", "ignore", "pipe"],
    encoding: "utf8",
  });
  if (status !== 0) throw new Error(`${command}: ${error?.message ?? `${status} ${stderr}`}`);
}

/** Bytes the device has been read since it is there (kernel documentation, block/stat: sectors of 512 bytes). */
export function bytesReadOf(device: string): number {
  const stat = readFileSync(join("/sys/block", device.replace("/dev/", ""), "stat"), "utf8");
  return Number(stat.trim().split(/\s+/)[2]) * 512;
}

/** Resident memory in bytes, now and at most since it began (proc(5), /proc/pid/status). */
export function memoryOf(pid: number): { readonly now: number; readonly peak: number } {
  const status = readFileSync(`/proc/${pid}/status`, "utf8");
  const field = (name: string): number => {
    const value = new RegExp(`^${name}:\\s+(\\d+) kB$`, "m").exec(status)?.[1];
    if (value === undefined) throw new Error(`no ${name} of process ${pid}`);
    return Number(value) * 1024;
  };
  return { now: field("VmRSS"), peak: field("VmHWM") };
}

/** Whether the first file is on its way to this drive, which never had one before. */
export function hasBegun(drive: LoopVolume): boolean {
  return existsSync(join(drive.at, ".scrubjay/incoming"));
}

export const median = (values: readonly number[]): number =>
  [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? Number.NaN;

export const seconds = (milliseconds: number): string => `${(milliseconds / 1000).toFixed(2)} s`;
export const megabytes = (amount: number): string => `${(amount / 1e6).toFixed(0)} MB`;
/** Bytes in milliseconds, as MB/s. */
export const speed = (amount: number, milliseconds: number): string =>
  `${(amount / 1000 / milliseconds).toFixed(0)} MB/s`;
