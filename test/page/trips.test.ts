/**
 * Before departure and the first evening, in the page alone: a real browser, the real daemon on practice folders, and no
 * command typed. Tests follow each other, since each begins where the one before ended. With SCRUBJAY_PICTURES=1 each step
 * is kept as a picture in `pictures/`, at two widths, light and dark.
 */

import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import type { Browser, Locator, Page } from "playwright-core";
import sharp from "sharp";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { generateCard, nextEvening, tinyCard } from "../cards/generate/card.ts";
import { Computer } from "../support/computer.ts";
import { faultsOf, hasBrowser, launch, open, tooSmall, tooWideAt } from "./browser.ts";

const pictures = fileURLToPath(new URL("pictures", import.meta.url));
const keepPictures = process.env["SCRUBJAY_PICTURES"] === "1";

describe.skipIf(!hasBrowser)("in a browser, from nothing (needs chromium)", () => {
  let computer: Computer;
  let browser: Browser;
  let page: Page;
  let complaints: string[];

  beforeAll(async () => {
    computer = new Computer();
    [browser] = await Promise.all([launch(), computer.start()]);
    ({ page, complaints } = await open(browser, computer, { height: 900 }));
  });
  afterAll(async () => {
    await browser?.close();
    await computer?.end();
  });

  const headline = (name: string | RegExp) => page.getByRole("heading", { level: 1, name }).waitFor();
  /** Copying takes what it takes; only a test that hangs is ended. */
  const allSafe = () =>
    page.getByRole("heading", { level: 1, name: "Everything is safe." }).waitFor({ timeout: 50_000 });
  const go = (screen: string) => page.getByRole("link", { name: screen, exact: true }).click();
  const field = (label: string) => page.getByLabel(label, { exact: true });
  const tripName = () => page.getByRole("region", { name: "The trip" }).getByLabel("Name");
  const fault = (text: string | RegExp) => page.locator(".fault", { hasText: text });
  const drive = (nth: number) => page.getByRole("group", { name: `Drive ${nth}` });
  const tripFiles = () => {
    const folder = join(computer.home, "config", "trips");
    return existsSync(folder)
      ? readdirSync(folder).map((name) => readFileSync(join(folder, name), "utf8"))
      : [];
  };
  /** What is described beside a control, as a screen reader says it. */
  const described = async (control: Locator) => {
    const ids = (await control.getAttribute("aria-describedby")) ?? "";
    const texts = await Promise.all(ids.split(" ").map((id) => page.locator(`[id="${id}"]`).textContent()));
    return texts.join(" ");
  };

  async function looksRight(): Promise<void> {
    expect([await faultsOf(page), await tooWideAt(page), await tooSmall(page)]).toEqual([[], [], []]);
  }

  /** @param what past the window's lower edge too, or with this in view */
  async function keep(step: string, what?: "whole" | Locator): Promise<void> {
    if (!keepPictures) return;
    for (const width of [1280, 400])
      for (const colorScheme of ["light", "dark"] as const) {
        await page.setViewportSize({ width, height: width === 400 ? 800 : 900 });
        await page.emulateMedia({ colorScheme });
        if (typeof what === "object")
          await what.evaluate((it: { scrollIntoView(): void }) => it.scrollIntoView());
        const shot = await page.screenshot({ fullPage: what === "whole" });
        const small = await sharp(shot).png({ palette: true, colours: 16, compressionLevel: 9 }).toBuffer();
        writeFileSync(join(pictures, `trips-${step}-${width}-${colorScheme}.png`), small);
      }
    await page.setViewportSize({ width: 1280, height: 900 });
    await page.emulateMedia({ colorScheme: "light" });
  }

  test("the empty board leads to describing a trip", async () => {
    await headline("No trip is described yet.");
    await keep("01-nothing");
    await go("Trips");
    await headline("No trip is described yet.");
    await looksRight();
    await go("This evening");
    await page.getByRole("link", { name: "Describe a trip" }).click();
    await headline("A new trip");
  });

  test("a new form finds no fault with what nobody has come to yet", async () => {
    await field("First day").waitFor();
    expect(await page.locator('[aria-invalid="true"]').count()).toBe(0);
    await looksRight();
    await keep("02-new", "whole");
  });

  test("a fault stands beside its field, told to screen readers, and goes when it is mended", async () => {
    await field("First day").fill("2027-06-14");
    await field("Last day").fill("2027-06-03");
    await fault("The last day 2027-06-03 is before the first").waitFor();
    expect(await field("Last day").getAttribute("aria-invalid")).toBe("true");
    expect(await described(field("Last day"))).toContain("Right would be: 2027-06-14 or later.");
    await field("Time zone").fill("Atlantic/Feroe");
    await fault("did you mean 'Atlantic/Faroe'?").waitFor();
    await looksRight();
    await keep("03-faults");
    await field("First day").fill("2027-06-03");
    await field("Last day").fill("2027-06-14");
    await field("Time zone").fill("Atlantic/Faroe");
    await page.locator(".fault").first().waitFor({ state: "detached" });
  });

  test("saving too early saves nothing and leads to what is missing", async () => {
    await page.getByRole("button", { name: "Save the trip" }).click();
    await page.getByText("4 faults to mend first.").waitFor();
    await page.locator('[aria-invalid="true"]:focus').waitFor();
    expect(await tripName().evaluate((it: { matches(what: string): boolean }) => it.matches(":focus"))).toBe(
      true,
    );
    expect(await described(tripName())).toBe(
      "Also the folder's name on every drive. This is empty. Right would be: the trip's name, also its folder's name.",
    );
    expect(tripFiles()).toEqual([]);
  });

  test("names change as the templates are typed", async () => {
    await tripName().fill("Kestrel Cliffs");
    await field("Code").fill("KC");
    await page.getByText("Kestrel Cliffs/2027-06-03/KC-20270603-A0421.NEF").waitFor();
    await field("Names").press("End");
    await field("Names").pressSequentially("-{original}");
    await page.getByText("KC-20270603-A0421-ALD_0421.NEF").waitFor();
    await field("Names").fill("{code}-{nothing}");
    await fault("'nothing' is not a field").waitFor();
    expect(await page.getByText("Frames will be called").count()).toBe(0);
    await field("Names").fill("{code}-{day:yyyyMMdd}-{body}{number}");
    await page.getByText("KC-20270603-B1207.NEF").waitFor();
  });

  test("the text is another view of the same, and a comment written there stays", async () => {
    await drive(1).getByLabel("Name").fill("Blue");
    await drive(1).getByLabel("Place").fill("on me");
    await drive(2).getByLabel("Name").fill("Slate");
    await page.getByRole("button", { name: "As text" }).click();
    const area = page.getByRole("textbox", { name: /YAML/ });
    const text = await area.inputValue();
    expect(text).toContain("  - { name: Blue, role: primary, place: on me }\n");
    await area.fill(
      `${text.replace("zone: Atlantic/Faroe", "zone:    Atlantic/Feroe")}# packed on Tuesday\n`,
    );
    const jump = page.getByRole("button", { name: /^Line \d+, column 10$/ });
    await jump.click();
    expect(
      await area.evaluate((it: { value: string; selectionStart: number; selectionEnd: number }) =>
        it.value.slice(it.selectionStart, it.selectionEnd),
      ),
    ).toBe("zone:    Atlantic/Feroe # IANA time zone of the days");
    await looksRight();
    await keep("04-text");
    await area.fill((await area.inputValue()).replace("Feroe", "Faroe"));
    await jump.waitFor({ state: "detached" });
    await page.getByRole("button", { name: "As a form" }).click();
    await field("A day starts at").fill("04:00");
    await field("What it is worth").selectOption("numbers");
    await field("Copies").fill("2");
    await page.getByText("You have unsaved changes.").waitFor();
  });

  test("leaving loses nothing: the draft is there on coming back, and after loading the page anew", async () => {
    await go("Drives");
    await headline("No drive is known yet.");
    await page.goBack();
    await page.getByText("isn't saved yet").waitFor();
    expect(await field("Code").inputValue()).toBe("KC");
    await page.reload();
    await page.getByText("isn't saved yet").waitFor();
    expect(await field("A day starts at").inputValue()).toBe("04:00");
  });

  test("saving writes the file, comments and all", async () => {
    await keep("05-filled", "whole");
    await page.getByRole("button", { name: "Save the trip" }).click();
    await page.getByText("Saved.").waitFor();
    await headline("Kestrel Cliffs");
    expect(await page.evaluate("location.hash")).toMatch(/^#trips\/kc-20270603-[0-9a-f]{4}$/);
    const [text = ""] = tripFiles();
    expect(text).toBe(`trip: Kestrel Cliffs # also the folder's name on every drive
code: KC # short, for file names
from: 2027-06-03 # first and last day, both included
to: 2027-06-14
zone:    Atlantic/Faroe # IANA time zone of the days
day-starts: "04:00"

# How many drives shall hold each frame: ordinary is 2 copies, unrepeatable 3 copies in 2 places.
goal: { copies: 2, places: 1 }

drives:
  - { name: Blue, role: primary, place: on me }
  - { name: Slate, role: secondary }

# Fields: trip, code, day, taken, body, serial, model, number, original, count, card.
folders: "{trip}/{day}"
names: "{code}-{day:yyyyMMdd}-{body}{number}" # the extension is kept
# packed on Tuesday
`);
    await keep("06-saved");
  });

  test("a change in the form changes its line of the file and no other", async () => {
    const [before = ""] = tripFiles();
    await drive(2).getByLabel("Place").fill("room safe");
    await page.getByRole("button", { name: "Add a body" }).click();
    await field("Serial number").fill("0012");
    await field("Add to its clock").fill("+00:03:20");
    await page.getByRole("button", { name: "Save the trip" }).click();
    await page.getByText("Saved.").waitFor();
    const [after = ""] = tripFiles();
    expect(after).toBe(
      before
        .replace("{ name: Slate, role: secondary }", "{ name: Slate, role: secondary, place: room safe }")
        .replace("\n# Fields:", 'bodies:\n  - { serial: "0012", clock: "+00:03:20" }\n\n# Fields:'),
    );
  });

  test("a file that changed meanwhile isn't replaced unseen", async () => {
    const folder = join(computer.home, "config", "trips");
    const file = join(folder, readdirSync(folder)[0] ?? "");
    writeFileSync(file, `${readFileSync(file, "utf8")}# from elsewhere\n`);
    await field("Code").fill("KCX");
    await page.getByRole("button", { name: "Save the trip" }).click();
    await page
      .getByRole("alert")
      .getByText(/changed since you opened it/)
      .waitFor();
    expect(readFileSync(file, "utf8")).toContain("code: KC ");
    await page.getByRole("button", { name: "Discard the changes" }).click();
    await page.getByRole("button", { name: "Discard the changes" }).waitFor({ state: "detached" });
    expect(await field("Code").inputValue()).toBe("KC");
    expect(complaints.splice(0)).toEqual([expect.stringContaining("422")]);
  });

  test("an earlier trip is copied without its days, under a name that is only ever text", async () => {
    await go("Trips");
    await page.getByRole("link", { name: "Copy for a new trip: Kestrel Cliffs" }).click();
    await headline("A new trip like an earlier one");
    expect(await field("First day").inputValue()).toBe("");
    const name = tripName();
    const hostile = "<img src=x onerror=alert(1)>\u202e";
    await name.fill(hostile);
    await fault("can't be used in names").waitFor();
    expect(await fault("can't be used in names").textContent()).toContain(
      "<img src=x onerror=alert(1)>\\u{202e}",
    );
    expect(await page.locator("img").count()).toBe(0);
    await name.fill("Heron Marsh");
    await field("Code").fill("HM");
    await field("First day").fill("2029-05-01");
    await field("Last day").fill("2029-05-09");
    await page.getByRole("button", { name: "Save the trip" }).click();
    await page.getByText("Saved.").waitFor();
    expect(tripFiles().find((text) => text.includes("trip: Heron Marsh"))).toContain(
      "# packed on Tuesday\n# from elsewhere\n",
    );
    await go("Trips");
    await page
      .getByRole("region", { name: "Heron Marsh" })
      .getByText("Tue 1 May 2029 to Wed 9 May 2029")
      .waitFor();
    await looksRight();
    await keep("07-list");
  });

  test("a hostile name in a file is shown as text in the list", async () => {
    const folder = join(computer.home, "config", "trips");
    writeFileSync(join(folder, "odd.yaml"), 'trip: "<img src=x onerror=alert(1)>\\u202e"\n');
    await go("Drives");
    await go("Trips");
    await page
      .getByRole("region", { name: "<img src=x onerror=alert(1)>\\u{202e}" })
      .getByText(/the file isn't used/)
      .waitFor();
    expect(await page.locator("img").count()).toBe(0);
    renameSync(join(folder, "odd.yaml"), join(computer.aside, "odd.yaml"));
  });

  test("a drive is introduced beside its line of the trip", async () => {
    mkdirSync(computer.at("Blue"));
    mkdirSync(join(computer.at("ALDINE"), "DCIM"), { recursive: true });
    await page.getByRole("link", { name: "Kestrel Cliffs", exact: true }).click();
    await drive(1).getByRole("button", { name: "Introduce Blue" }).click();
    await drive(1).getByText("A card: only ever read.").waitFor();
    expect(
      await drive(1)
        .getByRole("button", { name: /ALDINE/ })
        .count(),
    ).toBe(0);
    await looksRight();
    await keep("08-beside-its-line", drive(1));
    await drive(1).getByRole("button", { name: "Introduce Blue as Blue" }).press("Enter");
    await drive(1).getByText("Blue is a known drive, plugged in.").waitFor();
    expect(readdirSync(join(computer.at("ALDINE")))).toEqual(["DCIM"]);
  });

  test("another on the Drives screen, by a name of the trip; a card can't be chosen there either", async () => {
    mkdirSync(computer.at("Rock"));
    await go("This evening");
    await page.getByRole("link", { name: "Introduce a drive" }).click();
    await page.getByLabel("Rock shall be").waitFor();
    await page.getByText("A card: only ever read.").waitFor();
    await page.getByText("A known drive: Blue.").waitFor();
    expect(await page.getByRole("button", { name: /ALDINE/ }).count()).toBe(0);
    await looksRight();
    await keep("09-introduce", "whole");
    await page.getByLabel("Rock shall be").selectOption("another name");
    await page.getByLabel("Name for Rock").fill("Blue");
    await page.getByRole("button", { name: "Introduce Rock as Blue" }).click();
    await page.getByText("Another drive is called Blue already.").waitFor();
    expect(existsSync(join(computer.at("Rock"), ".scrubjay"))).toBe(false);
    await page.getByLabel("Rock shall be").selectOption("Slate");
    await page.getByRole("button", { name: "Introduce Rock as Slate" }).click();
    await page.getByText("Slate is a known drive now.").waitFor();
    await page.getByRole("heading", { level: 2, name: "Slate" }).waitFor();
    renameSync(computer.at("ALDINE"), join(computer.aside, "ALDINE"));
    await keep("10-introduced", "whole");
    expect(complaints.splice(0)).toEqual([expect.stringContaining("422")]);
  });

  test("a card goes in: progress, then done and clear to format", async () => {
    await go("This evening");
    await headline("Nothing has been copied yet.");
    const drawer = join(computer.aside, "card");
    generateCard(drawer, { ...tinyCard, pairsPerBody: 60 });
    await page.evaluate(
      "globalThis.sawProgress = false; new MutationObserver(() => { globalThis.sawProgress ||= document.querySelector('progress') !== null; }).observe(document.body, { childList: true, subtree: true });",
    );
    renameSync(drawer, computer.at("CARD"));
    await page
      .getByText(/^Copying card 1/i)
      .first()
      .waitFor();
    await keep("11-progress");
    await allSafe();
    expect(await page.evaluate("globalThis.sawProgress")).toBe(true);
    await page.getByRole("cell", { name: "may be formatted" }).waitFor();
    await keep("12-clear");
    expect(existsSync(join(computer.trip("Rock"), "2027-06-03"))).toBe(true);
  });

  test("names of the trip are tried on its own frames from now on", async () => {
    await go("Trips");
    await page.getByRole("link", { name: "Kestrel Cliffs", exact: true }).click();
    await page.getByText("Frames that are known, as they would be called.").waitFor();
    const [example = ""] = await page.locator(".examples code").allInnerTexts();
    expect(existsSync(join(computer.at("Blue"), example))).toBe(true);
    await keep("13-real-names", "whole");
  });

  test("a drive goes and the page says so; it comes back and is caught up", async () => {
    await go("This evening");
    renameSync(computer.at("Rock"), join(computer.aside, "Rock"));
    await page
      .getByText(/not here since/)
      .first()
      .waitFor();
    generateCard(join(computer.aside, "card"), nextEvening({ ...tinyCard, pairsPerBody: 60 }));
    renameSync(join(computer.aside, "card"), computer.at("SECOND"));
    await headline("Not everything is safe yet.");
    await page.getByText(/Slate is not plugged in/).waitFor();
    await computer.settled();
    await keep("14-away");
    renameSync(join(computer.aside, "Rock"), computer.at("Rock"));
    await allSafe();
    await keep("15-back");
  });

  test("Tab reaches every field, link and button of the form", async () => {
    await go("Trips");
    await page.getByRole("link", { name: "Kestrel Cliffs", exact: true }).click();
    await field("Code").waitFor();
    await page.reload();
    await field("Code").waitFor();
    const all = "a, button, input, select, textarea";
    const count = await page.locator(all).count();
    await page.evaluate("globalThis.reached = new Set()");
    // A date is three fields and a button to the keyboard.
    for (let presses = 0; presses < count + 12; presses += 1) {
      await page.keyboard.press("Tab");
      await page.evaluate(
        `document.activeElement.matches("${all}") && globalThis.reached.add(document.activeElement)`,
      );
    }
    expect(await page.evaluate("globalThis.reached.size")).toBe(count);
  });

  test("nothing was complained of", () => {
    expect(complaints).toEqual([]);
  });
});
