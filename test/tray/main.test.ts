/** The tray's work with a pretended daemon and a pretended host: what it shows, asks, starts and says. */

import { expect, test } from "vitest";
import type { EjectedJson, StatusJson } from "../../shared/api.ts";
import { UserMistake } from "../../shared/problems.ts";
import { runTray, type TrayParts } from "../../tray/main.ts";
import type { Choice, TrayView } from "../../tray/menuModel.ts";
import type { TrayHost } from "../../tray/port.ts";
import { evening } from "../cli/boards.ts";

const notRunning = () => new UserMistake("Scrubjay's daemon is not running.", "Start it.", 69);

class PretendedHost implements TrayHost {
  readonly shown: TrayView[] = [];
  ended = false;
  choose: (choice: Choice) => void = () => undefined;
  absent: () => void = () => undefined;
  show(view: TrayView): void {
    this.shown.push(view);
  }
  onChoose(listener: (choice: Choice) => void): void {
    this.choose = listener;
  }
  onAbsent(listener: () => void): void {
    this.absent = listener;
  }
  async end(): Promise<void> {
    this.ended = true;
  }
}

interface World {
  readonly host: PretendedHost;
  /** What was asked, started, said and shown as a notice, in order. */
  readonly happened: string[];
  /** Called for each second let pass, with how many it were. */
  onSecond: (seconds: number) => void;
  /** What the daemon tells each time it is asked; undefined: it isn't running, or has nothing more to tell. */
  readonly tells: (readonly StatusJson[] | undefined)[];
  refuses: Error | undefined;
  browser: boolean;
  readonly stop: AbortController;
  run(): Promise<void>;
}

function world(): World {
  const happened: string[] = [];
  const host = new PretendedHost();
  const stop = new AbortController();
  let seconds = 0;
  const asked = async (what: string): Promise<void> => {
    happened.push(what);
    if (made.refuses !== undefined) throw made.refuses;
  };
  const parts: TrayParts = {
    host,
    daemon: {
      async *events() {
        const told = made.tells.shift();
        if (told === undefined) throw notRunning();
        yield* told;
      },
      pause: () => asked("pause"),
      goOn: () => asked("continue"),
      eject: async (name): Promise<EjectedJson> => {
        await asked(`eject ${name}`);
        return { name: "Card 7", kind: "card" };
      },
      openLink: async () => {
        await asked("link");
        return { url: "http://127.0.0.1:1/enter" };
      },
    },
    notices: {
      show: async ({ title, body }) => {
        happened.push(`notice: ${title} | ${body}`);
        return { shown: true };
      },
    },
    startDaemon: () => void happened.push("started"),
    openInBrowser: async (url) => {
      happened.push(`browser ${url}`);
      return made.browser;
    },
    say: (line) => void happened.push(`said: ${line}`),
    pause: async () => {
      seconds += 1;
      // What was chosen meanwhile is carried out first.
      await new Promise((resolve) => setImmediate(resolve));
      made.onSecond(seconds);
    },
  };
  const made: World = {
    host,
    happened,
    onSecond: () => stop.abort(),
    tells: [],
    refuses: undefined,
    browser: true,
    stop,
    run: () => runTray(parts, stop.signal),
  };
  return made;
}

const headlines = (host: PretendedHost): readonly string[] => host.shown.map((view) => view.tooltip.title);
const quitAfter = (last: number, tray: World) => (seconds: number) => {
  if (seconds === last) tray.stop.abort();
};

test("it shows each status, and that the daemon went, and the next one when it is there again", async () => {
  const tray = world();
  tray.tells.push([evening, { ...evening, headline: "Everything is safe." }], undefined, [evening]);
  tray.onSecond = quitAfter(3, tray);
  await tray.run();
  expect(headlines(tray.host)).toEqual([
    evening.headline,
    "Everything is safe.",
    "Scrubjay's daemon is not running.",
    evening.headline,
  ]);
  expect(tray.host.ended).toBe(true);
  // Whoever ended it may have meant it.
  expect(tray.happened).toEqual([]);
});

test("a daemon that isn't running is started once, after a few seconds, and it says so", async () => {
  const tray = world();
  tray.onSecond = quitAfter(30, tray);
  await tray.run();
  expect(tray.happened).toEqual([
    "said: The daemon isn't running; the tray starts it. It goes on when the tray is quit.",
    "started",
  ]);
});

test("a daemon that comes by itself within these seconds isn't started a second time", async () => {
  const tray = world();
  tray.tells.push(undefined, undefined, [evening], undefined);
  tray.onSecond = quitAfter(30, tray);
  await tray.run();
  expect(tray.happened).toEqual([]);
});

test("that no tray is there is said once, however often it turns out", async () => {
  const tray = world();
  tray.tells.push([evening]);
  tray.onSecond = () => {
    for (let times = 0; times < 3; times += 1) tray.host.absent();
    tray.stop.abort();
  };
  await tray.run();
  expect(tray.happened).toEqual(["said: No tray is here; the page does everything: `scrubjay open`."]);
});

test("choices are carried out: page, pause, continue, eject, start; and quit ends it", async () => {
  const tray = world();
  tray.tells.push([evening]);
  const { host } = tray;
  tray.onSecond = (seconds) => {
    if (seconds === 1) {
      for (const does of ["openPage", "pause", "goOn", "startDaemon"] as const) host.choose({ does });
      host.choose({ does: "eject", what: "7777", name: "Card 7" });
    } else host.choose({ does: "quit" });
  };
  await tray.run();
  expect(tray.happened).toEqual([
    "link",
    "pause",
    "continue",
    "said: The daemon isn't running; the tray starts it. It goes on when the tray is quit.",
    "started",
    "eject 7777",
    "browser http://127.0.0.1:1/enter",
    "notice: Card 7 may be taken out | It is flushed and unmounted.",
  ]);
});

test("what the daemon refuses becomes a notice with its own words, and the tray goes on", async () => {
  const tray = world();
  tray.tells.push([evening], [evening]);
  tray.refuses = new UserMistake("Slate is being written.", "Wait until it is done.", 1);
  tray.onSecond = (seconds) => {
    if (seconds === 1) tray.host.choose({ does: "eject", what: "Slate", name: "Slate" });
    else tray.stop.abort();
  };
  await tray.run();
  expect(tray.happened).toEqual([
    "eject Slate",
    "notice: Slate isn't ejected: leave it in | Slate is being written. Wait until it is done.",
  ]);
  expect(tray.host.shown.length).toBe(2);
});

test("where no browser starts a notice says how to get the link", async () => {
  const tray = world();
  tray.tells.push([evening]);
  tray.browser = false;
  tray.onSecond = (seconds) => {
    if (seconds === 1) tray.host.choose({ does: "openPage" });
    else tray.stop.abort();
  };
  await tray.run();
  expect(tray.happened.at(-1)).toMatch(/^notice: The page isn't open \| .*`scrubjay open` in a terminal/);
});

test("a bug isn't hidden: it ends the tray and comes out, and the icon is taken away", async () => {
  const tray = world();
  tray.tells.push([evening]);
  tray.refuses = new TypeError("a bug");
  tray.onSecond = () => tray.host.choose({ does: "pause" });
  await expect(tray.run()).rejects.toThrow("a bug");
  expect(tray.host.ended).toBe(true);
});
