/**
 * One card, and a daemon that is killed again and again until it is copied: the built daemon on an exFAT card and two
 * drives, exFAT and ext4, on loop devices. Half of the kills fall into the start-up, the others shortly after copying
 * has moved on; the copying is kept at a pace at which the card lasts for them. After each of them the checker looks.
 *
 * A seed chooses the moments; the same seed gives another run as far as the machine doesn't keep time.
 */

import { execFileSync } from "node:child_process";
import { basename } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { limits } from "../../config/defaults.ts";
import type { CardStatusJson } from "../../shared/api.ts";
import { ReadLimit } from "../bench/readLimit.ts";
import { type CardFile, type CardOptions, demoCard, generateCard } from "../cards/generate/card.ts";
import { seeded } from "../cards/generate/random.ts";
import { Computer, filed, until } from "../support/computer.ts";
import type { LoopVolume } from "../support/loopVolume.ts";
import {
  Broken,
  bytesWrittenTo,
  type CardNote,
  Checker,
  type DriveLook,
  incoming,
  isAsNoted,
  noteCard,
  type WatchedDrive,
} from "./checker.ts";

export interface KillsWish {
  readonly kills: number;
  readonly seed: number;
  readonly card: CardOptions;
  /** Of the card and of each drive. */
  readonly volumeBytes: number;
  readonly cardBytesPerSecond: number;
}

export interface KillsResult {
  /** By what the daemon was at when it was killed. */
  readonly beforeWork: number;
  readonly whileCopying: number;
  readonly afterDone: number;
  /** How often a kill left this behind on a drive. */
  readonly leftUnfinished: number;
  readonly leftUntold: number;
  readonly leftUnlisted: number;
  /** How often the daemon was asked for its verdict, and how often it said clear. */
  readonly asked: number;
  readonly saidClear: number;
  /** Copies that a journal tells of more than once. */
  /** Bytes written to each drive's device, in sizes of the card. */
  readonly written: readonly { readonly drive: string; readonly times: number }[];
  /** What the card's bytes and the kills explain at most, in sizes of the card. */
  readonly explained: number;
}

/** About 300 files, 350 MB. */
export const fullKills = {
  card: { ...demoCard, pairsPerBody: 75, long: 1200, short: 800 },
  volumeBytes: 500_000_000,
  cardBytesPerSecond: 8e6,
} as const;

/** A full look at everything after so many kills. */
const fullLookEvery = 25;
/** Share of the kills after which the card is to be copied: the others hit a daemon that has nothing to do. */
const copiedAfter = 0.93;
/** ms */
const startUp = 1_200;

/** @throws Broken when a promise wasn't kept; the message tells the seed and the kill. */
export async function killAgainAndAgain(
  cli: string,
  wish: KillsWish,
  say: (line: string) => void,
): Promise<KillsResult> {
  const limit = new ReadLimit(wish.cardBytesPerSecond);
  const computer = new Computer(cli);
  try {
    return await new Run(await prepare(computer, limit, wish, say), wish, say).all();
  } finally {
    await computer.end();
    await limit.end();
  }
}

interface World {
  readonly computer: Computer;
  readonly checker: Checker;
  readonly drives: readonly WatchedDrive[];
  readonly volumes: readonly LoopVolume[];
  readonly card: LoopVolume;
  readonly note: CardNote;
  /** bytes. All files of one frame. */
  readonly largestFrame: number;
}

/** Card and drives are in, the trip is described, and the daemon doesn't run. */
async function prepare(
  computer: Computer,
  limit: ReadLimit,
  wish: KillsWish,
  say: (line: string) => void,
): Promise<World> {
  // Everything is written at once, so that no kernel thread goes on writing behind the count.
  const mkfs = ["-m", "0", "-E", "lazy_itable_init=0,lazy_journal_init=0"];
  const volumes = [
    computer.volume("Blue", "exfat", wish.volumeBytes),
    computer.volume("Slate", "ext4", wish.volumeBytes, { mkfs }),
  ];
  const drives = volumes.map(({ at }) => {
    const name = basename(at);
    return { name, at, trip: "Kestrel Cliffs", keepsInodes: name === "Slate" };
  });
  await computer.start();
  await computer.introduce(...drives.map((drive) => drive.name));
  await computer.stop();

  let files: readonly CardFile[] = [];
  const card = computer.card(wish.volumeBytes, (folder) => {
    files = generateCard(folder, wish.card);
  });
  card.mount();
  const note = noteCard(card.at);
  card.unmount();
  card.mount(computer.at("CARD"));
  // Nothing is read ahead: what lies in memory is read as fast as can be.
  execFileSync("blockdev", ["--setra", "64", card.device]);
  limit.put(card.device);
  const leavings = new Set(files.filter((file) => file.role === "leaving").map((file) => file.path));
  const { at, device, image } = card;
  const checker = new Checker({ at, device, image, holds: note, leavings }, drives);
  const megabytes = (checker.wantedBytes / 1e6).toFixed(0);
  say(`card: ${checker.wantedFiles} files to copy, ${megabytes} MB; ${limit.words}`);
  return { computer, checker, drives, volumes, card, note, largestFrame: largestFrameOf(files) };
}

function largestFrameOf(files: readonly CardFile[]): number {
  const frames = new Map<string, number>();
  for (const { path, bytes } of files) {
    const frame = path.replace(/\.[^./]*$/, "");
    frames.set(frame, (frames.get(frame) ?? 0) + bytes);
  }
  return Math.max(...frames.values());
}

/** Either changes as soon as something is copied. */
interface Marks {
  readonly unfinished: ReadonlySet<string>;
  readonly filed: number;
}

class Run {
  readonly #world: World;
  readonly #computer: Computer;
  readonly #checker: Checker;
  readonly #drives: readonly WatchedDrive[];
  readonly #wish: KillsWish;
  readonly #say: (line: string) => void;
  readonly #random: () => number;
  readonly #before: readonly number[];
  #asked = 0;
  #saidClear = 0;
  readonly #phases = { beforeWork: 0, whileCopying: 0, afterDone: 0 };
  readonly #left = { leftUnfinished: 0, leftUntold: 0, leftUnlisted: 0 };

  constructor(world: World, wish: KillsWish, say: (line: string) => void) {
    this.#world = world;
    this.#computer = world.computer;
    this.#checker = world.checker;
    this.#drives = world.drives;
    this.#wish = wish;
    this.#say = say;
    this.#random = seeded(wish.seed);
    this.#before = world.volumes.map((volume) => bytesWrittenTo(volume.device));
  }

  async all(): Promise<KillsResult> {
    const { kills, seed } = this.#wish;
    let nth = 1;
    try {
      for (; nth <= kills; nth += 1) {
        await this.#oneLife(nth);
        if (nth % fullLookEvery === 0) this.#say(`${nth} kills; ${this.#filed()} files stand on the drives`);
      }
      return await this.#letItEnd();
    } catch (failure) {
      const why = failure instanceof Error ? failure.message : String(failure);
      const when = nth > kills ? "in the end" : `kill ${nth}`;
      throw new Broken(`seed ${seed}, ${when}: ${why}\n${this.#computer.logEnd()}`, { cause: failure });
    }
  }

  async #oneLife(nth: number): Promise<void> {
    const done = this.#isCopied();
    const before = this.#marks();
    const daemon = this.#computer.begin();
    if (nth % 2 === 0) await sleep(this.#random() * startUp);
    else if (done) await sleep(this.#random() * 2 * startUp);
    else {
      const pace = (nth / (this.#wish.kills * copiedAfter)) * this.#drives.length * this.#checker.wantedFiles;
      await until("copying moves on", () => daemon.exitCode !== null || this.#hasMoved(before));
      await until("copying keeps the pace", () => daemon.exitCode !== null || this.#paceIsKept(pace));
      await sleep(this.#random() * 150);
    }
    if (this.#random() < (done ? 0.5 : 0.2)) await this.#askVerdict();
    if (daemon.exitCode !== null) throw new Broken(`the daemon ended by itself with ${daemon.exitCode}`);
    const moved = this.#hasMoved(before);
    await this.#computer.kill();
    this.#phases[done ? "afterDone" : moved ? "whileCopying" : "beforeWork"] += 1;
    this.#note(this.#checker.look(nth % fullLookEvery === 0));
  }

  async #letItEnd(): Promise<KillsResult> {
    const computer = this.#computer;
    await computer.start();
    const exit = await computer.settled();
    const exits = await computer.exits();
    if (exit !== 0 || exits.cards !== 0 || exits.status !== 0)
      throw new Broken(`not well: ${JSON.stringify({ exit, ...exits })}`);
    const { clear, verdict } = await computer.cardStatus();
    if (!clear) throw new Broken(`not clear: ${verdict}`);
    await computer.stop();
    execFileSync("sync");
    const { volumes, card, note, largestFrame } = this.#world;
    const cardBytes = this.#checker.wantedBytes;
    const written = volumes.map(({ at, device }, index) => ({
      drive: basename(at),
      times: (bytesWrittenTo(device) - (this.#before[index] ?? 0)) / cardBytes,
    }));
    // From the medium, not from memory.
    for (const volume of volumes) {
      volume.unmount();
      volume.mount();
    }
    this.#checker.end();
    card.unmount();
    card.mount();
    isAsNoted(card.at, note);
    const explained = 1 + (this.#phases.whileCopying * limits.framesInFlight * largestFrame) / cardBytes;
    return {
      ...this.#phases,
      ...this.#left,
      asked: this.#asked,
      saidClear: this.#saidClear,
      written,
      explained,
    };
  }

  /** What is said clear must be true already; whoever hears it formats the card. */
  async #askVerdict(): Promise<void> {
    const answer = await this.#computer.scrubjay.run("cards", "--json");
    if (answer.status > 1) return; // Not started yet.
    const cards = JSON.parse(answer.out) as readonly CardStatusJson[];
    this.#asked += 1;
    if (!cards.some((card) => card.clear)) return;
    this.#saidClear += 1;
    this.#checker.saidClear();
  }

  #marks(): Marks {
    return { unfinished: new Set(this.#drives.flatMap((drive) => incoming(drive))), filed: this.#filed() };
  }

  #hasMoved(before: Marks): boolean {
    const now = this.#marks();
    return now.filed > before.filed || [...now.unfinished].some((name) => !before.unfinished.has(name));
  }

  #paceIsKept(pace: number): boolean {
    return this.#filed() >= pace || this.#isCopied();
  }

  #filed(): number {
    return this.#drives.reduce((sum, drive) => sum + filed(this.#computer.trip(drive.name)).length, 0);
  }

  #isCopied(): boolean {
    return this.#filed() >= this.#drives.length * this.#checker.wantedFiles;
  }

  #note(looks: ReadonlyMap<string, DriveLook>): void {
    const all = [...looks.values()];
    if (all.some((look) => look.unfinished > 0)) this.#left.leftUnfinished += 1;
    if (all.some((look) => look.untold > 0)) this.#left.leftUntold += 1;
    if (all.some((look) => look.unlisted > 0)) this.#left.leftUnlisted += 1;
  }
}
