/**
 * Frames as a photographer meets them: a real browser, the real daemon on practice folders, a generated card. Tests
 * follow each other: the sheet, one frame and its rating, the sample check. What is written is read by Debian's exiftool,
 * not by us. With SCRUBJAY_PICTURES=1 screens are kept in `pictures/`.
 */

import { execFileSync } from "node:child_process";
import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import type { Browser, Locator, Page } from "playwright-core";
import sharp from "sharp";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { formatCautions } from "../../shared/cautions.ts";
import type { FrameDaysJson, FramesJson } from "../../shared/framesApi.ts";
import { cornerOf, layOut } from "../../tray/page/frames/sheetLayout.ts";
import { generateCard, tinyCard } from "../cards/generate/card.ts";
import { Computer, until } from "../support/computer.ts";
import { faultsOf, hasBrowser, launch, open, type Shown, tooSmall, tooWideAt } from "./browser.ts";

const exiftoolAt = "/usr/bin/exiftool";
const pictures = fileURLToPath(new URL("pictures", import.meta.url));
const keepPictures = process.env["SCRUBJAY_PICTURES"] === "1";

/** A camera's name that tries to be more: HTML, a line end, a mark that turns the reading direction. */
const hostileModel = "<img src=x onerror=alert(1)>&#xa;&#x202e;Aldine";
const shownModel = "<img src=x onerror=alert(1)>\\u{a}\\u{202e}Aldine";

/** Two kinds of light: pictures that lie and pictures that stand. 2 x 9 frames and a film. */
const card = { ...tinyCard, pairsPerBody: 9, lights: 2 };

function exiftool(...args: readonly string[]): string {
  return execFileSync(exiftoolAt, args, { encoding: "utf8", stdio: ["ignore", "pipe", "ignore"] }).trim();
}

describe.skipIf(!hasBrowser || !existsSync(exiftoolAt))(
  "frames in a browser (needs chromium, exiftool)",
  () => {
    let computer: Computer;
    let browser: Browser;
    let shown: Shown;
    let page: Page;

    beforeAll(async () => {
      computer = new Computer(process.env["SCRUBJAY_CLI"]);
      for (const name of ["Blue", "Slate"]) mkdirSync(computer.at(name));
      [browser] = await Promise.all([launch(), computer.start()]);
      await computer.introduce("Blue", "Slate");
      shown = await open(browser, computer, { at: "frames" });
      page = shown.page;
    });
    afterAll(async () => {
      await browser?.close();
      await computer?.end();
    });

    /** Asked through the debugger: the page's policy allows no code from text. */
    const holds = (what: string) => until(what, () => page.evaluate<boolean>(what));
    const tiles = () => page.locator("a.tile");
    const focused = () => page.evaluate<string>("document.activeElement.textContent");
    const says = (text: string | RegExp) => page.getByText(text).first().waitFor();
    /** The sidecar of the frame that is shown, on the primary drive. */
    const sidecarOf = (name: string) => join(computer.trip("Blue"), `2027-06-03/${name}.xmp`);
    const textOf = async (of: Locator) => (await of.allInnerTexts()).join().replace(/\s+/g, " ").trim();
    const nameShown = () => textOf(page.locator("h1"));
    const openFrame = async (name: string) => {
      await tiles().filter({ hasText: name }).focus();
      await page.keyboard.press("Enter");
      await page.getByRole("heading", { level: 1, name }).waitFor();
      await page.getByRole("region", { name: "Rating" }).waitFor();
    };
    const keep = async (name: string) => {
      if (!keepPictures) return;
      for (const [width, colorScheme] of [
        [1280, "light"],
        [400, "dark"],
      ] as const) {
        await page.setViewportSize({ width, height: 850 });
        await page.emulateMedia({ colorScheme });
        await page.evaluate("new Promise((drawn) => setTimeout(drawn, 400))");
        const small = sharp(await page.screenshot()).png({ palette: true, colours: 32, compressionLevel: 9 });
        writeFileSync(join(pictures, `frames-${name}-${width}-${colorScheme}.png`), await small.toBuffer());
      }
      await page.setViewportSize({ width: 1280, height: 800 });
      await page.emulateMedia({ colorScheme: "light" });
    };

    test("before the first card there is a sentence that says what to do", async () => {
      await says("None is filed yet. Put a card in.");
      expect(await page.title()).toBe("Frames · Scrubjay");
    });

    test("frames of a card appear by themselves, by day, with their pictures", async () => {
      const drawer = join(computer.aside, "card");
      generateCard(drawer, card);
      // Both files of one frame: whichever is asked says it.
      for (const end of ["DNG", "JPG"])
        exiftool(
          "-E",
          "-overwrite_original",
          `-Model=${hostileModel}`,
          join(drawer, `DCIM/100ALDIN/ALD_0421.${end}`),
        );
      renameSync(drawer, computer.at("ALDINE"));
      await computer.settled();
      await page.getByRole("heading", { level: 2, name: "Thu 3 June 2027" }).waitFor();
      await says("19 frames");
      await holds("document.querySelectorAll('.tile img').length >= 10");
      await holds("[...document.querySelectorAll('.tile img')].every((each) => each.naturalWidth > 0)");
      await keep("sheet");
    });

    test("pictures are upright and whole: what the camera held upright stands", async () => {
      const drawn = await tiles().evaluateAll((all) =>
        all.map((each) => {
          const picture = each.querySelector("img");
          const shape =
            picture === null ? "" : picture.naturalWidth > picture.naturalHeight ? "lies" : "stands";
          return { name: each.querySelector(".tile-name")?.textContent ?? "", shape };
        }),
      );
      const pictured = drawn.filter(({ shape }) => shape !== "");
      expect(new Set(pictured.map(({ shape }) => shape))).toEqual(new Set(["lies", "stands"]));
      for (const { name, shape } of pictured) {
        const file = join(computer.trip("Blue"), `2027-06-03/${name}.JPG`);
        // Exif 2.32, Orientation: 5 to 8 are turned by a quarter.
        const turned = Number(exiftool("-s3", "-n", "-Orientation", file)) >= 5;
        expect([name, shape]).toEqual([name, turned ? "stands" : "lies"]);
      }
      const fit = await page.evaluate("getComputedStyle(document.querySelector('.tile img')).objectFit");
      expect(fit).toBe("contain");
    });

    test("tiles stand where they were computed to stand", async () => {
      const sheet = await page.locator(".sheet").boundingBox();
      if (sheet === null) throw new Error("no sheet");
      const layout = layOut([{ day: "2027-06-03", frames: 19 }], sheet.width);
      expect(sheet.height).toBe(layout.height);
      for (const index of [0, 1, layout.columns, 2 * layout.columns + 1]) {
        const box = await page.locator(`[data-index="${index}"]`).boundingBox();
        const corner = cornerOf(layout, index);
        expect([index, (box?.x ?? 0) - sheet.x]).toEqual([index, expect.closeTo(corner?.left ?? -1, 0)]);
        expect([index, (box?.y ?? 0) - sheet.y]).toEqual([index, expect.closeTo(corner?.top ?? -1, 0)]);
      }
    });

    test("one moves on the sheet with the arrow keys, and Tab stops at one tile", async () => {
      expect(await page.locator("a.tile[tabindex='0']").count()).toBe(1);
      await tiles().first().focus();
      const names: string[] = [];
      for (const key of ["ArrowRight", "ArrowDown", "End", "ArrowLeft", "Home", "PageUp", "Control+End"]) {
        await page.keyboard.press(key);
        names.push(await page.evaluate<string>("document.activeElement.dataset.index"));
      }
      // Five columns; 19 frames.
      expect(names).toEqual(["1", "6", "9", "8", "5", "0", "18"]);
      expect(await page.locator("a.tile[tabindex='0']").count()).toBe(1);
      // The film is the last, and says that it is one.
      expect(await focused()).toMatch(/KC-20270603-B\d{4}, 02:\d{2}:\d{2}/);
      expect(
        await page.evaluate("document.activeElement.getBoundingClientRect().bottom <= innerHeight"),
      ).toBe(true);
    });

    test("Enter shows a frame large, and Escape leads back to its tile", async () => {
      await page.keyboard.press("Control+Home");
      await page.keyboard.press("ArrowRight");
      const before = await focused();
      await page.keyboard.press("Enter");
      await holds("document.querySelector('.large img')?.naturalWidth > 0");
      expect(before.startsWith(`${await nameShown()}, 1`)).toBe(true);
      await says("frame 2 of 19, Thu 3 June 2027");
      await page.keyboard.press("ArrowRight");
      await says("frame 3 of 19, Thu 3 June 2027");
      const third = await nameShown();
      await page.keyboard.press("Escape");
      await holds("document.activeElement.classList.contains('tile')");
      expect((await focused()).startsWith(`${third}, 1`)).toBe(true);
    });

    test("what a camera wrote is shown as text", async () => {
      await openFrame("KC-20270603-A0421");
      await says(shownModel);
      expect(await page.locator("dl img").count()).toBe(0);
      expect(shown.complaints).toEqual([]);
    });

    test("its files are there, each with drive, place and when it was verified", async () => {
      await page.keyboard.press("Escape");
      await openFrame("KC-20270603-A0422");
      const row = page.getByRole("row", { name: /^KC-20270603-A0422\.DNG/ });
      expect(await page.getByRole("columnheader").allInnerTexts()).toEqual([
        "File",
        expect.stringMatching(/Blue\s*on me/),
        expect.stringMatching(/Slate\s*room safe/),
      ]);
      expect(await textOf(row.getByRole("rowheader"))).toMatch(
        /^KC-20270603-A0422\.DNG \d.* [kM]B · 2 of 2 copies from [Cc]ard 1: DCIM\/100ALDIN\/ALD_0422\.DNG XXH64 [0-9a-f]{16}$/,
      );
      for (const cell of await row.getByRole("cell").allInnerTexts()) expect(cell).toMatch(/^last verified /);
      renameSync(computer.at("Slate"), join(computer.aside, "Slate"));
      await until("Slate is away", async () => !(await computer.drive("Slate")).present);
      await page.reload();
      await row.getByText("on a drive that isn't plugged in").waitFor();
      renameSync(join(computer.aside, "Slate"), computer.at("Slate"));
      await until("Slate is back", async () => (await computer.drive("Slate")).present);
      await computer.settled();
    });

    test("a digit rates the frame: a general tool reads it from the sidecar", async () => {
      const name = await nameShown();
      await says("Not judged yet");
      await page.keyboard.press("3");
      await says("It is rated 3 now.");
      expect(exiftool("-s3", "-XMP-xmp:Rating", sidecarOf(name))).toBe("3");
      expect(await page.getByRole("button", { name: "3 of 5" }).getAttribute("aria-pressed")).toBe("true");
      await page.keyboard.press("r");
      await says("It is rejected now.");
      expect(exiftool("-s3", "-XMP-xmp:Rating", sidecarOf(name))).toBe("-1");
      await page.keyboard.press("k");
      await says("It is rated 1 now.");
      await page.getByRole("button", { name: "5 of 5" }).click();
      await says("It is rated 5 now.");
      expect(exiftool("-s3", "-XMP-xmp:Rating", sidecarOf(name))).toBe("5");
      // The frame stays: nothing goes on by itself.
      expect(await nameShown()).toBe(name);
      await keep("frame");
    });

    test("keys with modifiers rate nothing, and letters can be switched off", async () => {
      const sent: string[] = [];
      page.on("request", (request) => {
        if (request.url().endsWith("/rate")) sent.push(request.url());
      });
      for (const key of ["Control+2", "Alt+2", "Meta+2"]) await page.keyboard.press(key);
      await page.getByLabel("Letters and digits count").uncheck();
      await page.keyboard.press("2");
      await page.reload();
      await page.getByRole("region", { name: "Rating" }).waitFor();
      expect(await page.getByLabel("Letters and digits count").isChecked()).toBe(false);
      await page.keyboard.press("2");
      await page.getByLabel("Letters and digits count").check();
      await page.keyboard.press("4");
      await says("It is rated 4 now.");
      expect(sent).toHaveLength(1);
    });

    test("a rating of another program is shown", async () => {
      const name = await nameShown();
      exiftool("-overwrite_original", "-XMP-xmp:Rating=2", sidecarOf(name));
      await page.reload();
      await says("Rated 2");
      await page.keyboard.press("Escape");
      await tiles().filter({ hasText: name }).locator(".rating").getByText("2").waitFor();
      await page.getByRole("link", { name: new RegExp(`^${name} ?, .*rated 2`) }).waitFor();
    });

    test("a sidecar that changed meanwhile isn't written, and what stands there is shown", async () => {
      const name = "KC-20270603-A0422";
      await openFrame(name);
      exiftool("-overwrite_original", "-XMP-xmp:Rating=5", "-XMP-dc:Title=ledge", sidecarOf(name));
      const before = readFileSync(sidecarOf(name));
      await page.keyboard.press("1");
      await page.getByRole("alert").waitFor();
      const refusal = await textOf(page.getByRole("alert"));
      expect(refusal.length).toBeGreaterThan(20);
      await says("Rated 5");
      expect(readFileSync(sidecarOf(name))).toEqual(before);
      // The browser says that something was refused.
      expect(shown.complaints.splice(0).every((each) => each.includes("422"))).toBe(true);
      await page.keyboard.press("1");
      await says("It is rated 1 now.");
      expect(exiftool("-s3", "-XMP-dc:Title", sidecarOf(name))).toBe("ledge");
      await page.keyboard.press("Escape");
    });

    test("the sample check asks frame by frame, and keeps what was said", async () => {
      await page.getByRole("link", { name: "Sample check of this day" }).click();
      await says("frame 1 of 12");
      await says(/stands for .*(card 1|body|\d h)/i);
      await holds("document.querySelector('.large img')?.naturalWidth > 0");
      await keep("check");
      await page.keyboard.press("f");
      await says("frame 2 of 12");
      const doubted = await textOf(page.locator("main strong"));
      await page.keyboard.press("n");
      await says("frame 3 of 12");
      await page.keyboard.press("ArrowLeft");
      await says("You said: not fine.");
      await page.reload();
      await says("frame 3 of 12");
      for (let nth = 3; nth <= 12; nth += 1) {
        await says(`frame ${nth} of 12`);
        await page.keyboard.press("f");
      }
      await says("11 of 12 are fine, 1 isn't.");
      await says("Keep the card.");
      await says(/covers 1 card, 2 bodies, \d hours?/);
      await page.getByRole("listitem").getByRole("link", { name: doubted }).waitFor();
      await keep("summary");
      await page.reload();
      await says("11 of 12 are fine, 1 isn't.");
      // Nothing invites to format a card that somebody has doubts about.
      expect(await page.getByText(formatCautions).count()).toBe(0);
      await page.getByRole("link", { name: "Back to the sheet" }).click();
      await tiles().filter({ hasText: doubted }).locator(".tile-doubt").waitFor();
    });

    test("a doubt is taken back by whoever looked again, and then the cautions are said", async () => {
      const name = await textOf(page.locator(".tile:has(.tile-doubt) .tile-name"));
      await openFrame(name);
      await page.getByRole("button", { name: "It is fine" }).click();
      await says("Somebody looked: it is fine.");
      await page.goto(`${new URL("/", shown.link).href}#frames/2027-06-03/check`);
      await says("12 of 12 are fine.");
      await says(formatCautions);
      await page.getByRole("link", { name: "This evening", exact: true }).click();
      // The latest day's sample, whichever day that is.
      await page.getByRole("link", { name: "Look at a few frames first" }).click();
      await says("12 of 12 are fine.");
      await page.getByRole("link", { name: "Back to the sheet" }).click();
      await tiles().first().waitFor();
    });

    test.each(["light", "dark"] as const)(
      "axe finds nothing to complain of, nothing is too wide or too small: %s",
      async (colorScheme) => {
        const width = colorScheme === "light" ? 1280 : 400;
        const own = await open(browser, computer, { colorScheme, width, at: "frames" });
        const looksRight = async (what: string) => {
          expect([what, await faultsOf(own.page)]).toEqual([what, []]);
          expect([what, await tooWideAt(own.page)]).toEqual([what, []]);
          expect([what, await tooSmall(own.page)]).toEqual([what, []]);
        };
        await own.page.locator("a.tile img").first().waitFor();
        await looksRight("sheet");
        await own.page.locator("a.tile").first().click();
        await own.page.locator(".large img").waitFor();
        await own.page.getByRole("table").waitFor();
        await looksRight("frame");
        await own.page.goto(`${new URL("/", own.link).href}#frames/2027-06-03/check`);
        await own.page.getByRole("button", { name: "Look at them again" }).waitFor();
        await looksRight("summary");
        await own.page.getByRole("button", { name: "Look at them again" }).click();
        await own.page.getByRole("button", { name: "Not fine" }).waitFor();
        await looksRight("check");
        expect(own.complaints).toEqual([]);
        await own.context.close();
      },
    );

    test.each([
      ["one frame", (first: string) => first],
      ["the sample check", () => "#frames/2027-06-03/check"],
    ])("Tab reaches every link and button: %s", async (_what, address) => {
      const first = (await tiles().first().getAttribute("href")) ?? "";
      await page.goto(`${new URL("/", shown.link).href}${address(first)}`);
      await page.getByRole("heading", { level: 1 }).waitFor();
      await page.locator("table, .acts").first().waitFor();
      const every = page.locator("a, button:not(.skip)");
      const count = await every.count();
      const reached = new Set<string>();
      await page.evaluate("document.activeElement.blur()");
      for (let presses = 0; presses < count + 12; presses += 1) {
        await page.keyboard.press("Tab");
        reached.add(
          await page.evaluate<string>(
            "document.activeElement.matches('a, button:not(.skip)') ? document.activeElement.textContent : ''",
          ),
        );
      }
      reached.delete("");
      expect(reached.size).toBe(count);
      await page.goto(`${new URL("/", shown.link).href}#frames`);
      await tiles().first().waitFor();
    });

    test("of 50,000 frames only those near are elements, and the focus stays where it was", async () => {
      const own = await open(browser, computer);
      const { trip, slices } = await tellOfMany(own.page);
      await own.page.getByRole("link", { name: "Frames", exact: true }).click();
      const each = own.page.locator("a.tile");
      await each.first().waitFor();
      await own.page.getByText(`${trip}: 50,000 frames of 2 days`).waitFor();
      await each.first().focus();
      await own.page.keyboard.press("Control+End");
      await own.page.getByRole("link", { name: /^KC-24999/ }).waitFor();
      const at = () => own.page.evaluate<string>("document.activeElement.dataset.index");
      expect(await at()).toBe("49999");
      await own.page.evaluate("scrollTo(0, 0)");
      await own.page.locator("[data-index='0']").waitFor();
      // Its row is still there, and it has the focus.
      expect(await at()).toBe("49999");
      await own.page.keyboard.press("ArrowLeft");
      expect(await at()).toBe("49998");
      await own.page.getByRole("combobox", { name: "Day" }).selectOption("2027-06-04");
      await own.page.locator("[data-index='25000']").waitFor();
      expect(await own.page.evaluate("scrollY > 900000")).toBe(true);
      // Two screens' worth of rows of five, and the focused one.
      expect(await each.count()).toBeLessThan(120);
      // Of 250 slices, those that were stopped at.
      expect(slices.length).toBeLessThan(12);
      expect(own.complaints).toEqual([]);
      await own.context.close();
    });

    test("names stand as text, and nothing but the daemon was ever asked", () => {
      expect(shown.complaints).toEqual([]);
      const own = new URL(shown.link).origin;
      expect(shown.asked.filter((address) => !address.startsWith(`${own}/`))).toEqual([]);
      expect(readdirSync(computer.at("ALDINE")).some((name) => name.endsWith(".xmp"))).toBe(false);
    });
  },
);

/** Answers for a trip of two days, 25,000 frames each, that show nothing. @returns its name, and the slices asked for */
async function tellOfMany(
  page: Page,
): Promise<{ readonly trip: string; readonly slices: readonly string[] }> {
  const trip = { id: "kc-many", name: "Many Cliffs", zone: "Atlantic/Faroe" };
  const slices: string[] = [];
  await page.route("**/v1/frame-days*", (route) => {
    const days = ["2027-06-03", "2027-06-04"].map((day) => ({
      day,
      frames: 25_000,
      files: 25_000,
      bytes: 1,
    }));
    return route.fulfill({ json: { trip, trips: [trip], days } satisfies FrameDaysJson });
  });
  await page.route("**/v1/frames?*", (route) => {
    const { searchParams } = new URL(route.request().url());
    const [day = "", from, most] = ["day", "from", "most"].map((name) => searchParams.get(name) ?? "");
    slices.push(`${day} ${from}`);
    const first = Number(from);
    const frames = Array.from({ length: Math.min(Number(most), 25_000 - first) }, (_, nth) => ({
      id: `${day} ${first + nth}`,
      stem: `${day}/KC-${first + nth}`,
      day,
      taken: `${day}T18:00:00+01:00`,
      letter: "A",
      model: "Aldine R2",
      kinds: ["NEF"],
      film: false,
      rating: null,
      looked: null,
      picture: "none" as const,
    }));
    return route.fulfill({ json: { from: first, total: 25_000, frames } satisfies FramesJson });
  });
  return { trip: trip.name, slices };
}
