/**
 * A computer for tests on real media: the built daemon and the built command line as processes of their own, with a
 * home of their own, and loop volumes mounted in the practice folder, where each is a volume to the daemon. `end` stops
 * and unmounts everything, whatever the test left.
 */

import type { ChildProcess } from "node:child_process";
import { createCipheriv } from "node:crypto";
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import type { AlertJson, CardStatusJson, DriveStatusJson, StatusJson } from "../../shared/api.ts";
import { millis } from "../../shared/units.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Answer, type Scrubjay, scrubjayAt, startDaemon, stopDaemon } from "../demo/commands.ts";
import { type LoopVolume, makeVolume, type VolumeWish } from "./loopVolume.ts";

/** Built before the tests run. */
const builtCli = fileURLToPath(new URL("../../dist/daemon/cli.js", import.meta.url));

export class Computer {
  readonly folder = mkdtempSync(join(tmpdir(), "scrubjay-media-"));
  /** Each folder in it is a volume. */
  readonly practice = join(this.folder, "practice");
  /** Where volumes are mounted that aren't plugged in. */
  readonly aside = join(this.folder, "aside");
  readonly scrubjay: Scrubjay;
  /** SCRUBJAY_HOME of this computer. */
  readonly home = join(this.folder, "home");
  readonly #cli: string;
  readonly #log = join(this.folder, "daemon.log");
  readonly #volumes: LoopVolume[] = [];
  #daemon: ChildProcess | undefined;

  /** @param cli the compiled command line. */
  constructor(cli = builtCli) {
    this.#cli = cli;
    for (const each of [this.practice, this.aside, this.home]) mkdirSync(each);
    this.scrubjay = scrubjayAt(cli, this.home);
  }

  /** Where the volume of this name is mounted while it is plugged in. */
  at(name: string): string {
    return join(this.practice, name);
  }

  /** The trip's folder on a drive. */
  trip(drive: string): string {
    return join(this.practice, drive, "Kestrel Cliffs");
  }

  /** Makes an image with a file system, plugged in unless `at` says otherwise. Label and name are the same. */
  volume(
    name: string,
    fs: VolumeWish["fs"],
    sizeBytes: number,
    more: { readonly at?: string; readonly options?: string; readonly mkfs?: readonly string[] } = {},
  ): LoopVolume {
    const made = makeVolume({ fs, sizeBytes, label: name, at: this.at(name), ...more });
    this.#volumes.push(made);
    return made;
  }

  /** An exFAT card whose files `fill` writes; taken out afterwards, so that nothing of it is in any cache. */
  card(sizeBytes: number, fill: (folder: string) => void): LoopVolume {
    const at = join(this.aside, "CARD");
    // As desktops mount cards; without it each reading would be written down on the card by the file system.
    const card = this.volume("CARD", "exfat", sizeBytes, { at, options: "noatime" });
    fill(at);
    card.unmount();
    return card;
  }

  /** Starts the daemon and doesn't wait for it. */
  begin(): ChildProcess {
    this.#daemon = startDaemon(this.#cli, this.home, this.practice, this.#log);
    return this.#daemon;
  }

  async start(): Promise<void> {
    const daemon = this.begin();
    await until("the daemon answers", async () => {
      if (daemon.exitCode !== null) throw new Error(`the daemon ended with ${daemon.exitCode}`);
      // 0 and 1 are answers, if there is one.
      const { status, out } = await this.scrubjay.run("status", "--json");
      return status <= 1 && out.startsWith("{");
    });
  }

  /** The last lines of what the daemon printed. */
  logEnd(): string {
    return existsSync(this.#log) ? readFileSync(this.#log, "utf8").slice(-2_000) : "";
  }

  /** As when the power goes: no time for anything. */
  async kill(): Promise<void> {
    const daemon = this.#daemon;
    if (daemon?.pid === undefined || daemon.exitCode !== null) throw new Error("no daemon to kill");
    this.#daemon = undefined;
    // Stopped first, so that the list of its children stays true. The power would take them too; left alone, an
    // exiftool that stays open asks its closed input for ever.
    daemon.kill("SIGSTOP");
    const children = readFileSync(`/proc/${daemon.pid}/task/${daemon.pid}/children`, "utf8");
    const ended = new Promise((resolve) => daemon.once("exit", resolve));
    daemon.kill("SIGKILL");
    await ended;
    for (const child of children.split(" ").filter((pid) => pid !== "")) {
      try {
        process.kill(Number(child), "SIGKILL");
      } catch {
        // It has ended by itself.
      }
    }
  }

  /** @returns its exit status. */
  async stop(): Promise<number | undefined> {
    const daemon = this.#daemon;
    this.#daemon = undefined;
    return daemon === undefined ? undefined : stopDaemon(daemon, millis(10_000));
  }

  /** Describes the trip with these drives, which are plugged in, and makes them known. */
  async introduce(...drives: readonly string[]): Promise<void> {
    const profile = join(this.folder, "trip.yaml");
    writeFileSync(profile, profileText({ drives, copies: drives.length }));
    await this.must("trip", "add", profile);
    for (const name of drives) await this.must("drive", "add", this.at(name), "--name", name);
  }

  /** Runs a command that must succeed. */
  async must(...args: readonly string[]): Promise<Answer> {
    const answer = await this.scrubjay.run(...args);
    if (answer.status !== 0)
      throw new Error(`scrubjay ${args.join(" ")}: ${answer.status} ${answer.out} ${answer.errors}`);
    return answer;
  }

  /** Until nothing is left to do with what is plugged in. @returns the exit status of `wait`. */
  async settled(): Promise<number> {
    const answer = await this.scrubjay.run("wait", "--timeout", "60", "--json");
    const { idle } = JSON.parse(answer.out) as { readonly idle?: boolean };
    if (idle !== true) throw new Error(`not settled: ${answer.out} ${answer.errors}`);
    return answer.status;
  }

  status(): Promise<StatusJson> {
    return this.scrubjay.json<StatusJson>(["status"], [0, 1, 65]);
  }

  /** The only card that is known. */
  async cardStatus(): Promise<CardStatusJson> {
    const [card, ...more] = await this.scrubjay.json<readonly CardStatusJson[]>(["cards"], [0, 1]);
    if (card === undefined || more.length > 0) throw new Error(`${more.length + 1} cards are known, not one`);
    return card;
  }

  async drive(name: string): Promise<DriveStatusJson> {
    const found = (await this.status()).drives.find((drive) => drive.name === name);
    if (found === undefined) throw new Error(`no drive ${name}`);
    return found;
  }

  async alert(code: string): Promise<AlertJson | undefined> {
    return (await this.status()).alerts.find((alert) => alert.code === code);
  }

  /** Exit statuses of the three commands whose answer is yes or not yet. */
  async exits(): Promise<{ readonly wait: number; readonly status: number; readonly cards: number }> {
    const exit = async (...args: readonly string[]) => (await this.scrubjay.run(...args)).status;
    return {
      wait: await exit("wait", "--timeout", "60"),
      status: await exit("status"),
      cards: await exit("cards"),
    };
  }

  async end(): Promise<void> {
    try {
      await this.stop();
    } finally {
      for (const volume of this.#volumes) volume.remove();
      rmSync(this.folder, { recursive: true, force: true });
    }
  }
}

/** The list, and the moment's file in its place, which may be gone before anyone looks at it. */
const checksumList = /^(\.scrubjay-new-)?checksums\.xxh64$/;

/** Files under their final names in the trip's folder of a drive; none before there is one. */
export function filed(tripFolder: string): readonly string[] {
  if (!existsSync(tripFolder)) return [];
  return readdirSync(tripFolder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && !checksumList.test(entry.name))
    .map((entry) => join(entry.parentPath, entry.name))
    .sort();
}

/** Writes a card of plain files without Exif, dated into the trip. The same seed gives the same bytes. */
export function plainCard(
  folder: string,
  card: { readonly seed: number; readonly files: number; readonly bytesEach: number },
): void {
  const key = Buffer.alloc(32, card.seed);
  for (let number = 1; number <= card.files; number += 1) {
    const path = join(folder, `DCIM/100ALDIN/ALD_${String(number).padStart(4, "0")}.PNG`);
    // A cipher's stream: no two files alike, as fast as the disk.
    const content = createCipheriv("aes-256-ctr", key, Buffer.alloc(16, number)).update(
      Buffer.alloc(card.bytesEach),
    );
    mkdirSync(dirname(path), { recursive: true });
    writeFileSync(path, content);
    const shot = Date.parse("2027-06-05T18:00:00Z") / 1000 + 2 * number;
    utimesSync(path, shot, shot);
  }
}

/** Asks again and again, for a minute at most. For what no command waits for. */
export async function until(what: string, holds: () => boolean | Promise<boolean>): Promise<void> {
  const giveUp = performance.now() + 60_000;
  while (!(await holds())) {
    if (performance.now() > giveUp) throw new Error(`not within a minute: ${what}`);
    await sleep(2);
  }
}
