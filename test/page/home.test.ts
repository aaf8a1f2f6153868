/**
 * Bringing a trip home as a person meets it: a real browser on the real API, which tells documents made by hand. What is
 * missing keeps every drive; what is home frees them one by one, asked twice. With SCRUBJAY_PICTURES=1 screens are kept in
 * `pictures/`.
 */

import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import type { Browser, Locator, Page } from "playwright-core";
import sharp from "sharp";
import { afterAll, beforeAll, beforeEach, describe, expect, test } from "vitest";
import type { ReceiptJson } from "../../shared/homeApi.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { faultsOf, hasBrowser, launch, open, type Shown, tooSmall, tooWideAt } from "./browser.ts";
import {
  complete,
  homeState,
  hostileDrive,
  hostilePath,
  incomplete,
  rehearsed,
  status,
  type ToldDaemon,
  tellingDaemon,
} from "./tripHome.ts";

const pictures = fileURLToPath(new URL("pictures", import.meta.url));
const keepPictures = process.env["SCRUBJAY_PICTURES"] === "1";

describe.skipIf(!hasBrowser)("coming home in a browser (needs chromium)", () => {
  let browser: Browser;
  let daemon: ToldDaemon;
  let shown: Shown;
  let page: Page;

  beforeAll(async () => {
    [browser, daemon] = await Promise.all([launch(), tellingDaemon()]);
    shown = await open(browser, daemon.links, { at: "home" });
    page = shown.page;
  });
  afterAll(async () => {
    await browser?.close();
    await daemon?.close();
  });
  beforeEach(() => {
    daemon.face.asked.length = 0;
    daemon.face.statusAnswer = status;
  });

  const show = async (receipt: ReceiptJson | null) => {
    daemon.home = homeState(receipt);
    await page.reload();
    await page.locator("h1").waitFor();
    await page.locator(".places").waitFor();
  };
  const textOf = async (of: Locator) => (await of.allInnerTexts()).join().replace(/\s+/g, " ");
  const text = () => textOf(page.locator("main"));
  const button = (name: string | RegExp) => page.getByRole("button", { name });
  const asked = () => daemon.face.asked.filter((each) => /^(begin|stop|retire)/.test(each));

  test("where home isn't said, what to write into the profile is, and the way to it", async () => {
    daemon.home = { ...homeState(null), archive: null };
    await page.reload();
    await page.getByText("The profile doesn't say where home is.").waitFor();
    expect(await text()).toContain('archive: { folder: /archive, tree: "{taken:yyyy}/{trip}" }');
    expect(await page.getByRole("link", { name: "To the trips" }).getAttribute("href")).toBe("#trips");
    expect(await button(/home|Rehearse/).count()).toBe(0);
    // A folder that is named here does without.
    await page.getByLabel("Into another folder, this once").fill("/elsewhere");
    await button("Rehearse").click();
    await expect
      .poll(asked)
      .toEqual([
        `begin ${JSON.stringify({ trip: status.trip?.id, to: "/elsewhere", rehearsal: true, history: false })}`,
      ]);
  });

  test("another folder is taken this once, and empty it is where home is", async () => {
    await show(null);
    await page.getByLabel("Into another folder, this once").fill("/mnt/attic disk");
    await button("Bring the trip home").click();
    await expect.poll(asked).toHaveLength(1);
    expect(asked()[0]).toContain('"to":"/mnt/attic disk"');
    await show(null);
    expect(await page.getByLabel("Into another folder, this once").inputValue()).toBe("");
  });

  test("it says where home is and which drives are in", async () => {
    await show(null);
    expect(await page.title()).toBe("Home · Scrubjay");
    expect(await page.locator("h1").textContent()).toBe("Kestrel Cliffs isn't home yet.");
    expect(await text()).toContain("/archive, below it as {taken:yyyy}/{trip}");
    expect(await text()).toContain("/media/anna/Far shelf/archive");
    expect(await text()).toMatch(/Blue is in Slate is in .*Rust isn't here since 08:10/);
    expect(await page.locator("button.main").allInnerTexts()).toEqual(["Bring the trip home"]);
  });

  test("a rehearsal and the real thing are asked for as they are, with history only if wished", async () => {
    await show(null);
    await button("Rehearse").press("Enter");
    await expect
      .poll(asked)
      .toEqual([`begin ${JSON.stringify({ trip: status.trip?.id, rehearsal: true, history: false })}`]);
    daemon.face.asked.length = 0;
    await show(null);
    await page.getByLabel("Take earlier versions of work files along").check();
    await button("Bring the trip home").click();
    await expect
      .poll(asked)
      .toEqual([`begin ${JSON.stringify({ trip: status.trip?.id, rehearsal: false, history: true })}`]);
  });

  test("while it runs it says how far it is, and stops when asked; then its receipt comes by itself", async () => {
    daemon.face.statusAnswer = {
      ...status,
      work: [
        {
          kind: "homecoming",
          from: "Blue",
          to: ["/archive"],
          doneBytes: 52_000_000_000,
          totalBytes: 100_000_000_000,
          bytesPerSecond: 210_000_000,
          secondsLeft: 240,
        },
      ],
    };
    daemon.home = { ...homeState(null), running: true };
    await page.reload();
    await page.getByRole("heading", { name: "Kestrel Cliffs is coming home …" }).waitFor();
    await page.getByText(/Bringing home from Blue to \/archive: 52 %.*4 min left/).waitFor();
    expect(await button(/Bring the trip home/).count()).toBe(0);
    await button("Stop").click();
    await expect.poll(asked).toEqual(["stop"]);
    daemon.home = homeState({ ...incomplete, stopped: "It was stopped after 52 GB." });
    await page.getByText("It was stopped after 52 GB.").waitFor();
  });

  test("when something is missing it is named with where it was last seen, and no drive may be reused", async () => {
    await show(incomplete);
    expect(await page.locator("h1").textContent()).toBe(incomplete.headline);
    const all = await text();
    expect(all).not.toMatch(/may be reused/i);
    expect(all).toContain("Missing (60)");
    expect(all).toContain(`${hostilePath}, a frame, 52 MB; last seen on ${hostileDrive}, Sun 6 June, 22:41`);
    expect(all).toContain("Frames 6,433 6,403 30 missing");
    expect(all).toContain("perhaps from a cache");
    expect(await button(/^Free/).count()).toBe(0);
    expect(await page.locator("ul.files").first().getByRole("listitem").count()).toBe(50);
    await button("Show all 60: Missing").click();
    expect(await page.locator("ul.files").first().getByRole("listitem").count()).toBe(60);
  });

  test("the headline is the largest text, and the receipt says what was found, where and how verified", async () => {
    await show(complete);
    const size = (what: string) =>
      page.evaluate<number>(`parseFloat(getComputedStyle(document.querySelector("${what}")).fontSize)`);
    expect(await size("h1")).toBeGreaterThan(await size("h2"));
    const all = await text();
    for (const said of [
      "Read back past this computer's cache.",
      "/archive/2027/Kestrel Cliffs receipt.html",
      "12,800 files (636 GB) copied; 67 files (4 GB) there already",
      "212 work files, with 40 earlier versions of them",
      "A good copy of another drive was taken.",
      "B0417.NEF: it ends before its last strip",
      "The trip's own stands as Notes (2).txt",
      "A0422.NEF stands as best/cliff.NEF",
      "Blue's version of Sun 6 June, 20:58 is in place.",
    ])
      expect(all).toContain(said);
  });

  test("a drive is freed only where the receipt allows it, asked twice, with the cautions beside", async () => {
    await show(complete);
    expect(await text()).toContain("Blue may be reused.");
    expect(await text()).toContain(complete.cautions);
    expect(await text()).toContain(`${hostileDrive} must be kept. It wasn't in`);
    expect(await page.getByRole("button", { name: /^Free/ }).allInnerTexts()).toEqual([
      "Free Blue of this trip …",
    ]);
    await button("Free Blue of this trip …").press("Enter");
    await page.getByText("This can't be undone.").waitFor();
    expect(asked()).toEqual([]);
    await button("Leave it as it is").click();
    expect(await page.evaluate("document.activeElement.textContent")).toBe("Free Blue of this trip …");
    expect(asked()).toEqual([]);
    await button("Free Blue of this trip …").press("Enter");
    await button("Free Blue now").press("Enter");
    await page.getByText("Blue is freed of the trip").waitFor();
    expect(asked()).toEqual(["retire Blue"]);
    expect(await button(/^Free/).count()).toBe(0);
  });

  test("after a rehearsal nothing is said to be done and no drive can be freed, whatever else it says", async () => {
    await show({ ...rehearsed, complete: true, drives: complete.drives });
    expect(await text()).toContain("This was a rehearsal: nothing was written.");
    expect(await text()).toContain("All that was found would stand there.");
    expect(await button(/^Free/).count()).toBe(0);
    expect(await page.locator("button.main").allInnerTexts()).toEqual(["Bring the trip home"]);
  });

  test("what the daemon refuses is said in its own words", async () => {
    await show(null);
    const begin = daemon.face.home.begin;
    Object.assign(daemon.face.home, {
      begin: async () => {
        throw new UserMistake("/archive is an empty mount point.", "Mount the archive, then try again.");
      },
    });
    await button("Bring the trip home").click();
    await page.getByText("/archive is an empty mount point. Mount the archive, then try again.").waitFor();
    Object.assign(daemon.face.home, { begin });
    expect(shown.complaints.splice(0)).toEqual([expect.stringContaining("422")]);
  });

  test("on paper stands the receipt with nothing to click", async () => {
    await show(complete);
    await page.emulateMedia({ media: "print" });
    expect(await button(/./).count()).toBe(0);
    expect(await page.locator("nav").isVisible()).toBe(false);
    expect(await page.getByText(complete.headline).isVisible()).toBe(true);
    const paper = await page.pdf({ preferCSSPageSize: true });
    // ISO 32000-1, 7.7.3.3: each page is an object of type Page.
    const pages = paper.toString("latin1").match(/\/Type\s*\/Page\b/g)?.length;
    expect(pages).toBeLessThanOrEqual(3);
    await page.emulateMedia({ media: "screen" });
  });

  test.each([
    ["none", null],
    ["incomplete", incomplete],
    ["complete", complete],
  ] as const)("axe, keys, fingertips and widths: %s", async (name, receipt) => {
    for (const [width, colorScheme] of [
      [1280, "light"],
      [400, "dark"],
      [1280, "dark"],
      [400, "light"],
    ] as const) {
      await page.setViewportSize({ width, height: 850 });
      await page.emulateMedia({ colorScheme });
      await show(receipt);
      expect([width, colorScheme, await faultsOf(page)]).toEqual([width, colorScheme, []]);
      if (keepPictures && (width === 400) === (colorScheme === "dark")) {
        const small = sharp(await page.screenshot()).png({ palette: true, colours: 32, compressionLevel: 9 });
        writeFileSync(join(pictures, `home-${name}-${width}-${colorScheme}.png`), await small.toBuffer());
      }
      const looks = process.env["SCRUBJAY_LOOK"];
      if (looks !== undefined)
        await page.screenshot({
          path: join(looks, `home-${name}-${width}-${colorScheme}.png`),
          fullPage: true,
        });
    }
    await page.setViewportSize({ width: 1280, height: 800 });
    await page.emulateMedia({ colorScheme: "light" });
    expect(await tooSmall(page)).toEqual([]);
    expect(await tooWideAt(page)).toEqual([]);
    const choices = page.locator("a, button, input");
    const reached = new Set<string>();
    for (let presses = 0; presses < (await choices.count()) + 12; presses += 1) {
      await page.keyboard.press("Tab");
      reached.add(
        await page.evaluate<string>(
          "document.activeElement.matches('a, button, input') ? document.activeElement.outerHTML : ''",
        ),
      );
    }
    reached.delete("");
    expect(reached.size).toBe(await choices.count());
  });

  test("names stand as text, and nothing but the daemon was ever asked", () => {
    expect(shown.complaints).toEqual([]);
    expect(printable(hostilePath, 1_000)).toBe(hostilePath);
    const own = new URL(shown.link).origin;
    expect(shown.asked.filter((address) => !address.startsWith(`${own}/`))).toEqual([]);
  });
});
