/** What goes wrong with media: a sector that can't be read; a card and a drive torn off while they are in use. */

import { bytes } from "../../shared/units.ts";
import type { Evening } from "./evening.ts";
import { frameBytes, Plugged, plainFrames, sectorOf } from "./media.ts";
import { must } from "./report.ts";

/** Slow enough that there is a middle to tear something off in. */
const slowly = { readPerSecond: bytes(2_000_000) };

export async function failingSector(evening: Evening): Promise<readonly string[]> {
  const size = 600_000;
  const card = evening.box.exfatCard("BADSECT", bytes(12_000_000), plainFrames(1001, 6, size));
  const badSector = sectorOf(card.image, frameBytes(1004, size).subarray(512 * 600));
  const bad = "DCIM/100ALDIN/ALD_1004.PNG";
  const reader = await Plugged.in(evening.laptop, "worn", card.image, { badSector });
  await evening.untilMounted(card.label);
  await evening.settled();
  const alert = await evening.alert("read-error", card.label);
  must(alert !== undefined, "`read-error` is said");
  const found = await evening.card(card.label);
  must(!found.clear, "a card with a file that can't be read is not clear");
  const lacking = found.lacking.map((each) => each.path);
  must(lacking.length === 1 && lacking[0] === bad, `only ${bad} is lacking, not ${lacking.join(", ")}`);
  await reader.tearOff();
  await evening.untilUnmounted(card.label);
  const rest = new Map([...card.sums].filter(([path]) => path !== bad));
  must(rest.size === card.sums.size - 1, "the file with the bad sector is one of the card's");
  evening.copied.push({ ...card, sums: rest });
  return [`said: ${alert.text}`, `the other ${rest.size} files are on both drives`];
}

export async function tornCard(evening: Evening): Promise<readonly string[]> {
  const card = evening.box.exfatCard("TORN", bytes(32_000_000), plainFrames(1101, 12, 2_000_000));
  const before = await evening.filedOn("Blue");
  const reader = await Plugged.in(evening.laptop, "torn", card.image, slowly);
  await evening.untilFiled("Blue", before + 3);
  await reader.tearOff();
  await evening.untilUnmounted(card.label);
  await evening.settled();
  const found = await evening.card(card.label);
  must(!found.present && !found.clear, "the card is known to be out and not clear");
  const alert = await evening.alert("card-unfinished", card.label);
  must(alert !== undefined, "`card-unfinished` is said");
  const filed = (await evening.filedOn("Blue")) - before;
  must(filed < card.sums.size, `it was torn off in the middle, after ${filed} files`);

  const again = await Plugged.in(evening.laptop, "torn", card.image);
  await evening.untilMounted(card.label);
  await evening.settled();
  await evening.mustBeClear(card);
  const read = await evening.bytesRead(card.label);
  must(read < card.bytes, `what was verified isn't read again: ${read} of ${card.bytes} bytes`);
  must((await evening.alert("card-unfinished", card.label)) === undefined, "`card-unfinished` goes");
  await again.tearOff();
  await evening.untilUnmounted(card.label);
  return [
    `torn off after ${filed} of ${card.sums.size} files; said: ${alert.text}`,
    `put in again: ${(read / 1e6).toFixed(1)} of ${(card.bytes / 1e6).toFixed(1)} MB read from it, then clear`,
  ];
}

export async function tornDrive(evening: Evening): Promise<readonly string[]> {
  const card = evening.box.exfatCard("NOSLATE", bytes(32_000_000), plainFrames(1201, 12, 2_000_000));
  const before = await evening.filedOn("Blue");
  const reader = await Plugged.in(evening.laptop, "steady", card.image, slowly);
  await evening.untilFiled("Slate", before + 3);
  await evening.pullDrive("Slate");
  await evening.untilUnmounted("Slate");
  await evening.settled();
  const [blue, slate] = [await evening.drive("Blue"), await evening.drive("Slate")];
  must(!slate.present && slate.owed.files > 0, "Slate is known to be out, and owes");
  must(blue.owed.files === 0, `Blue got everything; it owes ${blue.owed.files}`);
  must(!(await evening.card(card.label)).clear, "the card is not clear with one copy");
  const alert = await evening.alert("drive-missing", "Slate");
  must(alert !== undefined, "`drive-missing` is said");
  const other = (await evening.status()).alerts
    .map((each) => each.code)
    .filter((code) => code === "write-error");
  must(other.length === 0, "a drive that was pulled isn't blamed for it");

  await evening.plugDrive("Slate");
  await evening.settled();
  await evening.mustBeClear(card);
  must((await evening.drive("Slate")).owed.files === 0, "Slate owes nothing any more");
  await reader.tearOff();
  await evening.untilUnmounted(card.label);
  return [
    `torn off in the middle, ${slate.owed.files} files owed; said: ${alert.text}`,
    "plugged in again: caught up from the card",
  ];
}

/** A drive that was away while a card was copied, and comes when the card is out. */
export async function catchUpWithoutCard(evening: Evening): Promise<readonly string[]> {
  const card = evening.box.exfatCard("AWAY", bytes(12_000_000), plainFrames(1301, 2, 500_000));
  await evening.pullDrive("Slate");
  await evening.untilUnmounted("Slate");
  const reader = await Plugged.in(evening.laptop, "early", card.image);
  await evening.untilMounted(card.label);
  await evening.settled();
  await reader.tearOff();
  await evening.untilUnmounted(card.label);
  await evening.plugDrive("Slate");
  await evening.settled();
  const { owed } = await evening.drive("Slate");
  must(owed.files === 0, `Slate is caught up from Blue; it owes ${owed.files} files`);
  await evening.mustBeClear(card);
  return ["caught up from the other drive"];
}
