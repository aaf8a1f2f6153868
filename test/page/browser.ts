/**
 * A real browser for the page's tests: windows that are signed in by a link, what they complained of and asked for, and
 * what is checked on every screen: axe, no sideways scrolling, nothing smaller than a fingertip.
 */

import { existsSync, readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import type { AxeResults } from "axe-core";
import { type Browser, type BrowserContext, chromium, type Page } from "playwright-core";
import { millis } from "../../shared/units.ts";
import type { Computer } from "../support/computer.ts";

const browserAt = "/usr/bin/chromium";
const axe = readFileSync(fileURLToPath(import.meta.resolve("axe-core/axe.min.js")), "utf8");
/** ms. For what appears by itself. */
const appears = millis(30_000);

/** For `describe.skipIf`. */
export const hasBrowser = existsSync(browserAt);

export function launch(): Promise<Browser> {
  const quiet = ["background-networking", "component-update", "sync", "gpu", "quic"];
  return chromium.launch({
    executablePath: browserAt,
    args: ["--headless", "--no-sandbox", "--no-first-run", ...quiet.map((what) => `--disable-${what}`)],
  });
}

export interface Shown {
  readonly context: BrowserContext;
  readonly page: Page;
  /** The way in that this window used. */
  readonly link: string;
  /** Dialogs, errors and whatever else the browser said was wrong. */
  readonly complaints: string[];
  /** Every address that was asked for. */
  readonly asked: string[];
}

export interface Look {
  readonly colorScheme?: "light" | "dark";
  readonly width?: number;
  readonly height?: number;
  /** Behind `#`; the first screen if not said. */
  readonly at?: string;
}

/** A window on the page of this computer's daemon, or of another whose links `must("open")` gives. */
export async function open(
  browser: Browser,
  computer: Pick<Computer, "must">,
  look: Look = {},
): Promise<Shown> {
  const { out } = await computer.must("open", "--json");
  const link = (JSON.parse(out) as { readonly url: string }).url;
  const { colorScheme = "light", width = 1280, height = 800, at } = look;
  const context = await browser.newContext({ colorScheme, viewport: { width, height } });
  context.setDefaultTimeout(appears);
  const complaints: string[] = [];
  const asked: string[] = [];
  context.on("request", (request) => asked.push(request.url()));
  const page = await context.newPage();
  page.on("dialog", (dialog) => {
    // The browser's own question before a changed page is left is no complaint.
    if (dialog.type() !== "beforeunload") complaints.push(dialog.message());
    void dialog.accept();
  });
  page.on("pageerror", (error) => complaints.push(error.message));
  page.on("console", (message) => {
    if (message.type() === "error") complaints.push(message.text());
  });
  await page.goto(at === undefined ? link : `${link}#${at}`);
  await page.getByRole("heading", { level: 1 }).waitFor();
  return { context, page, link, complaints, asked };
}

/** What axe finds. It is brought in by the debugger, past the page's policy, which stays as it is. */
export async function faultsOf(page: Page): Promise<readonly string[]> {
  await page.evaluate(axe);
  const { violations } = await page.evaluate<AxeResults>("axe.run()");
  return violations.flatMap(({ id, nodes }) => nodes.map(({ html }) => `${id}: ${html}`));
}

/** Widths of the window at which something is wider than it, with how wide. */
export async function tooWideAt(page: Page, widths = [400, 1600]): Promise<readonly string[]> {
  const before = page.viewportSize() ?? { width: 1280, height: 800 };
  const wrong: string[] = [];
  for (const width of widths) {
    await page.setViewportSize({ width, height: before.height });
    const widest = await page.evaluate<number>("document.documentElement.scrollWidth");
    if (widest !== width) wrong.push(`${widest} in ${width}`);
  }
  await page.setViewportSize(before);
  return wrong;
}

/** What can be clicked and is smaller than 24 by 24 CSS pixels (WCAG 2.2, 2.5.8), links within a sentence apart. */
export function tooSmall(page: Page): Promise<readonly string[]> {
  return page.locator("button, input, select, textarea, nav a, main .acts a").evaluateAll((all) =>
    all
      .filter((each) => {
        const { width, height } = each.getBoundingClientRect();
        return width > 1 && Math.min(width, height) < 24;
      })
      .map((each) => each.outerHTML.slice(0, 120)),
  );
}
