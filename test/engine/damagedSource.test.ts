/** Files that are damaged as the card gives them: copied as they are, said, and the card kept until someone knows. */

import { readFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { cardsJson } from "../../daemon/engine/cardBoard.ts";
import { acceptDamage } from "../../daemon/engine/declare.ts";
import type { CardId } from "../../shared/identity.ts";
import { profileText } from "../cards/generate/card.ts";
import { encodeJpeg } from "../cards/generate/jpeg.ts";
import { type Bench, makeBench, type Wrap } from "./bench.ts";
import { FaultyFiles } from "./faultyFiles.ts";
import { alertCodes, away, back, cardOf, layCard } from "./pictures.ts";

let bench: Bench;
afterEach(async () => bench.end());

const jpeg = encodeJpeg({ width: 64, height: 48, data: Buffer.alloc(64 * 48 * 4, 127) }, 80);
const half = jpeg.subarray(0, jpeg.length / 2);
const picture = (nth: number) => `DCIM/100ABCDE/ABCD000${nth}.JPG`;

async function ready(wrap?: Wrap): Promise<void> {
  bench = await makeBench(wrap);
  bench.trip(profileText({ drives: ["Blue", "Slate"], copies: 2 }));
  for (const drive of ["Blue", "Slate"]) await bench.drive(drive);
}

async function putIn(content: Readonly<Record<string, Uint8Array>>): Promise<void> {
  layCard(bench, "CARD", content);
  await back(bench, "CARD");
}

const damageAlert = () => statusJson(bench.engine).alerts.find((alert) => alert.code === "damaged-source");

test("a frame that is cut short is copied as it is, said, and keeps the card until it is accepted", async () => {
  await ready();
  await putIn({ [picture(1)]: jpeg, [picture(2)]: half });
  const copy = join(bench.practice, "Blue/Kestrel Cliffs/2027-06-05/KC-20270605-X0002.JPG");
  expect(readFileSync(copy).equals(half)).toBe(true);
  const card = cardOf(bench, "CARD");
  expect(card.clear).toBe(false);
  expect(card.verdict).toBe("Keep card 1: 1 file is damaged on the card itself.");
  expect(card.damaged).toMatchObject([{ path: picture(2), accepted: false }]);
  expect(card.lacking).toMatchObject([{ path: picture(2), verified: 2, goal: 2 }]);
  expect(damageAlert()?.text).toContain(`1 file of card 1 is damaged as the card gives it: ${picture(2)}`);
  expect(statusJson(bench.engine).headline).toBe("Not everything is safe yet.");

  acceptDamage(bench.engine, card.id as CardId, picture(2));
  await bench.idle();
  expect(cardOf(bench, "CARD").clear).toBe(true);
  expect(cardOf(bench, "CARD").damaged).toMatchObject([{ path: picture(2), accepted: true }]);
  expect(alertCodes(bench)).toEqual([]);
});

test("an empty frame is damaged as well", async () => {
  await ready();
  await putIn({ [picture(1)]: new Uint8Array() });
  expect(cardOf(bench, "CARD").damaged).toMatchObject([{ path: picture(1), why: "it is empty" }]);
});

test("it is said as long as the card may still be read elsewhere, in or out, after a restart too", async () => {
  await ready();
  await putIn({ [picture(1)]: half });
  await away(bench, "CARD");
  expect(alertCodes(bench)).toContain("damaged-source");
  await bench.restart();
  await bench.idle();
  expect(alertCodes(bench)).toContain("damaged-source");
  await back(bench, "CARD");
  expect(cardOf(bench, "CARD").clear).toBe(false);
});

test("what was accepted is known for this file on this card: the same name with other bytes is looked at anew", async () => {
  await ready();
  await putIn({ [picture(1)]: half });
  acceptDamage(bench.engine, cardOf(bench, "CARD").id as CardId, picture(1));
  await away(bench, "CARD");
  layCard(bench, "CARD", { [picture(1)]: jpeg.subarray(0, jpeg.length / 3) });
  await back(bench, "CARD");
  expect(cardOf(bench, "CARD").clear).toBe(false);
  expect(damageAlert()?.text).toContain(picture(1));
});

test("only what is damaged can be accepted; the refusals say what to look at", async () => {
  await ready();
  await putIn({ [picture(1)]: jpeg });
  const id = cardOf(bench, "CARD").id as CardId;
  expect(() => acceptDamage(bench.engine, id, picture(1))).toThrow("Nothing is known to be wrong");
  expect(() => acceptDamage(bench.engine, id, picture(9))).toThrow(`Card 1 has no file ${picture(9)}.`);
});

/** Blue spoils what it is given so often; the card gives other bytes from the second reading of the file on, so often. */
function doubtful(spoilt: number, otherReadings: number): Wrap {
  let spoil = spoilt;
  let readings = 0;
  return (ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      spoil: (path, part) => {
        if (!path.includes("/Blue/") || spoil === 0) return part;
        spoil -= 1;
        return Uint8Array.from(part, (value) => value ^ 1);
      },
      seen: (path, part) => {
        if (!path.includes("/CARD/") || !path.endsWith("0001.JPG") || part.length < jpeg.length) return;
        readings += 1;
        if (readings > 1 && readings <= 1 + otherReadings) part[jpeg.length - 20] = 0x55;
      },
    }),
  });
}

test("a copy that a drive can't verify is read from the card again: the readings agree, and it is made good", async () => {
  await ready(doubtful(1, 0));
  await putIn({ [picture(1)]: jpeg });
  expect(cardOf(bench, "CARD").clear).toBe(true);
  expect(alertCodes(bench)).toEqual([]);
});

test("one reading that differs is outvoted by the next ones", async () => {
  await ready(doubtful(1, 1));
  await putIn({ [picture(1)]: jpeg });
  expect(cardOf(bench, "CARD").clear).toBe(true);
  expect(alertCodes(bench)).toEqual([]);
});

test("a file that the card reads differently again and again is caught: the card is kept, and it is said", async () => {
  await ready(doubtful(1, 100));
  await putIn({ [picture(1)]: jpeg });
  const [card] = cardsJson(bench.engine);
  expect(card?.clear).toBe(false);
  expect(card?.damaged).toMatchObject([
    { path: picture(1), why: "it reads differently from one time to the next", accepted: false },
  ]);
  expect(alertCodes(bench)).toEqual(expect.arrayContaining(["damaged-source", "read-error"]));
});
