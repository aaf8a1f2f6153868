/**
 * What each drive holds by day, the report on paper, a notice's way to its matter, and the locked page: a real browser,
 * the real daemon on practice folders. Tests follow each other through one evening.
 */

import { mkdirSync, renameSync } from "node:fs";
import { join } from "node:path";
import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { formatCautions } from "../../shared/cautions.ts";
import { generateCard, nextEvening, tinyCard } from "../cards/generate/card.ts";
import { Computer } from "../support/computer.ts";
import { faultsOf, hasBrowser, launch, open, type Shown, tooSmall, tooWideAt } from "./browser.ts";

describe.skipIf(!hasBrowser)("in a browser, what is where (needs chromium)", () => {
  const drives = ["Blue", "Slate", "Rust"];
  let computer: Computer;
  let browser: Browser;
  let shown: Shown;

  beforeAll(async () => {
    computer = new Computer();
    [browser] = await Promise.all([launch(), computer.start()]);
    for (const name of drives) mkdirSync(computer.at(name));
    await computer.introduce(...drives);
    await cardIn("ONE", tinyCard);
    renameSync(computer.at("Rust"), join(computer.aside, "Rust"));
    await cardIn("TWO", nextEvening(tinyCard));
    shown = await open(browser, computer, { at: "drives" });
  });
  afterAll(async () => {
    await browser?.close();
    await computer?.end();
  });

  async function cardIn(name: string, options: typeof tinyCard): Promise<void> {
    const drawer = join(computer.aside, "card");
    generateCard(drawer, options);
    renameSync(drawer, computer.at(name));
    await computer.settled();
  }

  /** The table's rows as text, its cells in one space each. */
  const rowsOf = async (region: string) => {
    const rows = shown.page.getByRole("region", { name: region }).getByRole("row");
    await rows.nth(1).waitFor();
    const texts = await rows.allInnerTexts();
    return texts.map((text) => text.replace(/\s+/g, " ").trim());
  };

  test("each day says which drive holds how much of it, and what is no frame stands last", async () => {
    const rows = await rowsOf("What each drive holds by day");
    expect(rows.slice(1, 3)).toEqual([
      "Thu 3 June 2027 9 frames, 2.1 MB 18 files, verified 18 files, verified 18 files, on a drive that isn't plugged in",
      "Fri 4 June 2027 9 frames, 2.1 MB 18 files, verified 18 files, verified 0 of 18 files, owed",
    ]);
    expect(rows[3]).toMatch(/^Files that are no frames 3 files/);
    expect(rows).toHaveLength(4);
  });

  test("the days follow by themselves when a drive comes back", async () => {
    renameSync(join(computer.aside, "Rust"), computer.at("Rust"));
    const rust = shown.page
      .getByRole("row", { name: /^Fri 4 June/ })
      .getByRole("cell")
      .last();
    await expect.poll(() => rust.textContent(), { timeout: 10_000 }).toBe("18 files, verified");
  });

  test("the report says the same on one sheet of paper, with nothing on it to click", async () => {
    renameSync(computer.at("Rust"), join(computer.aside, "Rust"));
    await shown.page.getByRole("link", { name: "Report of the trip, to print" }).click();
    await shown.page.getByRole("heading", { level: 1, name: "Kestrel Cliffs: what is where" }).waitFor();
    const lines = await rowsOf("Drives");
    expect(lines[1]).toMatch(/^Blue on me 39 files, 4\.2 MB nothing \d+ \w+, \d\d:\d\d$/);
    expect(lines).toHaveLength(1 + drives.length);
    await shown.page.getByText(formatCautions).waitFor();
    await rowsOf("What each drive holds by day");
    const paper = await shown.page.pdf({ preferCSSPageSize: true });
    // ISO 32000-1, 7.7.3.3: each page is an object of type Page.
    expect(paper.toString("latin1").match(/\/Type\s*\/Page\b/g)).toHaveLength(1);
    await shown.page.emulateMedia({ media: "print" });
    for (const what of ["button", "nav", "main a"])
      expect(await shown.page.locator(what).filter({ visible: true }).count()).toBe(0);
    await shown.page.emulateMedia({ media: null });
  });

  test.each([
    ["light", 1280],
    ["dark", 400],
  ] as const)(
    "axe finds nothing on either screen, nothing is too wide or too small: %s",
    async (colorScheme, width) => {
      for (const at of ["drives", "report"]) {
        const { page, context } = await open(browser, computer, { at, colorScheme, width });
        await page.getByRole("region", { name: "What each drive holds by day" }).waitFor();
        expect([at, await faultsOf(page), await tooWideAt(page), await tooSmall(page)]).toEqual([
          at,
          [],
          [],
          [],
        ]);
        await context.close();
      }
    },
  );

  test("a notice's link leads to its matter, which has the focus", async () => {
    await cardIn("THREE", nextEvening(nextEvening(tinyCard)));
    const missing = await computer.alert("drive-missing");
    const at = `evening/drive-missing/${encodeURIComponent(missing?.about ?? "")}`;
    const { page, context } = await open(browser, computer, { at });
    await page
      .getByText(/Rust is not plugged in/)
      .first()
      .waitFor();
    const focused = await page.evaluate<string>("document.activeElement.textContent");
    expect(focused).toContain("Rust is not plugged in");
    expect(page.url()).not.toContain("ticket");
    await context.close();
  });

  test("a session that isn't known any more: the page is locked and says how to open it", async () => {
    const before = shown.complaints.length;
    await computer.stop();
    await shown.page.getByText("The daemon doesn't answer.").waitFor();
    // Sessions end with their daemon; another one at this port would answer so.
    await shown.page.route("**/v1/**", (route) => route.fulfill({ status: 401, json: {} }));
    await shown.page.getByRole("heading", { level: 1, name: "This page is locked." }).waitFor();
    expect(await faultsOf(shown.page)).toEqual([]);
    expect(await shown.page.textContent("main")).toContain("scrubjay open");
    // What the browser says of a line that broke and of a refusal.
    shown.complaints.splice(before);
  });

  test("nothing was complained of, and nothing but the daemon was asked", () => {
    expect(shown.complaints).toEqual([]);
    const own = new URL(shown.link).origin;
    expect(shown.asked.filter((address) => !address.startsWith(`${own}/`))).toEqual([]);
  });
});
