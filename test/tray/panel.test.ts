/**
 * The tray on a desktop that nobody sees: a real panel draws the icon, a mouse opens its menu, keys choose from it, and
 * a real notification service takes the notices. The daemon is pretended but for the last test.
 */

import { type ChildProcess, execFileSync, spawn, spawnSync } from "node:child_process";
import { existsSync, mkdirSync, readFileSync, renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { afterEach, beforeEach, expect, test } from "vitest";
import { NodeNotices } from "../../daemon/platform/common/nodeNotices.ts";
import { DesktopNotices } from "../../daemon/platform/linux/desktopNotices.ts";
import type { StatusJson } from "../../shared/api.ts";
import { absolutePath } from "../../shared/identity.ts";
import { millis } from "../../shared/units.ts";
import { drawIcon, pixels } from "../../tray/icon.ts";
import { runTray } from "../../tray/main.ts";
import { LinuxTray } from "../../tray/platform/linux.ts";
import { startDaemon as startFromTray } from "../../tray/startDaemon.ts";
import { generateCard, nextEvening, tinyCard } from "../cards/generate/card.ts";
import { card, drive, evening } from "../cli/boards.ts";
import { startDaemon, stopDaemon } from "../demo/commands.ts";
import { Computer } from "../support/computer.ts";
import { canUseDesktop, Desktop, holds, whyNoDesktop } from "./desktop.ts";

const onDesktop = test.skipIf(!canUseDesktop());
/** Built before the tests run. */
const builtCli = fileURLToPath(new URL("../../dist/daemon/cli.js", import.meta.url));
const bus = process.env["DBUS_SESSION_BUS_ADDRESS"];

let desktop: Desktop;
let tray: PretendedTray | undefined;
const programs: ChildProcess[] = [];

beforeEach(async () => {
  if (!canUseDesktop()) return;
  desktop = new Desktop();
  await desktop.start();
  process.env["DBUS_SESSION_BUS_ADDRESS"] = desktop.busAddress;
});
afterEach(async () => {
  if (!canUseDesktop()) return;
  if (bus === undefined) delete process.env["DBUS_SESSION_BUS_ADDRESS"];
  else process.env["DBUS_SESSION_BUS_ADDRESS"] = bus;
  await tray?.end();
  tray = undefined;
  for (const each of programs.splice(0)) await stopDaemon(each, millis(5_000));
  await desktop.end();
});

/** What the icon says, as the panel reads it. */
function tooltip(): string {
  return desktop.call(
    /org\.kde\.StatusNotifierItem-\d+-1/.exec(desktop.icons())?.[0] ?? "",
    "/StatusNotifierItem",
    "org.freedesktop.DBus.Properties.Get",
    "string:org.kde.StatusNotifierItem",
    "string:ToolTip",
  );
}

/** The real tray and its real host, with a daemon that tells what the test says and notes what it is asked. */
class PretendedTray {
  readonly asked: string[] = [];
  readonly said: string[] = [];
  readonly #stop = new AbortController();
  readonly #running: Promise<void>;
  #tell: (status: StatusJson) => void = () => undefined;

  constructor(first: StatusJson) {
    const asked = this.asked;
    let next = Promise.resolve(first);
    const wait = (): void => {
      next = new Promise((resolve) => {
        this.#tell = resolve;
      });
    };
    const stopped = new Promise<undefined>((resolve) =>
      this.#stop.signal.addEventListener("abort", () => resolve(undefined)),
    );
    this.#running = runTray(
      {
        host: new LinuxTray(),
        notices: new NodeNotices(),
        daemon: {
          async *events() {
            for (;;) {
              const status = await Promise.race([next, stopped]);
              if (status === undefined) return;
              wait();
              yield status;
            }
          },
          pause: async () => void asked.push("pause"),
          goOn: async () => void asked.push("continue"),
          openLink: async () => ({ url: "http://127.0.0.1:1/enter" }),
          eject: async (name) => {
            asked.push(`eject ${name}`);
            return { name, kind: "drive" };
          },
        },
        startDaemon: () => void asked.push("start"),
        openInBrowser: async (url) => asked.push(`browser ${url}`) > 0,
        say: (line) => void this.said.push(line),
        pause: async (span) => void (await sleep(span)),
      },
      this.#stop.signal,
    );
  }

  tell(status: StatusJson): void {
    this.#tell(status);
  }

  async end(): Promise<void> {
    this.#stop.abort();
    await this.#running;
  }
}

const shown = (): boolean => desktop.icons().includes("StatusNotifierItem-");

/** The colour of one pixel of the screen, as `#RRGGBB`. */
function colourAt(x: number, y: number): string {
  const file = join(desktop.folder, "screen.png");
  desktop.picture(file);
  const said = spawnSync("convert", [file, "-crop", `1x1+${x}+${y}`, "-depth", "8", "txt:-"], {
    encoding: "utf8",
  });
  return /#[0-9A-F]{6}/.exec(said.stdout)?.[0] ?? said.stderr;
}

/** The middle of an icon of 22 pixels in the panel, and the colour that is meant there. */
const middle = { x: 11, y: 15 };
function meant(sign: Parameters<typeof drawIcon>[0]): string {
  const { argb } = drawIcon(sign, pixels(22));
  const at = 4 * (10 * 22 + 10);
  return argb[at] === 255
    ? `#${Buffer.from(argb.subarray(at + 1, at + 4))
        .toString("hex")
        .toUpperCase()}`
    : "panel";
}

const urgent: StatusJson = {
  ...evening,
  advice:
    "Free 14 GB on Slate, or use a larger drive; the rest follows by itself. Card 8 must not be formatted yet.",
  alerts: evening.alerts.map((alert) => ({ ...alert, severity: "urgent" })),
};
const safe: StatusJson = {
  ...evening,
  headline: "Everything is safe.",
  advice: "Card 7 may be formatted.",
  safe: true,
  work: [],
  alerts: [],
  drives: [drive({}), drive({ name: "Slate", place: "room safe", id: "5".repeat(32) })],
  cards: [card({ clear: true, lackingTotal: 0 })],
};
const missing: StatusJson = { ...evening, work: [], paused: true };

onDesktop(`a panel draws each sign in the colours that are meant (${whyNoDesktop})`, async () => {
  await desktop.startPanel();
  tray = new PretendedTray(safe);
  await holds("the icon is told of", shown);
  // Reference host: xfce4-panel.
  await holds("the icon is drawn", () => colourAt(middle.x, middle.y) === meant({ sign: "atGoal" }));
  expect(colourAt(middle.x, middle.y)).toBe("#4A88C0");
  tray.tell(urgent);
  await holds("look now", () => colourAt(middle.x, middle.y) === meant({ sign: "lookNow" }));
  tray.tell(missing);
  const panel = colourAt(500, 15);
  await holds("a ring is open in its middle", () => colourAt(middle.x, middle.y) === panel);
  expect(tray.said).toEqual([]);
});

onDesktop(`what is chosen with mouse and keys is carried out (${whyNoDesktop})`, async () => {
  await desktop.startPanel();
  tray = new PretendedTray(evening);
  await holds("the icon is told of", shown);
  await desktop.choose("Down", "Return");
  await holds("Open the page", () => tray?.asked.at(-1) === "browser http://127.0.0.1:1/enter");
  await desktop.choose("Down", "Down", "Return");
  await holds("Pause", () => tray?.asked.at(-1) === "pause");
  tray.tell(missing);
  await sleep(500);
  await desktop.choose("Down", "Down", "Return");
  await holds("Continue", () => tray?.asked.at(-1) === "continue");
  await desktop.choose("Down", "Down", "Down", "Right", "Return");
  await holds("Eject, Blue", () => tray?.asked.at(-1) === "eject Blue");
  await holds("a notice says that it may be unplugged", () =>
    desktop.notices().includes("summary: 'Blue may be unplugged'"),
  );
  // While the menu is open its words change in place, and a click still means what is written there.
  await desktop.openMenu();
  tray.tell({ ...missing, headline: "Still not everything is safe." });
  await sleep(300);
  await desktop.press("Down", "Return");
  await holds("Open the page again", () => tray?.asked.at(-1) === "browser http://127.0.0.1:1/enter");
});

onDesktop(
  `panels come and go, and each one shows it; without any it says so once (${whyNoDesktop})`,
  async () => {
    tray = new PretendedTray(evening);
    const absent = ["No tray is here; the page does everything: `scrubjay open`."];
    await holds("it says so", () => tray?.said.length === 1);
    for (let times = 0; times < 2; times += 1) {
      await desktop.startPanel();
      await holds("the icon is told of", shown);
      await desktop.stopPanel();
    }
    expect(tray.said).toEqual(absent);
    await desktop.startPanel();
    await holds("the icon is told of", shown);
    await tray.end();
    await holds("the icon is gone with the tray", () => !shown());
  },
);

onDesktop(
  `a bus that goes costs the icon only, and the next bus has it again (${whyNoDesktop})`,
  async () => {
    await desktop.startPanel();
    tray = new PretendedTray(evening);
    await holds("the icon is told of", shown);
    await desktop.stopBus();
    tray.tell(safe);
    await holds("it says that no tray is there", () => tray?.said.length === 1);
    tray.tell(evening);
    await desktop.startBus();
    await desktop.startPanel();
    await holds("the icon is told of again", shown);
  },
);

onDesktop(`callers that make no sense get errors and change nothing (${whyNoDesktop})`, async () => {
  await desktop.startPanel();
  tray = new PretendedTray(evening);
  await holds("the icon is told of", shown);
  const name = /org\.kde\.StatusNotifierItem-\d+-1/.exec(desktop.icons())?.[0] ?? "";
  const [item, menu, properties] = ["/StatusNotifierItem", "/MenuBar", "org.freedesktop.DBus.Properties"];
  for (const [path, method, ...args] of [
    [menu, `${properties}.Set`, "string:com.canonical.dbusmenu", "string:Version", "variant:uint32:7"],
    [item, `${properties}.Set`, "string:org.kde.StatusNotifierItem", "string:Id", "variant:string:other"],
    [item, `${properties}.Get`, "string:org.kde.StatusNotifierItem", "string:constructor"],
    [menu, "com.canonical.dbusmenu.GetProperty", "int32:4711", "string:label"],
    [menu, "com.canonical.dbusmenu.AboutToShow", "int32:-1"],
    [menu, "com.canonical.dbusmenu.AboutToShow", "string:root"],
    ["/Elsewhere", "com.canonical.dbusmenu.AboutToShow", "int32:0"],
  ] as const) {
    const answer = await desktop.callSelf(name, path, method, ...args);
    expect(answer).toMatch(/^Error org\./);
    expect(answer).not.toContain("    at ");
  }
  const get = (path: string, of: string, what: string): Promise<string> =>
    desktop.callSelf(name, path, `${properties}.Get`, `string:${of}`, `string:${what}`);
  expect(await get(menu, "com.canonical.dbusmenu", "Version")).toContain("uint32 3");
  expect(await get(item, "org.kde.StatusNotifierItem", "Id")).toContain('string "scrubjay"');
  expect(tray.asked).toEqual([]);
});

onDesktop(`notices come through as plain text with their urgency (${whyNoDesktop})`, async () => {
  const notices = new NodeNotices();
  const hostile = "-rf <b>bold</b> & C:\\new";
  expect(await notices.show({ title: "Card 7 is done", body: hostile, urgency: "normal" })).toEqual({
    shown: true,
  });
  expect(await notices.show({ title: hostile, body: "two\nlines", urgency: "critical" })).toEqual({
    shown: true,
  });
  await holds("both are printed", () => desktop.notices().split("summary:").length === 3);
  // dunst -print gives what came over the bus (body: escaped markup, Desktop Notifications 1.2) and as it is laid out.
  const [, first = "", second = ""] = desktop.notices().split("appname:");
  expect(first).toContain("summary: 'Card 7 is done'");
  expect(first).toContain("body: ' -rf &lt;b&gt;bold&lt;/b&gt; &amp; C:\\new'");
  expect(first).toContain("urgency: NORMAL");
  expect(second).toContain(`summary: ' ${hostile}'`);
  expect(second).toContain("body: 'two\nlines'");
  expect(second).toContain("urgency: CRITICAL");
  // 0: it doesn't go by itself.
  expect(second).toContain("timeout: 0");
});

onDesktop(`a click on a notice says which matter it was, and text stays text (${whyNoDesktop})`, async () => {
  const chosen: string[] = [];
  const instead: string[] = [];
  const otherwise = {
    show: async ({ title }: { readonly title: string }) => {
      instead.push(title);
      return { shown: true } as const;
    },
  };
  const notices = new DesktopNotices(otherwise, (matter) => chosen.push(matter));
  const hostile = "-rf <b>bold</b> & C:\\new";
  const shownAs = await notices.show({
    title: "Rust is not plugged in",
    body: hostile,
    urgency: "critical",
    matter: "evening/drive-missing/kc%2FRust",
  });
  expect(shownAs).toEqual({ shown: true });
  await holds("it is printed", () => desktop.notices().includes("summary:"));
  expect(desktop.notices()).toContain("body: '-rf &lt;b&gt;bold&lt;/b&gt; &amp; C:\\new'");
  expect(desktop.notices()).toContain("urgency: CRITICAL");
  expect(desktop.notices()).toContain("timeout: 0");
  await holds("the click is heard", () => {
    execFileSync("dunstctl", ["action", "0"], { env: desktop.env, stdio: "ignore" });
    return chosen.length > 0;
  });
  expect(chosen).toEqual(["evening/drive-missing/kc%2FRust"]);
  await notices.show({ title: "Card 7 may be formatted", body: "", urgency: "normal", matter: "evening" });
  const click = () => execFileSync("dunstctl", ["action", "0"], { env: desktop.env, stdio: "ignore" });
  await holds("the next click is heard", () => {
    click();
    return chosen.length > 1;
  });
  expect(chosen[1]).toBe("evening");
  expect(instead).toEqual([]);
  // What is about no matter, and what comes when the bus is gone, goes the other way.
  await notices.show({ title: "no matter", body: "", urgency: "low" });
  await desktop.stopBus();
  await notices.show({ title: "no bus", body: "", urgency: "low", matter: "evening" });
  expect(instead).toEqual(["no matter", "no bus"]);
  notices.end();
});

onDesktop(
  `the daemon's notices reach the desktop, and a click opens the page at the matter (${whyNoDesktop})`,
  async () => {
    const opened = join(desktop.folder, "opened");
    const programsOfTest = join(desktop.folder, "bin");
    mkdirSync(programsOfTest);
    // What the desktop would open a browser with.
    writeFileSync(join(programsOfTest, "xdg-open"), `#!/bin/sh\necho "$1" >> '${opened}'\n`, { mode: 0o755 });
    const path = process.env["PATH"] ?? "";
    process.env["PATH"] = `${programsOfTest}:${path}`;
    const computer = new Computer();
    const cardIn = async (name: string, options: typeof tinyCard): Promise<void> => {
      const drawer = join(computer.aside, name);
      generateCard(drawer, options);
      renameSync(drawer, computer.at(name));
      await computer.settled();
    };
    try {
      await computer.start();
      for (const name of ["Blue", "Slate"]) mkdirSync(computer.at(name));
      await computer.introduce("Blue", "Slate");
      await desktop.startPanel();
      const own = spawn(process.execPath, [builtCli, "tray"], {
        env: { ...desktop.env, SCRUBJAY_HOME: computer.home },
        stdio: "ignore",
      });
      programs.push(own);
      await holds("the icon is told of", shown);
      await cardIn("ONE", tinyCard);
      await holds("the tray says that all is safe", () => tooltip().includes("Everything is safe."));
      await holds("done and clear", () => desktop.notices().includes("summary: 'Card 1 may be formatted'"));
      renameSync(computer.at("Slate"), join(computer.aside, "Slate"));
      await cardIn("TWO", nextEvening(tinyCard));
      await holds("the tray says what is missing", () => tooltip().includes("Plug in Slate: it owes"));
      await holds("the drive is missing", () =>
        desktop.notices().includes("summary: 'Slate is not plugged in."),
      );
      renameSync(join(computer.aside, "Slate"), computer.at("Slate"));
      await holds("caught up", () => desktop.notices().includes("summary: 'Slate is caught up'"));
      await holds("the tray says it too", () => tooltip().includes("Everything is safe."));
      const caughtUp =
        desktop
          .notices()
          .split("appname:")
          .find((each) => each.includes("Slate is caught up")) ?? "";
      expect(caughtUp).toContain("urgency: LOW");
      await holds("a click opens a browser", () => {
        execFileSync("dunstctl", ["action", "0"], { env: desktop.env, stdio: "ignore" });
        return existsSync(opened);
      });
      const url = new URL(readFileSync(opened, "utf8").split("\n")[0] ?? "");
      expect(url.hash).toMatch(/^#(drives|evening)/);
      // The link is good: it gives a session and the page.
      const entered = await fetch(url, { redirect: "manual" });
      expect([entered.status, entered.headers.get("location")]).toEqual([303, "/"]);
    } finally {
      process.env["PATH"] = path;
      await computer.end();
    }
  },
);

onDesktop(`a tray of its own process follows the daemon that goes and comes (${whyNoDesktop})`, async () => {
  const home = join(desktop.folder, "home");
  const practice = join(desktop.folder, "practice");
  for (const each of [home, practice]) mkdirSync(each);
  const log = join(desktop.folder, "daemon.log");
  const begin = (): ChildProcess => {
    const daemon = startDaemon(builtCli, home, practice, log);
    programs.push(daemon);
    return daemon;
  };
  await desktop.startPanel();
  const first = begin();
  await holds("the daemon is found", () => existsSync(join(home, "run/daemon.json")));
  const own = spawn(process.execPath, [builtCli, "tray"], {
    env: { ...desktop.env, SCRUBJAY_HOME: home },
    stdio: "ignore",
  });
  programs.push(own);
  await holds("the icon is told of", shown);
  await holds("it says what the board says", () => tooltip().includes("No trip is described yet."));
  // A second one for the same person ends, and the first keeps the only icon.
  const second = spawnSync(process.execPath, [builtCli, "tray"], {
    env: { ...desktop.env, SCRUBJAY_HOME: home },
    encoding: "utf8",
    timeout: 20_000,
  });
  expect([second.status, second.stderr]).toEqual([64, expect.stringContaining("running already")]);
  expect(desktop.icons().match(/StatusNotifierItem-/g)).toHaveLength(1);
  // Stopped on purpose: the tray doesn't start another.
  await stopDaemon(first, millis(10_000));
  await holds("it says that the daemon went", () => tooltip().includes("daemon is not running"));
  begin();
  await holds("it follows the next one", () => tooltip().includes("No trip is described yet."));
  expect(await stopDaemon(own, millis(10_000))).toBe(0);
  await holds("the icon is gone with the tray", () => !shown());
});

onDesktop(`a daemon that the tray starts outlives it and keeps a log (${whyNoDesktop})`, async () => {
  const state = absolutePath(join(desktop.folder, "state"));
  const program = join(desktop.folder, "program.mjs");
  const pid = join(desktop.folder, "pid");
  writeFileSync(
    program,
    `import { writeFileSync } from "node:fs";
console.error(process.argv[2]);
writeFileSync(${JSON.stringify(pid)}, String(process.pid));
setTimeout(() => {}, 60_000);
`,
  );
  startFromTray(program, state);
  await holds("it runs", () => existsSync(pid) && readFileSync(pid, "utf8") !== "");
  const started = Number(readFileSync(pid, "utf8"));
  try {
    expect(readFileSync(join(state, "daemon.log"), "utf8")).toBe("daemon\n");
    // In a session of its own, so that closing the tray's terminal doesn't reach it (POSIX, setsid). Linux, proc(5): the
    // session is the sixth field of `stat`, the fourth behind the name.
    const [, behind = ""] = readFileSync(`/proc/${started}/stat`, "utf8").split(") ");
    expect(behind.split(" ")[3]).toBe(String(started));
  } finally {
    process.kill(started);
  }
});
