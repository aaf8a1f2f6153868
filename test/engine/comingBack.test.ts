/**
 * Cards that come again, come twice, or come in parts: in another reader, formatted and used again, two with one label,
 * a mirror from the second slot, raws on one and JPEGs on the other; and a clock that jumps between evenings. Generated
 * camera files; what the drives hold is compared with what was on the cards, byte by byte.
 */

import { cpSync, mkdirSync, readdirSync, renameSync, rmSync, statSync } from "node:fs";
import { dirname, join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { drivesJson, statusJson } from "../../daemon/engine/board.ts";
import { cardsJson } from "../../daemon/engine/cardBoard.ts";
import type { Volume } from "../../daemon/ports/volumes.ts";
import type { CardStatusJson } from "../../shared/api.ts";
import { instant } from "../../shared/units.ts";
import {
  type CardOptions,
  generateCard,
  nextEvening,
  profileText,
  tinyCard,
} from "../cards/generate/card.ts";
import { type Bench, makeBench, tree, type Wrap } from "./bench.ts";
import { FaultyFiles } from "./faultyFiles.ts";

let bench: Bench;
afterEach(async () => bench.end());

async function ready(wrap?: Wrap): Promise<void> {
  bench = await makeBench(wrap);
  bench.trip(profileText({ drives: ["Blue", "Slate"], copies: 2 }));
  for (const drive of ["Blue", "Slate"]) await bench.drive(drive);
}

/** What has to stand on every drive once. */
interface Shot {
  readonly content: string;
  /** A voice memo: the raw it was spoken to. Two memos of the same bytes are two, where their frames are. */
  readonly of: string;
}

/** A card that waits to be put in. @returns what has to be copied. */
function shoot(name: string, options: CardOptions): readonly Shot[] {
  const folder = join(bench.aside, name);
  const files = generateCard(folder, options).filter((file) => file.role !== "leaving");
  const on = tree(folder);
  return files.map(({ path, role }) => ({
    content: contentKey(on.get(path)),
    of: role === "companion" ? contentKey(on.get(path.replace(/\.\w+$/, ".DNG"))) : "",
  }));
}

/** Those that aren't among `earlier`. */
function newIn(shots: readonly Shot[], earlier: readonly Shot[]): readonly Shot[] {
  return shots.filter((shot) => !earlier.some((one) => one.content === shot.content && one.of === shot.of));
}

async function putIn(...names: readonly string[]): Promise<void> {
  for (const name of names) bench.plugIn(name);
  await bench.idle();
}

async function takeOut(...names: readonly string[]): Promise<void> {
  for (const name of names) bench.takeOut(name);
  await bench.idle();
}

/** The trip's files on a drive, without our own list. */
function tripTree(drive: string): Map<string, string> {
  const files = tree(join(bench.practice, drive, "Kestrel Cliffs"));
  files.delete("checksums.xxh64");
  return new Map([...files].map(([path, content]) => [path, contentKey(content)]));
}

/** The bytes themselves: nothing is left to a hash. */
function contentKey(content: Buffer | undefined): string {
  return content?.toString("latin1") ?? "";
}

/** Both drives hold each of these once, in the same places, and nothing else. */
function eachOnce(...cards: readonly (readonly Shot[])[]): void {
  const blue = tripTree("Blue");
  const all: Shot[] = [];
  for (const card of cards) all.push(...newIn(card, all));
  const wanted = all.map((shot) => shot.content).sort();
  const held = [...blue.values()].sort();
  expect(held.length).toBe(wanted.length);
  expect(held.every((content, index) => content === wanted[index])).toBe(true);
  const slate = tripTree("Slate");
  expect([...slate.keys()].sort()).toEqual([...blue.keys()].sort());
  for (const [path, content] of blue) expect(slate.get(path) === content, path).toBe(true);
}

const cardAt = (name: string): CardStatusJson | undefined =>
  cardsJson(bench.engine).find((card) => card.mount === join(bench.practice, name));
const alertCodes = () => statusJson(bench.engine).alerts.map((alert) => alert.code);

test("a card that comes in another reader is known: it has its verdict, and no file of it is read to be copied", async () => {
  const read: string[] = [];
  await ready((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: (operation, path) => {
        if (operation === "openToRead" || operation === "createToWrite") read.push(path);
      },
    }),
  }));
  const contents = shoot("READER-A", tinyCard);
  await putIn("READER-A");
  const [before] = cardsJson(bench.engine);
  expect(before?.clear).toBe(true);
  expect(read.length, "copying does go this way").toBeGreaterThanOrEqual(3 * contents.length);
  await takeOut("READER-A");

  // The same file system elsewhere: moved, a folder keeps what it is known by.
  renameSync(join(bench.aside, "READER-A"), join(bench.aside, "READER-B"));
  read.length = 0;
  const stood = inodes("Blue");
  await putIn("READER-B");
  expect(cardsJson(bench.engine)).toHaveLength(1);
  expect(cardAt("READER-B")).toMatchObject({ id: before?.id, name: "Card 1", clear: true, present: true });
  expect(read).toEqual([]);
  expect(inodes("Blue")).toEqual(stood);
  eachOnce(contents);
  expect(bench.notices.filter((notice) => notice.title === "Card 1 may be formatted")).toHaveLength(2);
});

function inodes(drive: string): readonly (readonly [string, number])[] {
  const trip = join(bench.practice, drive, "Kestrel Cliffs");
  return [...tripTree(drive).keys()].map((path) => [path, statSync(join(trip, path)).ino]);
}

test("a card that was formatted and used again under its old identity: the new frames join the old under names of their own", async () => {
  await ready();
  const first = shoot("CARD", tinyCard);
  await putIn("CARD");
  expect(cardAt("CARD")?.clear).toBe(true);
  const before = tripTree("Blue");
  await takeOut("CARD");

  // The same volume, emptied; the camera begins again at the same number, the next evening.
  for (const name of readdirSync(join(bench.aside, "CARD")))
    rmSync(join(bench.aside, "CARD", name), { recursive: true });
  const again = { ...nextEvening(tinyCard), firstNumber: tinyCard.firstNumber };
  const second = shoot("CARD", again);
  // While only one drive is in, it isn't clear: what Slate holds is of the earlier frames.
  bench.takeOut("Slate");
  await putIn("CARD");
  expect(cardAt("CARD")).toMatchObject({ clear: false, lackingTotal: newIn(second, first).length });
  await putIn("Slate");
  expect(cardsJson(bench.engine)).toHaveLength(1);
  expect(cardAt("CARD")).toMatchObject({
    name: "Card 1",
    files: second.length + 1,
    clear: true,
    lacking: [],
  });
  eachOnce(first, second);
  const after = tripTree("Blue");
  for (const [path, content] of before) expect(after.get(path) === content, path).toBe(true);
  expect(alertCodes()).toEqual([]);
});

test("two cards with one label and no identity are in at once: both are copied whole, both are clear", async () => {
  await ready((ports) => ({
    ...ports,
    volumes: {
      watch: (hint, stop) => ports.volumes.watch(hint, stop),
      eject: (volume) => ports.volumes.eject(volume),
      look: async () =>
        (await ports.volumes.look()).map(
          (volume): Volume =>
            /ONE|TWO/.test(volume.root) ? { ...volume, label: "ALDINE", fsId: "" } : volume,
        ),
    },
  }));
  const one = shoot("ONE", tinyCard);
  const two = shoot("TWO", { ...nextEvening(tinyCard), firstNumber: tinyCard.firstNumber });
  await putIn("ONE", "TWO");
  for (const name of ["ONE", "TWO"])
    expect(cardAt(name), name).toMatchObject({ label: "ALDINE", clear: true, lacking: [] });
  expect(cardAt("ONE")?.id).not.toBe(cardAt("TWO")?.id);
  eachOnce(one, two);
});

test("a body that writes each frame to both of its cards: nothing is stored twice, both cards are clear", async () => {
  await ready();
  const contents = shoot("SLOT-1", tinyCard);
  cpSync(join(bench.aside, "SLOT-1"), join(bench.aside, "SLOT-2"), {
    recursive: true,
    preserveTimestamps: true,
  });
  await putIn("SLOT-1", "SLOT-2");
  eachOnce(contents);
  for (const name of ["SLOT-1", "SLOT-2"])
    expect(cardAt(name), name).toMatchObject({ clear: true, files: contents.length + 1, lacking: [] });
  const { frames } = statusJson(bench.engine);
  expect(frames.atGoal).toBe(frames.total);

  // The mirror by itself, before and after: each alone has its verdict.
  await takeOut("SLOT-1");
  expect(cardAt("SLOT-2")?.clear).toBe(true);
  await takeOut("SLOT-2");
  await putIn("SLOT-1");
  expect(cardAt("SLOT-1")?.clear).toBe(true);
  eachOnce(contents);
});

for (const order of [
  ["RAWS", "JPEGS"],
  ["JPEGS", "RAWS"],
] as const) {
  test(`raws on one card, JPEGs of the same frames on the other, ${order[0]} first: each frame has one name`, async () => {
    await ready();
    const contents = shoot("RAWS", tinyCard);
    for (const path of tree(join(bench.aside, "RAWS")).keys()) {
      if (!path.endsWith(".JPG")) continue;
      const to = join(bench.aside, "JPEGS", path);
      mkdirSync(dirname(to), { recursive: true });
      renameSync(join(bench.aside, "RAWS", path), to);
    }
    for (const name of order) {
      await putIn(name);
      expect(cardAt(name)?.clear, name).toBe(true);
      await takeOut(name);
    }
    eachOnce(contents);
    // As the generator wrote them: four frames by each of two bodies, raw and JPEG.
    const names = [...tripTree("Blue").keys()];
    const stems = (extension: string) =>
      names
        .filter((name) => name.endsWith(extension))
        .map((name) => name.slice(0, -extension.length))
        .sort();
    expect(stems(".DNG")).toHaveLength(2 * tinyCard.pairsPerBody);
    expect(stems(".JPG")).toEqual(stems(".DNG"));
    expect(stems(".DNG").filter((stem) => !/^2027-06-03\/KC-20270603-[AB]04\d\d$/.test(stem))).toEqual([]);
    // The voice memo belongs to a raw's name, whichever card came first.
    expect(stems(".DNG")).toContain(stems(".WAV")[0]);
  });
}

/** Three evenings, Slate away on the second; `jumps` are what the computer's clock is wrong by, ms. */
async function threeEvenings(jumps: readonly [number, number, number]): Promise<Map<string, string>> {
  let ahead = 0;
  await ready((ports) => ({
    ...ports,
    clock: {
      now: () => instant(ports.clock.now() + ahead),
      steady: () => ports.clock.steady(),
      sleep: (span, stop) => ports.clock.sleep(span, stop),
    },
  }));
  const owed = () => drivesJson(bench.engine).map((drive) => drive.owed.files);
  const second = nextEvening(tinyCard);
  const evenings = [tinyCard, second, nextEvening(second)];
  const shots: Shot[] = [];
  for (const [nth, options] of evenings.entries()) {
    ahead = jumps[nth] ?? 0;
    const name = `CARD-${nth + 1}`;
    const fresh = shoot(name, options);
    const lacking = newIn(fresh, shots).length;
    shots.push(...newIn(fresh, shots));
    if (nth === 1) await takeOut("Slate");
    await putIn(name);
    expect(cardAt(name), name).toMatchObject({ name: `Card ${nth + 1}`, clear: nth !== 1 });
    expect(owed()).toEqual(nth === 1 ? [0, lacking] : [0, 0]);
    expect(alertCodes()).toEqual(nth === 1 ? ["drive-missing"] : []);
    await takeOut(name);
    if (nth !== 1) continue;
    await putIn("Slate");
    expect(owed()).toEqual([0, 0]);
    expect(alertCodes()).toEqual([]);
  }
  // A card of the first evening again, by the last evening's clock: known, and judged as ever.
  await putIn("CARD-1");
  expect(cardAt("CARD-1")).toMatchObject({ name: "Card 1", clear: true });
  expect(cardsJson(bench.engine).map((card) => card.clear)).toEqual([true, true, true]);
  eachOnce(shots);
  return tripTree("Blue");
}

test("a clock that jumps between evenings, two years back and ten ahead: names, owed and verdicts are as without", async () => {
  const right = await threeEvenings([0, 0, 0]);
  await bench.end();
  const year = 365 * 86_400_000;
  const jumped = await threeEvenings([0, -2 * year, 10 * year]);
  expect([...jumped.keys()].sort()).toEqual([...right.keys()].sort());
  for (const [path, content] of right) expect(jumped.get(path) === content, path).toBe(true);
});
