/** The board that keeps itself up to date, the link that opens the page, and work that waits. */

import { expect, test } from "vitest";
import type { Terminal } from "../../daemon/cli/terminal.ts";
import { watchUntil } from "../../daemon/cli/watch.ts";
import type { StatusJson } from "../../shared/api.ts";
import { UserMistake } from "../../shared/problems.ts";
import { emptyStatus } from "../api/fakeFace.ts";
import { scrubjay, startDaemon, world } from "./commandLine.ts";

const said = (headline: string): StatusJson => ({ ...emptyStatus, headline, advice: "Put a card in." });

function terminalOf(columns: number | undefined): Terminal & { readonly text: () => string } {
  let text = "";
  const write = (part: string): void => {
    text += part;
  };
  return {
    out: write,
    exact: write,
    err: write,
    columns,
    rows: columns === undefined ? undefined : 12,
    errColumns: columns,
    pause: async () => undefined,
    env: { LANG: "C.UTF-8" },
    userHome: "/home/anna",
    text: () => text,
  };
}

/** A daemon that tells these one after the other and then goes. */
function telling(...statuses: readonly StatusJson[]) {
  return {
    events: async function* () {
      yield* statuses;
    },
    status: async (): Promise<StatusJson> => {
      throw new UserMistake("Scrubjay's daemon is not running.", "Start it.", 69);
    },
  };
}

const never = new AbortController().signal;

test("on a terminal the board is drawn anew in place, and the cursor is given back when the daemon goes", async () => {
  const terminal = terminalOf(80);
  const watching = watchUntil(terminal, telling(said("One."), said("Two.")), false, never);
  await expect(watching).rejects.toThrow("not running");
  // ECMA-48: each drawing begins at home and erases what the one before left; nothing is scrolled.
  expect(terminal.text().split("\u001b[H")).toHaveLength(4);
  expect(terminal.text()).toContain("One.");
  expect(terminal.text()).toContain("Two.");
  expect(terminal.text().trimEnd().endsWith("\u001b[?25h")).toBe(true);
});

test("no more than fits on the screen is drawn", async () => {
  const terminal = terminalOf(80);
  const alert = {
    code: "x",
    severity: "note",
    about: "",
    text: "",
    happened: "A.",
    safe: "B.",
    next: "C.",
    since: emptyStatus.at,
  } as const;
  const long = { ...said("One."), alerts: Array.from({ length: 40 }, () => alert) };
  await expect(watchUntil(terminal, telling(long), false, never)).rejects.toThrow();
  expect(terminal.text().split("\n").length).toBeLessThanOrEqual(14);
  expect(terminal.text()).toContain("and more");
});

test("elsewhere it is a plain line for each change, and none without one", async () => {
  const terminal = terminalOf(undefined);
  await expect(
    watchUntil(terminal, telling(said("One."), said("One."), said("Two.")), false, never),
  ).rejects.toThrow();
  expect(terminal.text()).not.toContain("\u001b");
  expect(
    terminal
      .text()
      .trimEnd()
      .split("\n")
      .map((line) => line.slice(line.indexOf(" ") + 1)),
  ).toEqual(["One. Put a card in.", "Two. Put a card in."]);
});

test("for programs it is one document a line", async () => {
  const terminal = terminalOf(undefined);
  await expect(watchUntil(terminal, telling(said("One."), said("Two.")), true, never)).rejects.toThrow();
  const lines = terminal.text().trimEnd().split("\n");
  expect(lines.map((line) => (JSON.parse(line) as StatusJson).headline)).toEqual(["One.", "Two."]);
});

test("Ctrl-C ends it with 0", async () => {
  const stop = new AbortController();
  const client = {
    ...telling(),
    events: async function* () {
      yield said("One.");
      stop.abort();
      yield said("Two.");
    },
  };
  expect(await watchUntil(terminalOf(undefined), client, false, stop.signal)).toBe(0);
});

test("the real event stream tells the status at once and each change once", async () => {
  await startDaemon();
  const { daemonClient } = await import("../../daemon/api/client.ts");
  const { homeFolders } = await import("../../daemon/home/homeFolders.ts");
  const client = daemonClient(homeFolders({ SCRUBJAY_HOME: world.root }, world.root).run);
  world.face.statusAnswer = said("One.");
  const heard: string[] = [];
  const stop = new AbortController();
  for await (const status of client.events(stop.signal)) {
    heard.push(status.headline);
    if (heard.length === 1) world.face.statusAnswer = said("Two.");
    else stop.abort();
  }
  expect(heard).toEqual(["One.", "Two."]);
});

test("`open --json` prints a link that is good once, and opens nothing", async () => {
  await startDaemon();
  const answer = await scrubjay("open", "--json");
  expect(answer.exit).toBe(0);
  const { url } = JSON.parse(answer.out) as { url: string };
  expect(url).toMatch(/^http:\/\/127\.0\.0\.1:\d+\/enter\?ticket=[0-9a-f]{64}$/);
  expect((await fetch(url, { redirect: "manual" })).status).toBe(303);
  expect((await fetch(url, { redirect: "manual" })).status).toBe(401);
});

test("work is paused and goes on by command", async () => {
  await startDaemon();
  expect(await scrubjay("pause")).toMatchObject({
    exit: 0,
    out: "The work waits. `scrubjay continue` goes on with it.\n",
  });
  expect(await scrubjay("continue")).toMatchObject({ exit: 0, out: "The work goes on.\n" });
  expect(world.face.asked.filter((each) => each === "pause" || each === "continue")).toEqual([
    "pause",
    "continue",
  ]);
});
