/**
 * The page as a person meets it: a real browser, the real daemon on practice folders. Tests follow each other through
 * one evening, since that is what the page shows. Nothing is asked of the daemon's insides.
 */

import {
  mkdirSync,
  readFileSync,
  renameSync,
  rmSync,
  truncateSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { dirname, join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { formatCautions } from "../../shared/cautions.ts";
import { generateCard, nextEvening, tinyCard } from "../cards/generate/card.ts";
import { Computer } from "../support/computer.ts";
import { faultsOf, hasBrowser, launch, open, type Shown, tooSmall, tooWideAt } from "./browser.ts";

/** A drive's name and a card's label that try to be more than names: HTML, and a mark that turns the reading direction. */
const hostileDrive = "<img src=x onerror=alert(1)>";
const hostileCard = "AL\u202eDINE";
const screens = ["This evening", "Drives", "What happened"] as const;

describe.skipIf(!hasBrowser)("in a browser (needs chromium)", () => {
  let computer: Computer;
  let browser: Browser;
  let shown: Shown;

  beforeAll(async () => {
    computer = new Computer();
    [browser] = await Promise.all([launch(), computer.start()]);
    shown = await open(browser, computer);
  });
  afterAll(async () => {
    await browser?.close();
    await computer?.end();
  });

  const go = async (page: Page, screen: (typeof screens)[number]) => {
    await page.getByRole("link", { name: screen, exact: true }).click();
    await page.locator("nav a[aria-current]", { hasText: screen }).waitFor();
  };
  const says = (text: string | RegExp) => shown.page.getByText(text).first().waitFor();
  const headline = (text: string | RegExp) =>
    shown.page.getByRole("heading", { level: 1, name: text }).waitFor();

  test("before anything there is a sentence that says what to do first", async () => {
    await headline(/nothing|no trip/i);
    expect(await shown.page.title()).toBe("This evening · Scrubjay");
    await go(shown.page, "Drives");
    await headline("No drive is known yet.");
    await go(shown.page, "This evening");
  });

  test("a link is good once, and a session is good for its browser only", async () => {
    const context = await browser.newContext();
    const stranger = await context.newPage();
    expect((await stranger.goto(shown.link))?.status()).toBe(401);
    expect(await stranger.textContent("body")).toContain("used already");
    expect((await stranger.goto(new URL("/", shown.link).href))?.status()).toBe(401);
    expect(await stranger.textContent("h1")).toBe("This page is locked.");
    expect(await stranger.textContent("body")).toContain("scrubjay open");
    await context.close();
    expect((await shown.page.reload())?.status()).toBe(200);
    await shown.page.getByRole("heading", { level: 1 }).waitFor();
  });

  test("drives that are introduced appear by themselves", async () => {
    for (const name of ["Blue", "Slate", "Third"]) mkdirSync(computer.at(name));
    await computer.introduce("Blue", "Slate");
    await computer.must("drive", "add", computer.at("Third"), "--name", hostileDrive);
    await go(shown.page, "Drives");
    for (const name of ["Blue", "Slate", hostileDrive])
      await shown.page.getByRole("heading", { level: 2, name, exact: true }).waitFor();
    await go(shown.page, "This evening");
  });

  test("work waits and goes on by the page's buttons", async () => {
    await computer.must("pause");
    const drawer = join(computer.aside, "card");
    generateCard(drawer, tinyCard);
    renameSync(drawer, computer.at(hostileCard));
    await shown.page.getByRole("button", { name: "Go on with the work" }).press("Enter");
    await shown.page.getByRole("cell", { name: "may be formatted" }).waitFor();
    expect((await computer.status()).paused ?? false).toBe(false);
  });

  test("a card that went in is shown as it is: who holds it, that it may be formatted, and what to mind", async () => {
    await computer.settled();
    await headline("Everything is safe.");
    const row = shown.page.getByRole("row", { name: /^Card 1/ });
    expect((await row.getByRole("cell").allInnerTexts()).map((text) => text.replace(/\s+/g, " "))).toEqual([
      "20 verified",
      "20 verified",
      "may be formatted",
    ]);
    await says(formatCautions);
  });

  test("a drive that goes is said to be missing, and not any more when it is back", async () => {
    renameSync(computer.at("Slate"), join(computer.aside, "Slate"));
    await says(/not here since/);
    const drawer = join(computer.aside, "card");
    generateCard(drawer, nextEvening(tinyCard));
    renameSync(drawer, computer.at("SECOND"));
    await headline("Not everything is safe yet.");
    await says(/Slate is not plugged in/);
    await shown.page.getByRole("cell", { name: /keep this card/ }).waitFor();
    renameSync(join(computer.aside, "Slate"), computer.at("Slate"));
    await headline("Everything is safe.");
    await shown.page.getByText(/Slate is not plugged in/).waitFor({ state: "detached" });
  });

  test("while there is work it can be told to wait", async () => {
    const drawer = join(computer.aside, "card");
    generateCard(drawer, { ...nextEvening(nextEvening(tinyCard)), pairsPerBody: 48 });
    renameSync(drawer, computer.at("THIRD"));
    await shown.page.getByRole("button", { name: "Let the work wait" }).click();
    await shown.page.getByRole("button", { name: "Go on with the work" }).waitFor();
    expect((await computer.status()).paused).toBe(true);
    await shown.page.getByRole("button", { name: "Go on with the work" }).click();
    await headline("Everything is safe.");
  });

  test("a file that is damaged is named, and let go by whoever knows of it", async () => {
    const drawer = join(computer.aside, "card");
    const options = { ...nextEvening(nextEvening(nextEvening(tinyCard))), firstNumber: 700 };
    const picture = generateCard(drawer, options).find(({ path }) => path.endsWith(".JPG"));
    if (picture === undefined) throw new Error("no picture on the card");
    truncateSync(join(drawer, picture.path), Math.floor(picture.bytes / 2));
    renameSync(drawer, computer.at("FOURTH"));
    await shown.page.getByRole("cell", { name: /1 file damaged/ }).waitFor();
    await shown.page.getByRole("listitem").getByText(picture.path).waitFor();
    await shown.page.getByRole("button", { name: "I know, let it go" }).click();
    await headline("Everything is safe.");
  });

  test("a card that fits no trip is put to one by a button, and ejected by another when it is done", async () => {
    const drawer = join(computer.aside, "card");
    const picture = join(drawer, "DCIM/100ALDIN/ALD_0009.PNG");
    mkdirSync(dirname(picture), { recursive: true });
    writeFileSync(picture, "a picture of another year");
    utimesSync(picture, new Date("2026-01-01T12:00:00Z"), new Date("2026-01-01T12:00:00Z"));
    renameSync(drawer, computer.at("FIFTH"));
    await shown.page.getByRole("button", { name: /^It belongs to Kestrel Cliffs, 2027-06-03/ }).click();
    await headline("Everything is safe.");
    await shown.page.getByRole("button", { name: "Eject card 5" }).click();
    await shown.page.getByRole("row", { name: /^Card 5/ }).waitFor({ state: "detached" });
  });

  test("a drive says where it is and what it holds, and when it may be unplugged", async () => {
    await go(shown.page, "Drives");
    const blue = shown.page.getByRole("region", { name: "Blue" });
    expect(await blue.textContent()).toMatch(/primary[\s\S]*\d+ files, [\d.]+ MB/);
    rmSync(computer.at("Third"), { recursive: true });
    const third = shown.page.getByRole("region", { name: hostileDrive });
    await third.getByText(/not here/).waitFor();
    expect(await third.getByRole("button").count()).toBe(0);
    await blue.getByRole("button", { name: "Eject Blue" }).click();
    await blue.getByText("Blue may be unplugged.").waitFor();
  });

  test("what the daemon refuses is said in its own words, as text", async () => {
    const error = {
      message: "Slate is being read.",
      next: "<b>Wait</b>, then `scrubjay eject Slate`.",
      exit: 75,
    };
    await shown.page.route("**/v1/eject", (route) => route.fulfill({ status: 422, json: { error } }));
    await shown.page.getByRole("button", { name: "Eject Slate" }).click();
    const refusal = shown.page.getByRole("alert");
    expect(await refusal.textContent()).toBe("Slate is being read. <b>Wait</b>, then scrubjay eject Slate.");
    await shown.page.unroute("**/v1/eject");
    expect(shown.complaints.splice(0)).toEqual([expect.stringContaining("422")]);
  });

  test("what happened is listed, latest first, by kind if wished, and can be kept as CSV", async () => {
    await go(shown.page, "What happened");
    const rows = shown.page.locator("tr.event");
    await rows.first().waitFor();
    const all = await rows.count();
    await shown.page.getByLabel("About").selectOption("card");
    const cards = await rows.allInnerTexts();
    expect(cards.length).toBeGreaterThan(2);
    expect(cards.length).toBeLessThan(all);
    // The first card's label, with its mark made visible.
    expect(cards.join("\n")).toContain("AL\\u{202e}DINE");
    const download = shown.page.waitForEvent("download");
    await shown.page.getByRole("button", { name: "Save as CSV" }).click();
    const kept = readFileSync(await (await download).path(), "utf8").split("\r\n");
    expect(kept).toHaveLength(cards.length + 2);
    expect(kept[0]).toBe("number,at,kind,text");
    await shown.page.getByLabel("About").selectOption("");
    await shown.page.getByRole("button", { name: "Earlier" }).click();
    await says("Nothing is known from before.");
  });

  test.each(["light", "dark"] as const)(
    "axe finds nothing to complain of on any screen: %s",
    async (scheme) => {
      const { context, page, complaints } = await open(browser, computer, {
        colorScheme: scheme,
        width: scheme === "light" ? 1280 : 400,
      });
      for (const screen of screens) {
        await go(page, screen);
        if (screen === "What happened") await page.locator("tbody tr").first().waitFor();
        expect([screen, await faultsOf(page)]).toEqual([screen, []]);
      }
      expect(complaints).toEqual([]);
      await context.close();
    },
  );

  test("Tab reaches every link and button, and none is smaller than a fingertip", async () => {
    for (const screen of screens) {
      await go(shown.page, screen);
      await shown.page.reload();
      await shown.page.getByRole("heading", { level: 1 }).waitFor();
      if (screen === "What happened") await shown.page.getByRole("button", { name: "Earlier" }).waitFor();
      const choices = shown.page.getByRole("link").or(shown.page.getByRole("button"));
      const reached = new Set<string>();
      // What a screen holds may still be arriving: it is counted anew before each press, and at the end.
      for (let presses = 0; presses < (await choices.count()) + 5; presses += 1) {
        await shown.page.keyboard.press("Tab");
        reached.add(
          await shown.page.evaluate<string>(
            "document.activeElement.matches('a, button') ? document.activeElement.textContent : ''",
          ),
        );
      }
      reached.delete("");
      expect([screen, reached.size]).toEqual([screen, await choices.count()]);
      expect([screen, await tooSmall(shown.page)]).toEqual([screen, []]);
    }
  });

  test("nothing is wider than a window of 400 or 1600 pixels", async () => {
    for (const screen of screens) {
      await go(shown.page, screen);
      expect([screen, await tooWideAt(shown.page)]).toEqual([screen, []]);
    }
  });

  test("when the daemon stops the page says so", async () => {
    const before = shown.complaints.length;
    await computer.stop();
    await says("The daemon doesn't answer.");
    shown.complaints.splice(before); // The browser complains of a line that broke.
  });

  test("names stand as text, and nothing but the daemon was ever asked", () => {
    expect(shown.complaints).toEqual([]);
    expect(shown.asked.length).toBeGreaterThan(20);
    const own = new URL(shown.link).origin;
    expect(
      shown.asked.filter((address) => !address.startsWith(`${own}/`) && !address.startsWith(`blob:${own}/`)),
    ).toEqual([]);
  });
});
