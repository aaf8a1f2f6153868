/**
 * A desktop for tests that nobody sees: an X server without a screen, a session bus, a notification service that prints
 * what it gets, and a panel with a tray. All in a home of its own; nothing of the person's session is touched.
 *
 * Each program is ended by its own process id, whatever the test left.
 */

import {
  type ChildProcess,
  execFile,
  execFileSync,
  type StdioOptions,
  spawn,
  spawnSync,
} from "node:child_process";
import {
  closeSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  openSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";

const tools = ["Xvfb", "dbus-daemon", "dbus-send", "xfce4-panel", "dunst", "xdotool", "import", "convert"];

export function canUseDesktop(): boolean {
  return tools.every((tool) => spawnSync("sh", ["-c", `command -v ${tool}`]).status === 0);
}

/** Why a test that needs it doesn't run: for its skip's name. */
export const whyNoDesktop = "needs xvfb, dbus, xfce4-panel, dunst, xdotool and imagemagick";

/** One panel at the top left, 32 pixels high, with nothing in it but the tray. */
const panelSettings = `<?xml version="1.0" encoding="UTF-8"?>
<channel name="xfce4-panel" version="1.0">
  <property name="configver" type="int" value="2"/>
  <property name="panels" type="array">
    <value type="int" value="1"/>
    <property name="panel-1" type="empty">
      <property name="position" type="string" value="p=6;x=0;y=0"/>
      <property name="position-locked" type="bool" value="true"/>
      <property name="size" type="uint" value="32"/>
      <property name="length" type="uint" value="100"/>
      <property name="plugin-ids" type="array"><value type="int" value="1"/></property>
    </property>
  </property>
  <property name="plugins" type="empty">
    <property name="plugin-1" type="string" value="systray">
      <property name="icon-size" type="int" value="22"/>
      <property name="hide-new-items" type="bool" value="false"/>
    </property>
  </property>
</channel>
`;

/** Where the first icon of the tray is. */
const icon = ["16", "16"] as const;

export class Desktop {
  readonly folder = mkdtempSync(join(tmpdir(), "scrubjay-desktop-"));
  readonly #running: ChildProcess[] = [];
  #bus: ChildProcess | undefined;
  #panel: ChildProcess | undefined;
  #env: Record<string, string> = {};

  /** For programs of this desktop. */
  get env(): NodeJS.ProcessEnv {
    return { ...process.env, ...this.#env };
  }

  get busAddress(): string {
    return `unix:path=${join(this.folder, "run/bus")}`;
  }

  /** Screen, bus and notices; the panel is started by itself. */
  async start(): Promise<void> {
    const at = (name: string): string => join(this.folder, name);
    for (const name of ["config", "cache", "data", "run"]) mkdirSync(at(name), { mode: 0o700 });
    this.#env = {
      HOME: this.folder,
      XDG_CONFIG_HOME: at("config"),
      XDG_CACHE_HOME: at("cache"),
      XDG_DATA_HOME: at("data"),
      XDG_RUNTIME_DIR: at("run"),
      DBUS_SESSION_BUS_ADDRESS: this.busAddress,
      // Accessibility services would be started by the bus and stay.
      NO_AT_BRIDGE: "1",
      LANG: "C.UTF-8",
    };
    const display = openSync(at("display"), "w");
    const screen = ["-displayfd", "3", "-screen", "0", "1024x600x24", "-nolisten", "tcp"];
    this.#run("Xvfb", screen, ["ignore", "ignore", "ignore", display]);
    closeSync(display);
    await holds("the X server is there", () => readFileSync(at("display"), "utf8").endsWith("\n"));
    this.#env["DISPLAY"] = `:${readFileSync(at("display"), "utf8").trim()}`;

    await this.startBus();

    const notices = openSync(at("notices"), "w");
    this.#run("dunst", ["-print"], ["ignore", notices, "ignore"]);
    closeSync(notices);
    await holds("notices are taken", () => this.hasOwner("org.freedesktop.Notifications"));
  }

  async startBus(): Promise<void> {
    const address = `--address=${this.busAddress}`;
    this.#bus = this.#run("dbus-daemon", ["--session", "--nofork", "--nopidfile", address]);
    await holds("the session bus is there", () => existsSync(join(this.folder, "run/bus")));
  }

  /** Whatever is on it is cut off, as when a session ends. */
  async stopBus(): Promise<void> {
    if (this.#bus !== undefined) await stopped(this.#bus);
    rmSync(join(this.folder, "run/bus"), { force: true });
  }

  async startPanel(): Promise<void> {
    const settings = join(this.folder, "config/xfce4/xfconf/xfce-perchannel-xml");
    // It writes down which icons it knows: made anew for each run.
    if (!existsSync(settings)) {
      mkdirSync(settings, { recursive: true });
      writeFileSync(join(settings, "xfce4-panel.xml"), panelSettings);
    }
    this.#panel = this.#run("xfce4-panel", ["--disable-wm-check"]);
    await holds("the panel has a tray", () => this.hasOwner("org.kde.StatusNotifierWatcher"));
  }

  async stopPanel(): Promise<void> {
    if (this.#panel !== undefined) await stopped(this.#panel);
    await holds("the tray is gone", () => !this.hasOwner("org.kde.StatusNotifierWatcher"));
  }

  /** Everything that the notification service printed so far. */
  notices(): string {
    return readFileSync(join(this.folder, "notices"), "utf8");
  }

  /** What the panel's tray has been told of. */
  icons(): string {
    if (!this.hasOwner("org.kde.StatusNotifierWatcher")) return "";
    return this.call(
      "org.kde.StatusNotifierWatcher",
      "/StatusNotifierWatcher",
      "org.freedesktop.DBus.Properties.Get",
      "string:org.kde.StatusNotifierWatcher",
      "string:RegisteredStatusNotifierItems",
    );
  }

  /** Calls a method over the bus. @returns the reply, or the error, as dbus-send prints it */
  call(destination: string, path: string, method: string, ...args: readonly string[]): string {
    const { stdout, stderr } = spawnSync("dbus-send", sending(destination, path, method, args), {
      env: this.env,
      encoding: "utf8",
    });
    return stdout + stderr;
  }

  /** The same for calls that this very process answers. */
  callSelf(destination: string, path: string, method: string, ...args: readonly string[]): Promise<string> {
    return new Promise((resolve) => {
      execFile("dbus-send", sending(destination, path, method, args), { env: this.env }, (_, out, errors) =>
        resolve(out + errors),
      );
    });
  }

  hasOwner(name: string): boolean {
    return this.call(
      "org.freedesktop.DBus",
      "/",
      "org.freedesktop.DBus.NameHasOwner",
      `string:${name}`,
    ).includes("boolean true");
  }

  /** Opens the icon's menu with the mouse; the icon may be drawn a moment after it is told of. */
  async openMenu(): Promise<void> {
    await holds("the last menu is closed", () => this.#menu() === undefined);
    await holds("the menu is open", async () => {
      this.#pointer("mousemove", ...icon, "click", "1");
      for (let looks = 0; looks < 20 && this.#menu() === undefined; looks += 1) await sleep(100);
      return this.#menu() !== undefined;
    });
    // It is shown first and filled then.
    let before: string | undefined;
    await holds("the menu is filled", async () => {
      before = this.#menu();
      await sleep(300);
      return before !== undefined && this.#menu() === before;
    });
  }

  /** Opens the menu and presses keys, such as `Down` and `Return`. What can't be chosen is passed over. */
  async choose(...keys: readonly string[]): Promise<void> {
    await this.openMenu();
    await this.press(...keys);
  }

  async press(...keys: readonly string[]): Promise<void> {
    for (const key of keys) {
      this.#pointer("key", key);
      await sleep(150);
    }
  }

  /** The whole screen as PNG. */
  picture(file: string): void {
    execFileSync("import", ["-window", "root", file], { env: this.env });
  }

  async end(): Promise<void> {
    for (const each of this.#running.reverse()) await stopped(each);
    rmSync(this.folder, { recursive: true, force: true });
  }

  #run(command: string, args: readonly string[], stdio: StdioOptions = "ignore"): ChildProcess {
    const child = spawn(command, [...args], { env: this.env, stdio, cwd: this.folder });
    this.#running.push(child);
    return child;
  }

  /** Where the open menu is and how large, as xdotool says it: the one window that is high and not as wide as the screen. */
  #menu(): string | undefined {
    const search = ["search", "--onlyvisible", "--name", ".*", "getwindowgeometry", "--shell", "%@"];
    const { stdout } = spawnSync("xdotool", search, { env: this.env, encoding: "utf8" });
    return stdout.split("WINDOW=").find((each) => {
      const [width = 0, height = 0] = ["WIDTH", "HEIGHT"].map((name) =>
        Number(RegExp(`${name}=(\\d+)`).exec(each)?.[1]),
      );
      return height > 100 && width > 1 && width < 1000;
    });
  }

  #pointer(...args: readonly string[]): void {
    execFileSync("xdotool", [...args], { env: this.env });
  }
}

function sending(destination: string, path: string, method: string, args: readonly string[]): string[] {
  return ["--session", "--print-reply", `--dest=${destination}`, path, method, ...args];
}

/** Asks again and again, for half a minute at most. */
export async function holds(what: string, is: () => boolean | Promise<boolean>): Promise<void> {
  const giveUp = performance.now() + 30_000;
  while (!(await is())) {
    if (performance.now() > giveUp) throw new Error(`not within half a minute: ${what}`);
    await sleep(50);
  }
}

async function stopped(child: ChildProcess): Promise<void> {
  if (child.pid === undefined || child.exitCode !== null || child.signalCode !== null) return;
  const ended = new Promise((resolve) => child.once("exit", resolve));
  child.kill("SIGTERM");
  const timer = setTimeout(() => child.kill("SIGKILL"), 3_000);
  await ended;
  clearTimeout(timer);
}
