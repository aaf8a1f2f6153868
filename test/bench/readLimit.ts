/**
 * A loop device that reads no faster than a card: the kernel's throttle for block devices (cgroup v1, blkio controller,
 * blkio.throttle.read_bps_device). It holds for this process and every process it starts meanwhile.
 */

import { existsSync, mkdirSync, readFileSync, rmdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";

const controller = "/sys/fs/cgroup/blkio";

export class ReadLimit {
  /** What reading is limited to, bytes a second; undefined where it can't be. */
  readonly bytesPerSecond: number | undefined;
  /** In words, for the report. */
  readonly words: string;
  readonly #group = join(controller, `scrubjay-bench-${process.pid}`);
  readonly #before: string;

  /** Limits nothing yet: see `put`. `end` must follow. */
  constructor(bytesPerSecond: number) {
    this.#before = ownGroup();
    try {
      if (!existsSync(join(controller, "blkio.throttle.read_bps_device")))
        throw new Error("this kernel shows no blkio controller of cgroup v1");
      mkdirSync(this.#group);
      writeFileSync(join(this.#group, "cgroup.procs"), String(process.pid));
      this.bytesPerSecond = bytesPerSecond;
      this.words = `limited to ${(bytesPerSecond / 1e6).toFixed(0)} MB/s`;
    } catch (error) {
      this.bytesPerSecond = undefined;
      this.words = `not limited: ${error instanceof Error ? error.message : String(error)}`;
    }
  }

  /** From now on this device is slow. A device number that is given out again stays slow until `end`. */
  put(device: string): void {
    if (this.bytesPerSecond === undefined) return;
    const number = readFileSync(join("/sys/block", device.replace("/dev/", ""), "dev"), "utf8").trim();
    const rule = join(this.#group, "blkio.throttle.read_bps_device");
    writeFileSync(rule, `${number} ${this.bytesPerSecond}`);
  }

  /** The processes started meanwhile must have ended. */
  async end(): Promise<void> {
    if (!existsSync(this.#group)) return;
    writeFileSync(join(controller, this.#before, "cgroup.procs"), String(process.pid));
    for (let tries = 0; ; tries += 1) {
      try {
        rmdirSync(this.#group);
        return;
      } catch (error) {
        // The last of them may be on its way out.
        if (tries >= 50) throw error;
        await sleep(100);
      }
    }
  }
}

/** The group this process is in, as cgroups(7) shows it: `4:blkio:/system.slice`. */
function ownGroup(): string {
  const lines = existsSync("/proc/self/cgroup") ? readFileSync("/proc/self/cgroup", "utf8") : "";
  return /^\d+:(?:[^:]*,)?blkio(?:,[^:]*)?:(.*)$/m.exec(lines)?.[1] ?? "/";
}
