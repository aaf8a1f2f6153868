/**
 * A homecoming, and a daemon that is killed again and again until it has ended: the built daemon, one drive with a trip
 * and an archive on loop devices. It is begun anew after each kill and carries on. What stands in the archive is looked at
 * each time by general tools alone.
 */

import { execFileSync } from "node:child_process";
import { existsSync, mkdirSync, readdirSync, readFileSync, statSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { limits } from "../../config/defaults.ts";
import type { ReceiptJson } from "../../shared/homeApi.ts";
import { ReadLimit } from "../bench/readLimit.ts";
import { profileText } from "../cards/generate/card.ts";
import { seeded } from "../cards/generate/random.ts";
import { Computer, plainCard, until } from "../support/computer.ts";
import { filesBelow, sha256Below, xxhsumAgrees } from "../support/generalTools.ts";
import type { LoopVolume } from "../support/loopVolume.ts";
import { Broken, bytesWrittenTo } from "./checker.ts";

export interface HomeKillsWish {
  readonly kills: number;
  readonly seed: number;
  readonly files: number;
  readonly bytesEach: number;
  /** Of the drive. */
  readonly bytesPerSecond: number;
}

export interface HomeKillsResult {
  /** By what the homecoming was at when the daemon was killed. */
  readonly beforeWork: number;
  readonly whileCarrying: number;
  readonly afterDone: number;
  /** How often a kill left this behind. */
  readonly leftUnfinished: number;
  readonly leftUnlisted: number;
  readonly files: number;
  /** Bytes written to the archive's device, in sizes of the trip, and what trip and kills explain at most. */
  readonly written: number;
  readonly explained: number;
}

/** Plain cards have 255 different files at most. */
export const fullHomeKills = { files: 250, bytesEach: 1_100_000, bytesPerSecond: 8e6 } as const;

/** ms. Longest time from a file that came home to the kill. */
const afterMoving = 250;
/** Share of the kills after which all is to be home: the others hit a daemon that finds it there. */
const homeAfter = 0.9;
/** How many of the kills come at any time; the others once something has moved. */
const anyTime = 4;

interface Stands {
  readonly sum: string;
  readonly inode: number;
  readonly changed: number;
}

/** @throws Broken when a promise wasn't kept; the message tells the seed and the kill */
export async function killHomecoming(
  cli: string,
  wish: HomeKillsWish,
  say: (line: string) => void,
): Promise<HomeKillsResult> {
  const limit = new ReadLimit(wish.bytesPerSecond);
  const computer = new Computer(cli);
  try {
    return await new HomeRun(computer, limit, wish, say).all();
  } finally {
    await computer.end();
    await limit.end();
  }
}

class HomeRun {
  readonly #computer: Computer;
  readonly #limit: ReadLimit;
  readonly #wish: HomeKillsWish;
  readonly #say: (line: string) => void;
  readonly #random: () => number;
  readonly #drive: LoopVolume;
  readonly #disk: LoopVolume;
  readonly #archive: string;
  readonly #trip: string;
  /** SHA-256 of what must stand in the end, by path. */
  #wanted = new Map<string, string>();
  #before = new Map<string, Stands>();
  /** bytes. To the archive's device, by the end. */
  #writtenInAll = 0;
  readonly #phases = { beforeWork: 0, whileCarrying: 0, afterDone: 0 };
  readonly #left = { leftUnfinished: 0, leftUnlisted: 0 };

  constructor(computer: Computer, limit: ReadLimit, wish: HomeKillsWish, say: (line: string) => void) {
    this.#computer = computer;
    this.#limit = limit;
    this.#wish = wish;
    this.#say = say;
    this.#random = seeded(wish.seed);
    // Everything is written at once, so that no kernel thread goes on writing behind the count.
    const mkfs = ["-m", "0", "-E", "lazy_itable_init=0,lazy_journal_init=0"];
    const size = Math.max(64_000_000, 2 * wish.files * wish.bytesEach);
    this.#drive = computer.volume("Blue", "ext4", size, { mkfs });
    this.#archive = join(computer.folder, "archive");
    this.#disk = computer.volume("HOME", "ext4", size, { at: this.#archive, mkfs });
    this.#trip = join(this.#archive, "2027/Kestrel Cliffs");
  }

  async all(): Promise<HomeKillsResult> {
    const { kills, seed } = this.#wish;
    await this.#shoot();
    const before = bytesWrittenTo(this.#disk.device);
    let nth = 1;
    try {
      for (; nth <= kills; nth += 1) {
        await this.#oneLife(nth);
        if (nth % 10 === 0) this.#say(`${nth} kills; ${this.#before.size} files stand in the archive`);
      }
      const receipt = await this.#letItEnd();
      const tripBytes = receipt.expected.bytes;
      const { whileCarrying } = this.#phases;
      return {
        ...this.#phases,
        ...this.#left,
        files: this.#wanted.size,
        written: (this.#writtenInAll - before) / tripBytes,
        // What was under way at a kill is written anew; the record and the file system's own writing come on top.
        explained:
          1.5 + (whileCarrying * (limits.framesInFlight + 2) * this.#wish.bytesEach * 1.5) / tripBytes,
      };
    } catch (failure) {
      const why = failure instanceof Error ? failure.message : String(failure);
      const when = nth > kills ? "in the end" : `kill ${nth}`;
      throw new Broken(`seed ${seed}, ${when}: ${why}\n${this.#computer.logEnd()}`, { cause: failure });
    }
  }

  /** A trip on one drive, with work files, and somebody's file in the archive under the name of one of its frames. */
  async #shoot(): Promise<void> {
    const computer = this.#computer;
    const { files, bytesEach } = this.#wish;
    const profile = join(computer.folder, "trip.yaml");
    const archive = `archive: { folder: ${this.#archive}, tree: "{taken:yyyy}/{trip}" }\n`;
    writeFileSync(profile, `${profileText({ drives: ["Blue"], copies: 1 })}${archive}`);
    await computer.start();
    await computer.must("trip", "add", profile);
    await computer.must("drive", "add", computer.at("Blue"), "--name", "Blue");
    const card = computer.card(Math.max(64_000_000, 1.3 * files * bytesEach), (folder) =>
      plainCard(folder, { seed: 7, files, bytesEach }),
    );
    card.mount(computer.at("CARD"));
    await computer.settled();
    card.remove();
    for (let nth = 1; nth <= 12; nth += 1) {
      const note = join(computer.trip("Blue"), `Notes/day ${nth}.txt`);
      mkdirSync(dirname(note), { recursive: true });
      writeFileSync(note, `puffins, ${nth}\n`);
    }
    await computer.settled();
    await computer.stop();
    execFileSync("sync");
    this.#wanted = new Map(sha256Below(computer.trip("Blue")));
    this.#wanted.delete("checksums.xxh64");
    const [first = ""] = [...this.#wanted.keys()];
    const own = this.#wanted.get(first) ?? "";
    mkdirSync(dirname(join(this.#trip, first)), { recursive: true });
    writeFileSync(join(this.#trip, first), "somebody's");
    this.#wanted.set(first, sha256Below(this.#trip).get(first) ?? "");
    this.#wanted.set(first.replace(/(\.[^.]+)$/, "-2$1"), own);
    this.#limit.put(this.#drive.device);
    this.#say(`${this.#wanted.size} files are to come home; the drive is ${this.#limit.words}`);
  }

  async #oneLife(nth: number): Promise<void> {
    const computer = this.#computer;
    const before = filesBelow(this.#trip).length;
    const done = before > this.#wanted.size;
    await computer.start();
    // What it answers comes too late: the daemon is killed before.
    const asked = computer.scrubjay.run("homecoming", "KC", "--json");
    if (nth % anyTime === 0) await sleep(this.#random() * 1_500);
    else {
      await until("it moves on or ends", async () => {
        const moved = filesBelow(this.#trip).length > before;
        return moved || this.#unfinished() > 0 || (done && (await ended(asked)));
      });
      // The kills are spread over the whole of it.
      const pace = (nth / (this.#wish.kills * homeAfter)) * this.#wanted.size;
      await until("the pace is kept", async () => {
        return filesBelow(this.#trip).length >= Math.min(pace, this.#wanted.size) || (await ended(asked));
      });
      await sleep(this.#random() * afterMoving);
    }
    await computer.kill();
    await asked;
    const now = filesBelow(this.#trip).length;
    const moved = now > before || this.#unfinished() > 0;
    this.#phases[done ? "afterDone" : moved ? "whileCarrying" : "beforeWork"] += 1;
    this.#look();
  }

  #unfinished(): number {
    const folder = join(this.#archive, ".scrubjay/incoming");
    return existsSync(folder) ? readdirSync(folder).length : 0;
  }

  /** Whatever stands under a name is whole, and what stood there before is the very same file. */
  #look(): void {
    const sums = sha256Below(this.#trip);
    const now = new Map<string, Stands>();
    for (const [path, sum] of sums) {
      if (/^(\.scrubjay-new-)?checksums\.xxh64$/.test(path)) continue;
      if (this.#wanted.get(path) !== sum) throw new Broken(`${path} isn't what it must be`);
      const { ino, mtimeMs } = statSync(join(this.#trip, path));
      now.set(path, { sum, inode: ino, changed: mtimeMs });
    }
    for (const [path, { inode, changed }] of this.#before) {
      const found = now.get(path);
      if (found === undefined) throw new Broken(`${path} stood there and is gone`);
      if (found.inode !== inode || found.changed !== changed) throw new Broken(`${path} was written again`);
    }
    this.#before = now;
    if (this.#unfinished() > 0) this.#left.leftUnfinished += 1;
    const list = join(this.#trip, "checksums.xxh64");
    const lines = existsSync(list) ? readFileSync(list, "utf8").split("\n").length - 1 : 0;
    if (lines + 1 < now.size) this.#left.leftUnlisted += 1;
  }

  async #letItEnd(): Promise<ReceiptJson> {
    const computer = this.#computer;
    await computer.start();
    const receipt = await computer.scrubjay.json<ReceiptJson>(["homecoming", "KC"]);
    await computer.must("archive", "check", this.#trip);
    await computer.stop();
    if (!receipt.complete) throw new Broken(`not complete: ${receipt.headline} ${receipt.advice}`);
    execFileSync("sync");
    this.#writtenInAll = bytesWrittenTo(this.#disk.device);
    // From the medium, not from memory. It may come back as another device.
    this.#disk.unmount();
    this.#disk.mount();
    this.#look();
    if (this.#before.size !== this.#wanted.size)
      throw new Broken(`${this.#before.size} files stand there, not ${this.#wanted.size}`);
    if (this.#unfinished() > 0) throw new Broken("unfinished work is left");
    // Somebody's own file isn't in the list.
    if (xxhsumAgrees(this.#trip) !== this.#wanted.size - 1)
      throw new Broken("the list doesn't name every file");
    const { copied, there } = receipt.targets[0] ?? { copied: { files: 0 }, there: { files: 0 } };
    if (copied.files + there.files !== receipt.expected.files)
      throw new Broken("the receipt counts otherwise");
    return receipt;
  }
}

async function ended(asked: Promise<unknown>): Promise<boolean> {
  const never = Symbol("not yet");
  return (await Promise.race([asked, sleep(20, never)])) !== never;
}
