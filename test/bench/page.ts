/**
 * What the page costs when a trip has very many frames: how soon each screen shows something, and whether the contact
 * sheet scrolls. The built daemon over a ledger that facts were put into, pictures in its cache, no drive plugged in, and
 * a real browser; held against an almost empty ledger in the same run.
 */

import { createHash } from "node:crypto";
import { existsSync, linkSync, mkdirSync, renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { type Browser, chromium, type Page } from "playwright-core";
import sharp from "sharp";
import { homeFolders } from "../../daemon/home/homeFolders.ts";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";
import { encodeFact } from "../../daemon/record/journal.ts";
import type { TripSummaryJson } from "../../shared/api.ts";
import type { Fact } from "../../shared/facts.ts";
import type {
  CardId,
  ContentHash,
  DriveId,
  FrameId,
  OriginalId,
  RelativePath,
  TripId,
} from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { Computer } from "../support/computer.ts";
import type { Say } from "./workbench.ts";

export interface PageWish {
  readonly frames: number;
  /** ms. How long the sheet is scrolled, at each speed. */
  readonly scroll: number;
}

export const fullPage: PageWish = { frames: 50_000, scroll: 6_000 };

/** What the almost empty ledger holds: enough to scroll. */
const fewFrames = 200;

/** Times in ms from the beginning of the page. */
export interface ScreenResult {
  readonly screen: string;
  readonly firstPaint: number;
  /** The screen's heading; on the sheet and of one frame, the first picture. */
  readonly firstContent: number;
}

export interface ScrollResult {
  readonly speed: string;
  /** How often the browser drew. */
  readonly drawnPerSecond: number;
  /** Tiles with their picture that were drawn, over all of it. */
  readonly picturesPerSecond: number;
  /** ms between two drawings, at most. */
  readonly longestGap: number;
  readonly nodes: number;
  /** Bytes of the page's heap, garbage collected. */
  readonly heapBefore: number;
  readonly heapAfter: number;
}

export interface PageResult {
  readonly screens: readonly ScreenResult[];
  readonly scrolls: readonly ScrollResult[];
}

const browserAt = "/usr/bin/chromium";
export const canUseBrowser = existsSync(browserAt);

const driveNames = ["Blue", "Slate", "Rust"];
const days = ["2027-06-03", "2027-06-04", "2027-06-05"];
const cardFrames = 2_000;

export async function page(cli: string, wish: PageWish, say: Say): Promise<PageResult> {
  if (!canUseBrowser) throw new Error(`there is no browser at ${browserAt}`);
  const quiet = ["background-networking", "component-update", "sync", "gpu"];
  const browser = await chromium.launch({
    executablePath: browserAt,
    args: ["--headless", "--no-sandbox", "--no-first-run", ...quiet.map((what) => `--disable-${what}`)],
  });
  try {
    const least = await measure(cli, browser, { ...wish, frames: Math.min(fewFrames, wish.frames) });
    const result = await measure(cli, browser, wish);
    say(`${wish.frames} frames, against ${Math.min(fewFrames, wish.frames)}:`);
    result.screens.forEach((screen, nth) => {
      const before = least.screens[nth];
      say(
        `${screen.screen}: first paint ${spent(screen.firstPaint, before?.firstPaint)}, ` +
          `its content ${spent(screen.firstContent, before?.firstContent)}`,
      );
    });
    result.scrolls.forEach((scroll, nth) => {
      const before = least.scrolls[nth];
      say(
        `scrolling ${scroll.speed}: drawn ${scroll.drawnPerSecond.toFixed(0)} times a second ` +
          `(${ratio(scroll.drawnPerSecond, before?.drawnPerSecond)}), ${scroll.picturesPerSecond.toFixed(0)} frames a second ` +
          `with their picture, longest gap ${spent(scroll.longestGap, before?.longestGap)}`,
      );
      say(
        `  ${scroll.nodes} elements (${ratio(scroll.nodes, before?.nodes)}), heap ${mega(scroll.heapBefore)} before, ` +
          `${mega(scroll.heapAfter)} after (${ratio(scroll.heapAfter, before?.heapAfter)})`,
      );
    });
    return result;
  } finally {
    await browser.close();
  }
}

async function measure(cli: string, browser: Browser, wish: PageWish): Promise<PageResult> {
  const computer = new Computer(cli);
  try {
    await computer.start();
    for (const name of driveNames) mkdirSync(computer.at(name));
    await computer.introduce(...driveNames);
    const [trip] = await computer.scrubjay.json<readonly TripSummaryJson[]>(["trip", "list"], [0]);
    if (trip === undefined) throw new Error("no trip is known");
    await computer.stop();
    // What the ledger tells of stands on none of them; plugged in, they would be found empty.
    for (const name of driveNames) renameSync(computer.at(name), join(computer.aside, name));
    const folders = homeFolders({ SCRUBJAY_HOME: computer.home }, computer.home);
    await fill(join(folders.state, "ledger.sqlite"), trip.id as TripId, wish.frames);
    await fillCache(join(folders.cache, "previews"), wish.frames);
    await computer.start();
    const { out } = await computer.must("open", "--json");
    const context = await browser.newContext({ viewport: { width: 1280, height: 800 } });
    await context.addInitScript({ content: watcher });
    const first = await context.newPage();
    const { url } = JSON.parse(out) as { readonly url: string };
    await first.goto(url);
    await first.getByRole("heading", { level: 1 }).waitFor();
    await first.close();
    const root = new URL("/", url).href;

    const sheet = await context.newPage();
    await sheet.goto(`${root}#frames`);
    await sheet.locator("a.tile img").first().waitFor();
    const frame = (await sheet.locator("a.tile").first().getAttribute("href")) ?? "";
    const screens: ScreenResult[] = [];
    for (const [screen, address, content] of [
      ["This evening", "#evening", "h1"],
      ["Trips", "#trips", "h1"],
      ["Frames", "#frames", ".tile img"],
      ["one frame", frame, ".large img"],
      ["the sample check", `#frames/${days[0]}/check`, ".large"],
      ["Drives", "#drives", "h1"],
      ["What happened", "#happened", "h1"],
    ] as const)
      screens.push({ screen, ...(await shown(await context.newPage(), `${root}${address}`, content)) });

    const scrolls: ScrollResult[] = [];
    for (const [speed, pixels] of [
      ["steadily", 40],
      ["by leaps", 2_000],
    ] as const)
      scrolls.push({ speed, ...(await scrolled(sheet, pixels, wish.scroll)) });
    await context.close();
    return { screens, scrolls };
  } finally {
    await computer.end();
  }
}

/** Notes when each of these is first there; pictures count when they are loaded. */
const watcher = `
  window.seen = {};
  const look = () => {
    for (const what of ["h1", ".tile img", ".large img", ".large"]) {
      const found = document.querySelector(what);
      const is = found !== null && (!what.endsWith("img") || found.naturalWidth > 0);
      if (is) window.seen[what] ??= performance.now();
    }
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
`;

async function shown(page: Page, address: string, content: string): Promise<Omit<ScreenResult, "screen">> {
  await page.goto(address);
  const asked = `({
    firstPaint: performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? null,
    firstContent: window.seen[${JSON.stringify(content)}] ?? null,
  })`;
  try {
    const giveUp = performance.now() + 30_000;
    for (;;) {
      const { firstPaint, firstContent } = await page.evaluate<{
        readonly firstPaint: number | null;
        readonly firstContent: number | null;
      }>(asked);
      if (firstPaint !== null && firstContent !== null) return { firstPaint, firstContent };
      if (performance.now() > giveUp) throw new Error(`${content} never came at ${address}`);
      await page.waitForTimeout(20);
    }
  } finally {
    await page.close();
  }
}

/** @param pixels from one drawing to the next; at an end it turns round */
async function scrolled(page: Page, pixels: number, ms: number): Promise<Omit<ScrollResult, "speed">> {
  const tool = await page.context().newCDPSession(page);
  await tool.send("Performance.enable");
  const heap = async (): Promise<number> => {
    await tool.send("HeapProfiler.collectGarbage");
    const { metrics } = await tool.send("Performance.getMetrics");
    return metrics.find(({ name }) => name === "JSHeapUsedSize")?.value ?? Number.NaN;
  };
  await page.evaluate("scrollTo(0, 0)");
  const heapBefore = await heap();
  const drawn = await page.evaluate<{
    drawings: number;
    longestGap: number;
    pictures: number;
    spent: number;
  }>(`
    new Promise((done) => {
      let direction = 1, drawings = 0, longestGap = 0, last = 0, began = 0;
      const pictures = new Set();
      const draw = (now) => {
        if (began === 0) began = now;
        else { drawings += 1; longestGap = Math.max(longestGap, now - last); }
        last = now;
        for (const each of document.querySelectorAll(".tile img")) {
          const box = each.getBoundingClientRect();
          if (each.complete && box.bottom > 0 && box.top < innerHeight) pictures.add(each.src);
        }
        if (now - began > ${ms}) return done({ drawings, longestGap, pictures: pictures.size, spent: now - began });
        const before = scrollY;
        scrollBy(0, direction * ${pixels});
        if (scrollY === before) direction = -direction;
        requestAnimationFrame(draw);
      };
      requestAnimationFrame(draw);
    })
  `);
  const nodes = await page.evaluate<number>("document.querySelectorAll('*').length");
  const heapAfter = await heap();
  await tool.detach();
  const perSecond = (many: number): number => (many / drawn.spent) * 1000;
  return {
    drawnPerSecond: perSecond(drawn.drawings),
    picturesPerSecond: perSecond(drawn.pictures),
    longestGap: drawn.longestGap,
    nodes,
    heapBefore,
    heapAfter,
  };
}

const frameId = (nth: number): FrameId =>
  createHash("sha256").update(`frame ${nth}`).digest("hex").slice(0, 16) as FrameId;

/** Each frame a raw file that three drives hold and a card gave. */
async function fill(path: string, trip: TripId, frames: number): Promise<void> {
  const hashing = await createHashing();
  const ledger = new SqliteLedger(path);
  try {
    const drives = ledger.drives().map(({ id }) => id);
    if (drives.length !== driveNames.length) throw new Error(`${drives.length} drives are known`);
    for (let first = 0; first < frames; first += cardFrames) {
      const number = first / cardFrames + 1;
      const card = number.toString(16).padStart(16, "0") as CardId;
      const facts: Fact[] = [{ kind: "card", trip, at: instant(first), card, label: "ALDINE", number }];
      for (let nth = first; nth < Math.min(frames, first + cardFrames); nth += 1)
        facts.push(...factsOf(trip, card, drives, nth, frames));
      ledger.apply(facts.map((fact) => encodeFact(fact, hashing)));
    }
  } finally {
    ledger.close();
  }
}

function factsOf(
  trip: TripId,
  card: CardId,
  drives: readonly DriveId[],
  nth: number,
  frames: number,
): readonly Fact[] {
  const day = days[Math.floor((nth / frames) * days.length)] ?? "";
  // An hour and more after the day began, a frame each second; 23:00 is what a third of 50,000 comes to.
  const second = 18_000 + (nth % Math.ceil(frames / days.length));
  const clock = new Date(second * 1000).toISOString().slice(11, 19);
  const at = instant(Date.parse(`${day}T${clock}+01:00`));
  const stem = `${day}/KC-${day.replaceAll("-", "")}-A${String(nth).padStart(5, "0")}` as RelativePath;
  const path = `${stem}.NEF` as RelativePath;
  const hash = nth.toString(16).padStart(16, "0") as ContentHash;
  const size = bytes(25_000_000);
  const original = `${hash}-${size}-${frameId(nth)}` as OriginalId;
  const taken = {
    instant: at,
    local: `${day}T${clock}.000`,
    day,
    basis: "trip-zone",
    camera: `${day.replaceAll("-", ":")} ${clock}`,
  } as const;
  const body = { letter: "A", serial: "4410072", model: "Aldine R2" };
  const frame = { id: frameId(nth), stem, key: `4410072 ${nth}`, count: 0, taken, ...body };
  const fingerprint = { size, modified: at, ends: hash };
  const onCard = `DCIM/100ALDIN/ALD_${nth}.NEF` as RelativePath;
  return [
    { kind: "original", trip, at, original, hash, size, path, role: "frame", frame },
    { kind: "sighting", trip, at, card, path: onCard, fingerprint, original },
    ...drives.map((drive): Fact => ({ kind: "copy", trip, at, original, drive, path, readBack: "direct" })),
  ];
}

/** One picture under every frame's name, as the daemon's own cache names them. */
async function fillCache(folder: string, frames: number): Promise<void> {
  const noise = { type: "gaussian", mean: 128, sigma: 24 } as const;
  const create = { width: 320, height: 214, channels: 3, background: "#808080", noise } as const;
  const jpeg = await sharp({ create }).jpeg({ quality: 70 }).toBuffer();
  const one = join(folder, "one.jpg");
  mkdirSync(folder, { recursive: true });
  writeFileSync(one, jpeg);
  for (let nth = 0; nth < frames; nth += 1)
    for (const size of nth < 100 ? ["sheet", "large"] : ["sheet"]) {
      const digest = createHash("sha256")
        .update(JSON.stringify([frameId(nth), size]))
        .digest("hex");
      const name = `${digest.slice(0, 40)}.jpg`;
      mkdirSync(join(folder, name.slice(0, 2)), { recursive: true });
      linkSync(one, join(folder, name.slice(0, 2), name));
    }
}

const spent = (ms: number, before: number | undefined): string =>
  `${ms.toFixed(0)} ms (${ratio(ms, before)})`;
const ratio = (value: number, before: number | undefined): string =>
  `${(value / (before ?? Number.NaN)).toFixed(2)} times`;
const mega = (amount: number): string => `${(amount / 1e6).toFixed(1)} MB`;
