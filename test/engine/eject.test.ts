/** Ejecting: what is ejected is out of use, what is being written isn't, and a finished card goes by itself if wished. */

import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { cardsJson } from "../../daemon/engine/cardBoard.ts";
import { UserMistake } from "../../shared/problems.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Bench, makeBench, tree } from "./bench.ts";
import { FaultyFiles } from "./faultyFiles.ts";

let bench: Bench;
afterEach(async () => bench.end());

const profile = profileText({ drives: ["Blue", "Slate"], copies: 2 });

function putInCard(): void {
  for (const nth of [1, 2, 3]) {
    const at = join(bench.aside, `CARD/DCIM/100ABCDE/ABCD000${nth}.PNG`);
    mkdirSync(join(at, ".."), { recursive: true });
    writeFileSync(at, `picture ${nth}`);
  }
  bench.plugIn("CARD");
}

async function ready(text = profile): Promise<void> {
  bench = await makeBench();
  // The pictures are of now, so the trip is of now as well.
  bench.trip(text.replace(/from: .*/, "from: 2020-01-01").replace(/to: .*/, "to: 2099-12-31"));
  await bench.drive("Blue");
  await bench.drive("Slate");
}

test("a drive that is ejected is out of use until it was pulled and comes again", async () => {
  await ready();
  expect(await bench.engine.eject("slate")).toMatchObject({ name: "Slate", kind: "drive" });
  putInCard();
  await bench.idle();
  expect(statusJson(bench.engine).drives.map((drive) => [drive.name, drive.present])).toEqual([
    ["Blue", true],
    ["Slate", false],
  ]);
  expect([...tree(join(bench.practice, "Slate")).keys()].some((path) => path.endsWith(".PNG"))).toBe(false);
  bench.takeOut("Slate");
  await bench.idle();
  bench.plugIn("Slate");
  await bench.idle();
  expect(cardsJson(bench.engine)[0]?.clear).toBe(true);
});

test.each(["card 1", "Card 1", "CARD"])("a card is ejected by the name people see: %s", async (name) => {
  await ready();
  putInCard();
  await bench.idle();
  expect(await bench.engine.eject(name)).toMatchObject({ name: "Card 1", kind: "card" });
  expect(cardsJson(bench.engine)[0]).toMatchObject({ present: false, clear: true });
});

test("what nobody is called can't be ejected, and the answer says what to look at", async () => {
  await ready();
  const refusal = bench.engine.eject("Granite\u001b[2J");
  await expect(refusal).rejects.toBeInstanceOf(UserMistake);
  await expect(refusal).rejects.toMatchObject({
    exit: 64,
    message: "Nothing that is plugged in is called Granite\\u{1b}[2J.",
  });
});

test("a drive that is being written is refused, and so is the card that is being read; both end well", async () => {
  const refused: unknown[] = [];
  let asked = false;
  bench = await makeBench((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: async (operation, path) => {
        if (asked || operation !== "write" || !path.includes("/Slate/")) return;
        asked = true;
        for (const name of ["Slate", "card 1"])
          await bench.engine.eject(name).catch((refusal: unknown) => refused.push(refusal));
      },
    }),
  }));
  bench.trip(profile.replace(/from: .*/, "from: 2020-01-01").replace(/to: .*/, "to: 2099-12-31"));
  await bench.drive("Blue");
  await bench.drive("Slate");
  putInCard();
  await bench.idle();
  expect(refused).toMatchObject([
    { exit: 1, message: "Slate is being written. Nothing was interrupted." },
    { exit: 1, message: "Card 1 is being read. Nothing was interrupted." },
  ]);
  expect(cardsJson(bench.engine)[0]?.clear).toBe(true);
});

test("with `after: { eject-card: true }` a card that is clear is ejected by itself, and the notice says so", async () => {
  await ready(`${profile}after: { eject-card: true }\n`);
  putInCard();
  await bench.idle();
  await bench.idle();
  expect(cardsJson(bench.engine)[0]).toMatchObject({ present: false, clear: true });
  expect(bench.notices.at(-1)?.title).toBe("Card 1 may be formatted");
  expect(bench.notices.at(-1)?.body).toMatch(/It may be taken out\.$/);
});

test("a card that isn't clear stays in, whatever the profile says", async () => {
  await ready(`${profile}after: { eject-card: true }\n`);
  await bench.engine.eject("Slate");
  putInCard();
  await bench.idle();
  await bench.idle();
  expect(cardsJson(bench.engine)[0]).toMatchObject({ present: true, clear: false });
});
