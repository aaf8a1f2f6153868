/** A power cut in mid-copy, ejecting, and after the end what stands on the drives, seen from outside. */

import { bytes } from "../../shared/units.ts";
import { driveNames, type Evening } from "./evening.ts";
import { checkedBy, standsOn } from "./imageCheck.ts";
import { Plugged, plainFrames } from "./media.ts";
import { must } from "./report.ts";

const kinds = { Blue: "ext4", Slate: "exfat" } as const;

export async function powerCut(evening: Evening): Promise<readonly string[]> {
  const { laptop } = evening;
  const card = evening.box.exfatCard("POWER", bytes(32_000_000), plainFrames(3001, 12, 2_000_000));
  const before = await evening.filedOn("Blue");
  const reader = await Plugged.in(laptop, "power", card.image, { readPerSecond: bytes(2_000_000) });
  await evening.untilFiled("Blue", before + 4);
  await laptop.cutPower();
  for (const label of [...driveNames, card.label]) await evening.untilMounted(label);
  const left = (await evening.filedOn("Blue")) - before;
  must(left < card.sums.size, `the power went in the middle, after ${left} files`);
  await evening.untilItAnswers();
  await evening.settled();
  await evening.mustBeClear(card);
  await reader.tearOff();
  await evening.untilUnmounted(card.label);
  return [
    `the power went after ${left} of ${card.sums.size} files or fewer; after the new start all are verified and clear`,
  ];
}

export async function ejected(evening: Evening): Promise<readonly string[]> {
  const { laptop } = evening;
  const help = await laptop.scrubjay(["eject", "--help"]);
  if (help.status !== 0) return ["not built yet: `scrubjay eject`"];
  const card = evening.box.exfatCard("EJECT", bytes(12_000_000), plainFrames(3101, 2, 500_000));
  const reader = await Plugged.in(laptop, "eject", card.image);
  await evening.untilMounted(card.label);
  await evening.settled();
  await evening.mustBeClear(card);
  const said: string[] = [];
  for (const [name, label] of [
    [(await evening.card(card.label)).name, card.label],
    ["Slate", "Slate"],
    ["Blue", "Blue"],
  ] as const) {
    const answer = await laptop.scrubjay(["eject", name]);
    must(
      answer.status === 0,
      `\`scrubjay eject ${name}\` succeeds: ${answer.status} ${answer.out}${answer.errors}`,
    );
    await evening.untilUnmounted(label);
    said.push(`${name}: ${answer.out.trim()}`);
  }
  // The daemon looks every few seconds: it must not mount again what a person wants out.
  await evening.settled();
  for (const label of [card.label, "Slate", "Blue"]) await evening.untilUnmounted(label);
  const checks = [
    { label: card.label, image: card.image, kind: "exfat" as const },
    ...driveNames.map((name) => ({ label: name, image: evening.drives[name], kind: kinds[name] })),
  ];
  await reader.tearOff();
  for (const name of driveNames) await evening.pullDrive(name);
  for (const { label, image, kind } of checks) {
    const check = checkedBy(image, kind);
    must(check.clean, `${label} is clean: ${check.said}`);
    said.push(`${label}: ${check.said}`);
  }
  for (const name of driveNames) await evening.plugDrive(name);
  await evening.settled();
  for (const name of driveNames)
    must((await evening.drive(name)).present, `${name} is taken up again when it comes back`);
  return said;
}

/** After the laptop was shut down: every file of every card, by its SHA-256, on each drive. */
export async function standsOutside(evening: Evening): Promise<readonly string[]> {
  const found: string[] = [];
  for (const name of driveNames) {
    const image = evening.drives[name];
    const check = checkedBy(image, kinds[name]);
    must(check.clean, `${name} is clean after the shutdown: ${check.said}`);
    const { sums, listed } = standsOn(image, kinds[name], "Kestrel Cliffs");
    const there = new Set(sums);
    let wanted = 0;
    for (const card of evening.copied) {
      const missing = [...card.sums].filter(([, sum]) => !there.has(sum));
      must(
        missing.length === 0,
        `${name} lacks of ${card.label}: ${missing.map(([path]) => path).join(", ")}`,
      );
      wanted += card.sums.size;
    }
    must(wanted > 0, "cards were copied");
    // The list itself is not in the list.
    must(listed === sums.length - 1, `the checksum list names ${listed} of ${sums.length - 1} files`);
    found.push(
      `${name}: ${wanted} files of ${evening.copied.length} cards found by SHA-256; xxhsum agrees on ${listed}`,
    );
  }
  return found;
}
