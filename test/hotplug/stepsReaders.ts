/** Readers and cards of every kind: changed in the slot, two at once, FAT32, two partitions, read-only; and a stick. */

import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { bytes } from "../../shared/units.ts";
import type { Evening } from "./evening.ts";
import { differencesOf, keepForComparison } from "./imageCheck.ts";
import { type Card, type Manner, Plugged, plainFrames } from "./media.ts";
import { must } from "./report.ts";

const smallCard = bytes(12_000_000);
const frameSize = 400_000;

export async function changedInSlot(evening: Evening): Promise<readonly string[]> {
  const { laptop, box } = evening;
  const first = box.exfatCard("SLOT1", smallCard, plainFrames(2001, 3, frameSize));
  const second = box.exfatCard("SLOT2", smallCard, plainFrames(2011, 3, frameSize));
  const codes = async (): Promise<string> =>
    (await evening.status()).alerts.map((each) => each.code).join(" ");
  const before = await codes();
  const reader = await Plugged.emptyReader(laptop, "slot", first.image);
  await evening.until("the empty reader is a disk of size 0", "grep -qx 0 /sys/class/block/sd*/size");
  await evening.settled();
  must((await codes()) === before, "nothing is said of an empty reader");
  const times: string[] = [];
  for (const card of [first, second]) {
    const begun = performance.now();
    await reader.putCard(card.image);
    await evening.untilMounted(card.label);
    times.push(
      `${card.label} was mounted ${((performance.now() - begun) / 1000).toFixed(1)} s after it was put in`,
    );
    await evening.settled();
    await evening.mustBeClear(card);
    await reader.takeCard();
    await evening.untilUnmounted(card.label);
    await evening.settled();
    must(
      !(await evening.card(card.label)).present,
      `${card.label} is known to be out while its reader stays`,
    );
  }
  await reader.tearOff();
  return times;
}

export async function twoReaders(evening: Evening): Promise<readonly string[]> {
  const { laptop, box } = evening;
  const cards = [2101, 2111].map((from, index) =>
    box.exfatCard(`TWIN${index + 1}`, smallCard, plainFrames(from, 4, frameSize)),
  );
  const readers: Plugged[] = [];
  for (const card of cards) readers.push(await Plugged.ready(laptop, card.label, card.image, {}));
  await Promise.all(readers.map((reader) => reader.attach()));
  for (const card of cards) await evening.untilMounted(card.label);
  await evening.settled();
  for (const card of cards) await evening.mustBeClear(card);
  for (const reader of readers) await reader.tearOff();
  for (const card of cards) await evening.untilUnmounted(card.label);
  return ["both are clear"];
}

export async function strangeStick(evening: Evening): Promise<readonly string[]> {
  const stick = evening.box.exfatCard("STICK", smallCard, (at) => {
    mkdirSync(join(at, "Letters"));
    writeFileSync(join(at, "Letters/to anna.txt"), "Dear Anna\n");
    writeFileSync(join(at, "holiday.JPG"), Buffer.alloc(100_000, 3));
  });
  const before = keepForComparison(stick.image);
  const known = (await evening.status()).cards.length;
  const plugged = await Plugged.in(evening.laptop, "stick", stick.image);
  await evening.untilMounted(stick.label);
  await evening.settled();
  const status = await evening.status();
  must(status.cards.length === known, "the stick is taken for no card");
  must(!status.drives.some((drive) => drive.name === stick.label), "the stick is taken for no drive");
  await plugged.tearOff();
  await evening.untilUnmounted(stick.label);
  const wrong = differencesOf(before, stick.image, "exfat");
  must(wrong.length === 0, `nothing was written to the stick, but bytes ${wrong.join(", ")}`);
  return ["left alone; of its image only what each mount marks has changed"];
}

export async function fatCard(evening: Evening): Promise<readonly string[]> {
  return readOnlyOnce(
    evening,
    evening.box.fatCard("FAT32", bytes(40_000_000), plainFrames(2201, 3, frameSize)),
    "fat",
  );
}

export async function twoPartitions(evening: Evening): Promise<readonly string[]> {
  const { laptop, box } = evening;
  const first = box.exfatCard("PART1", bytes(10_485_760), plainFrames(2301, 2, frameSize));
  const second = box.fatCard("PART2", bytes(41_943_040), plainFrames(2311, 2, frameSize));
  const image = box.partitioned("PARTED", [
    { card: first, kind: 0x07 },
    { card: second, kind: 0x0c },
  ]);
  const plugged = await Plugged.in(laptop, "parted", image);
  for (const card of [first, second]) await evening.untilMounted(card.label);
  await evening.settled();
  for (const card of [first, second]) await evening.mustBeClear(card);
  await plugged.tearOff();
  for (const card of [first, second]) await evening.untilUnmounted(card.label);
  return ["each partition is a card of its own, and both are clear"];
}

export async function writeProtected(evening: Evening): Promise<readonly string[]> {
  const card = evening.box.exfatCard("LOCKED", smallCard, plainFrames(2401, 3, frameSize));
  const lines = await readOnlyOnce(evening, card, "exfat", { readOnly: true });
  return [...lines, "mounted read-only by itself"];
}

/** Plugs it in, has it copied, pulls it, and compares its image: a card is only ever read. */
async function readOnlyOnce(
  evening: Evening,
  card: Card,
  fs: "exfat" | "fat",
  manner: Manner = {},
): Promise<readonly string[]> {
  const before = keepForComparison(card.image);
  const plugged = await Plugged.in(evening.laptop, card.label, card.image, manner);
  const mount = await evening.untilMounted(card.label);
  if (manner.readOnly === true) {
    const options = await evening.laptop.must(`findmnt --noheadings --output OPTIONS '${mount}'`);
    must(options.split(",").includes("ro"), `it is mounted read-only: ${options}`);
  }
  await evening.settled();
  await evening.mustBeClear(card);
  await plugged.tearOff();
  await evening.untilUnmounted(card.label);
  const wrong = differencesOf(before, card.image, fs);
  must(wrong.length === 0, `nothing was written to the card, but bytes ${wrong.join(", ")}`);
  return [`clear; of the card's image only what each mount marks has changed`];
}
