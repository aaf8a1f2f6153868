/**
 * Work files as a person meets them: a real browser on the real API, which tells documents made by hand. Conflicts with
 * what differs, versions and putting one back, long and hostile paths. With SCRUBJAY_PICTURES=1 screens are kept in
 * `pictures/`.
 */

import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import type { Browser, Locator, Page } from "playwright-core";
import sharp from "sharp";
import { afterAll, beforeAll, beforeEach, describe, expect, test } from "vitest";
import type { EditsStatusJson } from "../../shared/editsApi.ts";
import { faultsOf, hasBrowser, launch, open, type Shown, tooSmall, tooWideAt } from "./browser.ts";
import {
  conflict,
  edits,
  hostileDrive,
  hostilePath,
  status,
  type ToldDaemon,
  tellingDaemon,
  workFiles,
} from "./tripHome.ts";

const pictures = fileURLToPath(new URL("pictures", import.meta.url));
const keepPictures = process.env["SCRUBJAY_PICTURES"] === "1";

describe.skipIf(!hasBrowser)("work files in a browser (needs chromium)", () => {
  let browser: Browser;
  let daemon: ToldDaemon;
  let shown: Shown;
  let page: Page;

  beforeAll(async () => {
    [browser, daemon] = await Promise.all([launch(), tellingDaemon()]);
    shown = await open(browser, daemon.links, { at: "evening" });
    page = shown.page;
  });
  afterAll(async () => {
    await browser?.close();
    await daemon?.close();
  });
  beforeEach(() => {
    daemon.face.asked.length = 0;
  });

  const told = () => daemon.edits;
  const show = async (at = "edits", changes: Partial<EditsStatusJson> = {}) => {
    const now = { ...edits, ...changes };
    daemon.edits = { ...told(), edits: now, conflicts: now.conflicts === 0 ? [] : [conflict] };
    daemon.face.statusAnswer = { ...status, edits: now };
    const address = new URL(`/#${at}`, shown.link).href;
    await page.goto(address);
    await page.reload();
    await page.locator(".edits h1").waitFor();
  };
  const textOf = async (of: Locator) => (await of.allInnerTexts()).join().replace(/\s+/g, " ");
  const text = () => textOf(page.locator("main"));
  const asked = () => daemon.face.asked.filter((each) => /^(restore|seen)/.test(each));

  test("the board has a row of them, and its alert leads to both versions", async () => {
    const row = page.getByRole("row", { name: /^your edits/ });
    expect((await row.getByRole("cell").allInnerTexts()).map((each) => each.replace(/\s+/g, " "))).toEqual([
      "212 verified",
      "200 partly verified",
      "187 on a drive that isn't plugged in",
      `1 changed on two drives apart; 12 newer than on Slate, 25 than on ${hostileDrive}; waiting: Catalogue is open; 1 deleted and kept; 3.1 GB left out`,
    ]);
    await page.getByRole("link", { name: "See both versions" }).click();
    await page
      .getByRole("heading", { level: 1, name: "1 work file was changed on two drives apart." })
      .waitFor();
  });

  test("it says how many there are, where the newest are, and what isn't mirrored with why", async () => {
    await show();
    expect(await page.title()).toBe("Edits · Scrubjay");
    const all = await text();
    for (const said of [
      "212 work files, 3.4 GB.",
      "Blue has the newest of all",
      "Slate lacks the newest of 12 files",
      `${hostileDrive} lacks the newest of 25 files; it isn't here`,
      "2 files are waited for, and copied when quiet: Catalogue is open",
      "1,204 files (3.1 GB) are left out, as the profile says",
      "1 file was deleted on the primary drive.",
    ])
      expect(all).toContain(said);
  });

  test.each([
    [{ conflicts: 0 }, `Newer work files than on Slate and ${hostileDrive}.`],
    [{ conflicts: 0, drives: [{ drive: "Blue", files: 212, behind: 0 }] }, "Some work files are waited for."],
    [
      { conflicts: 0, waiting: 0, drives: [{ drive: "Blue", files: 212, behind: 0 }] },
      "The newest work files are on every drive.",
    ],
  ])("the headline tells the gravest: %j", async (changes, headline) => {
    await show("edits", changes);
    expect(await page.locator("h1").textContent()).toBe(headline);
  });

  test("a conflict shows both sides and every property that differs, each side's value by its side", async () => {
    await show();
    const table = page.getByRole("region", { name: /^Both versions of/ });
    await table.getByRole("row", { name: /xmp:Rating/ }).waitFor();
    const rows = (await table.getByRole("row").allInnerTexts()).map((each) =>
      each.replace(/\s+/g, " ").trim(),
    );
    expect(rows).toEqual([
      `In place, of Blue The other, of ${hostileDrive}`,
      "Changed Sun 6 June, 20:58 Sat 5 June, 23:12",
      "Seen Sun 6 June, 21:00 Sun 6 June, 21:01",
      "Size 4.1 kB 4 kB",
      `Stands as Kestrel Cliffs/${hostilePath} not found now`,
      "crs:Exposure2012 +0.35 isn't there",
      "xmp:Rating 4 <script>alert(1)</script>",
    ]);
  });

  test("the other version is put in place by its moment, and what is known is told so and goes", async () => {
    await show();
    await page.getByRole("button", { name: /^Put the other version in place/ }).press("Enter");
    await expect.poll(asked).toEqual([`restore ${status.trip?.id} ${hostilePath} ${conflict.other.at}`]);
    await page.getByRole("button", { name: /^I know/ }).press("Enter");
    await page.getByRole("button", { name: /^I know/ }).waitFor({ state: "detached" });
    expect(asked().at(-1)).toBe(`seen ${conflict.id}`);
  });

  test("every file is listed 200 at once, with who holds its newest version; a part of a path finds it", async () => {
    await show();
    const rows = page.locator(".work-files tbody tr");
    expect(await rows.count()).toBe(200);
    expect(await textOf(rows.nth(1))).toContain("Blue : verified Slate : owed");
    expect(await textOf(rows.nth(4))).toContain("deleted on the primary drive");
    await page.getByRole("button", { name: "Files after these" }).click();
    await expect.poll(() => rows.count()).toBe(workFiles.length - 200);
    await page.getByText("201 to 212 of 212 files").waitFor();
    await page.getByRole("button", { name: "Files before these" }).click();
    await expect.poll(() => rows.count()).toBe(200);
    await page.getByLabel("Only those with").fill("kc-19");
    await expect.poll(() => rows.count()).toBe(10);
    await page.getByText("10 of them shown").waitFor();
  });

  test("a file's versions come newest first; one that a drive holds is put in place, and that is said", async () => {
    await show();
    await page.getByRole("link", { name: /^3 versions of/ }).click();
    await page.getByRole("heading", { level: 1 }).getByText(hostilePath).waitFor();
    const items = page.locator(".versions > li");
    await items.nth(2).waitFor();
    expect(await textOf(items.nth(0))).toContain("Sun 6 June, 21:00, in place");
    expect(await textOf(items.nth(1))).toContain(`made on ${hostileDrive}`);
    expect(await textOf(items.nth(2))).toContain("on no drive that is in");
    expect(await page.getByRole("button", { name: /^Put this version/ }).count()).toBe(1);
    await page.getByRole("button", { name: "Put this version in place: Sat 5 June, 23:15" }).press("Enter");
    await page.getByText("The version of Sat 5 June, 23:15 is in place on Blue").waitFor();
    expect(asked()).toEqual([`restore ${status.trip?.id} ${hostilePath} 2027-06-05T23:15:00+01:00`]);
    await page.reload();
    await page.getByRole("heading", { level: 1 }).getByText(hostilePath).waitFor();
  });

  test("before there are any, it says what they are", async () => {
    daemon.edits = { ...told(), edits: null, conflicts: [], files: [], total: 0 };
    const { edits: _none, ...without } = status;
    daemon.face.statusAnswer = without;
    await page.goto(new URL("/#edits", shown.link).href);
    await page.reload();
    await page.getByRole("heading", { name: "There are no work files yet." }).waitFor();
    daemon.edits = { ...told(), files: workFiles, total: workFiles.length };
  });

  test.each([
    ["list", "edits"],
    ["versions", `edits/${encodeURIComponent(hostilePath)}`],
    ["board", "evening"],
  ] as const)("axe, keys, fingertips and widths: %s", async (name, at) => {
    for (const [width, colorScheme] of [
      [1280, "light"],
      [400, "dark"],
      [1280, "dark"],
      [400, "light"],
    ] as const) {
      await page.setViewportSize({ width, height: 850 });
      await page.emulateMedia({ colorScheme });
      if (name === "board") {
        daemon.face.statusAnswer = status;
        await page.goto(new URL("/#evening", shown.link).href);
        await page.reload();
        await page.getByRole("row", { name: /^your edits/ }).waitFor();
      } else {
        await show(at);
        await page
          .locator(name === "list" ? ".sides tr:nth-child(6)" : ".versions li")
          .first()
          .waitFor();
      }
      expect([width, colorScheme, await faultsOf(page)]).toEqual([width, colorScheme, []]);
      if (keepPictures && name !== "board" && (width === 400) === (colorScheme === "dark")) {
        const small = sharp(await page.screenshot()).png({ palette: true, colours: 32, compressionLevel: 9 });
        writeFileSync(join(pictures, `edits-${name}-${width}-${colorScheme}.png`), await small.toBuffer());
      }
      const looks = process.env["SCRUBJAY_LOOK"];
      if (looks !== undefined)
        await page.screenshot({ path: join(looks, `edits-${name}-${width}-${colorScheme}.png`) });
    }
    await page.setViewportSize({ width: 1280, height: 800 });
    await page.emulateMedia({ colorScheme: "light" });
    expect(await tooSmall(page)).toEqual([]);
    expect(await tooWideAt(page)).toEqual([]);
    if (name === "list") return; // Hundreds of links, each the same.
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
    const own = new URL(shown.link).origin;
    expect(shown.asked.filter((address) => !address.startsWith(`${own}/`))).toEqual([]);
  });
});
