/**
 * Three drives, one of them in the safe for two evenings: what it owes is right at every step, said in both forms of
 * `status`, and made good as soon as it is plugged in, with no card in. What is owed is worked out here from the files
 * on the cards and on the volumes alone.
 */

import { statSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import type { CardStatusJson } from "../../shared/api.ts";
import { type CardOptions, generateCard, nextEvening, tinyCard } from "../cards/generate/card.ts";
import { Computer } from "../support/computer.ts";
import { filesBelow, sha256Below, xxhsumAgrees } from "../support/generalTools.ts";
import { canUseLoopVolumes, type LoopVolume, whyNoLoopVolumes } from "../support/loopVolume.ts";

const onMedia = test.skipIf(!canUseLoopVolumes());
const names = ["Blue", "Slate", "Rust"] as const;

let computer: Computer;
afterEach(async () => computer.end());

interface Evening {
  readonly card: LoopVolume;
  /** Paths, SHA-256 and bytes of what is to be copied. */
  readonly files: readonly { readonly path: string; readonly sum: string; readonly bytes: number }[];
}

function shoot(options: CardOptions): Evening {
  let files: Evening["files"] = [];
  const card = computer.card(64_000_000, (folder) => {
    const wanted = generateCard(folder, options).filter((file) => file.role !== "leaving");
    const sums = sha256Below(folder);
    files = wanted.map(({ path, bytes }) => ({ path, sum: sums.get(path) ?? "", bytes }));
  });
  return { card, files };
}

/** A drive's trip by sha256sum: path and content of each file but the checksum list. */
function treeOf(folder: string): ReadonlyMap<string, string> {
  if (!filesBelow(folder).some((path) => path.startsWith("Kestrel Cliffs/"))) return new Map();
  const tree = new Map(sha256Below(join(folder, "Kestrel Cliffs")));
  tree.delete("checksums.xxh64");
  return tree;
}

/** What is on the drive, plugged in or not. One that isn't is mounted aside for the look. */
function heldBy(drive: LoopVolume, present: boolean): ReadonlyMap<string, string> {
  if (present) return treeOf(drive.at);
  drive.mount(join(computer.aside, "look"));
  try {
    return treeOf(drive.at);
  } finally {
    drive.unmount();
  }
}

onMedia(
  `a drive that is away for two evenings: what it owes is right at each step, and it is caught up when it comes (${whyNoLoopVolumes})`,
  async () => {
    computer = new Computer();
    const drives = {
      Blue: computer.volume("Blue", "exfat", 64_000_000),
      Slate: computer.volume("Slate", "ext4", 64_000_000),
      Rust: computer.volume("Rust", "exfat", 64_000_000),
    };
    const shot: Evening[] = [];

    /** Holds the board, as JSON and as text, against the volumes. */
    const boardIsRight = async (rustIsThere: boolean, owedByRust: number): Promise<void> => {
      const status = await computer.status();
      const text = (await computer.scrubjay.run("status")).out.replaceAll(/\s+/g, " ");
      // What the evenings' cards share (their print order) is filed once; memos are each frame's own.
      const wanted = new Map(shot.flatMap(({ files }) => files.map((file) => [keyOf(file), file] as const)));
      for (const name of names) {
        const present = name !== "Rust" || rustIsThere;
        const held = [...heldBy(drives[name], present).values()];
        const owed = [...wanted.values()].filter(({ sum }) => {
          const at = held.indexOf(sum);
          if (at >= 0) held.splice(at, 1);
          return at < 0;
        });
        expect(held, `${name} holds nothing else`).toEqual([]);
        expect(owed.length, name).toBe(name === "Rust" ? owedByRust : 0);
        const bytes = owed.reduce((sum, file) => sum + file.bytes, 0);
        const told = status.drives.find((drive) => drive.name === name);
        expect(told, name).toMatchObject({ present, owed: { files: owed.length, bytes } });
        expect(told?.holds.files, name).toBe(wanted.size - owed.length);
      }
      expect(status.frames.files).toBe(wanted.size);
      const missing = status.alerts.filter((alert) => alert.code === "drive-missing");
      expect(status.alerts).toEqual(missing);
      expect(status.safe).toBe(owedByRust === 0);
      if (owedByRust === 0) {
        expect(missing).toEqual([]);
        expect(text).not.toContain("owed so far");
        return;
      }
      expect(missing[0]?.happened).toMatch(`Rust is not plugged in. It owes ${owedByRust} files (`);
      expect(text).toContain(missing[0]?.happened);
      // A row with a column for each drive: Blue and Slate owe nothing.
      expect(text).toMatch(new RegExp(`owed so far nothing nothing \\S+ ${owedByRust}, `));
      expect(text).toMatch(/car \S+ not here/);
    };

    const evening = async (options: CardOptions): Promise<Evening> => {
      const now = shoot(options);
      now.card.mount(computer.at("CARD"));
      shot.push(now);
      expect(await computer.settled(), "not all is well while Rust is away").toBe(1);
      return now;
    };
    const takeOut = async ({ card }: Evening): Promise<void> => {
      card.unmount();
      await computer.settled();
    };
    const cards = () => computer.scrubjay.json<readonly CardStatusJson[]>(["cards"], [0, 1]);

    await computer.start();
    await computer.introduce(...names);
    await boardIsRight(true, 0);
    drives.Rust.unmount();
    await computer.settled();
    await boardIsRight(false, 0);

    const first = await evening(tinyCard);
    await boardIsRight(false, 20);
    expect((await cards()).map((card) => card.clear)).toEqual([false]);
    await takeOut(first);
    await boardIsRight(false, 20);

    const second = await evening(nextEvening(tinyCard));
    // One less than twice 20: both cards have the same print order.
    await boardIsRight(false, 39);
    await takeOut(second);
    await boardIsRight(false, 39);
    const lacking = (await cards()).map(({ clear, lackingTotal }) => ({ clear, lackingTotal }));
    expect(lacking).toEqual([
      { clear: false, lackingTotal: 20 },
      { clear: false, lackingTotal: 20 },
    ]);

    drives.Rust.mount(computer.at("Rust"));
    expect(await computer.settled()).toBe(0);
    await boardIsRight(true, 0);
    expect((await cards()).map((card) => card.clear)).toEqual([true, true]);
    expect(await computer.exits()).toEqual({ wait: 0, status: 0, cards: 0 });

    // Outside sources: sha256sum and xxhsum, after each drive was put in anew, so from its medium.
    await computer.stop();
    for (const name of names) {
      drives[name].unmount();
      drives[name].mount();
    }
    const blue = treeOf(drives.Blue.at);
    expect(blue.size).toBe(39);
    for (const name of names) {
      expect(treeOf(drives[name].at), name).toEqual(blue);
      expect(xxhsumAgrees(computer.trip(name)), name).toBe(39);
      expect(filesBelow(join(drives[name].at, ".scrubjay/incoming")), name).toEqual([]);
    }
    for (const [path] of blue) {
      const times = names.map((name) =>
        Math.floor(statSync(join(computer.trip(name), path)).mtimeMs / 2_000),
      );
      expect(new Set(times).size, path).toBe(1);
    }
  },
  120_000,
);

/** Two files with the same key are filed once. */
function keyOf(file: Evening["files"][number]): string {
  return file.path.endsWith(".WAV") ? `${file.sum} ${file.path}` : file.sum;
}
