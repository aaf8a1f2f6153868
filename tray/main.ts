/**
 * The tray's work: shows what the daemon tells in the icon's host and carries out what is chosen there. A process of its
 * own, so that neither a panel nor a session bus can do the daemon any harm.
 *
 * Invariants: it waits, it never spins; whatever the daemon refuses becomes a notice and changes nothing here. Not its
 * job: what is shown (`menuModel.ts`), where (`platform/`).
 */

import type { Notices } from "../daemon/ports/notices.ts";
import { UserMistake } from "../shared/problems.ts";
import { type Millis, millis } from "../shared/units.ts";
import type { TrayFace } from "./face.ts";
import { type Choice, viewOf, viewWithoutDaemon } from "./menuModel.ts";
import type { TrayHost } from "./port.ts";

export interface TrayParts {
  readonly daemon: TrayFace;
  readonly host: TrayHost;
  readonly notices: Notices;
  startDaemon(): void;
  /** @returns whether a browser was asked to show it. */
  openInBrowser(url: string): Promise<boolean>;
  /** A line for whoever started the tray. */
  say(line: string): void;
  /** Lets time pass; resolves sooner when `stop` aborts. */
  pause(span: Millis, stop: AbortSignal): Promise<void>;
}

/** ms. How soon a daemon that went is asked again; it may be starting anew. */
const askAgain = millis(1_000);
/** How often it is asked before it is started: at login a service may be starting it at this moment. */
const asksBeforeStart = 5;

/** Runs until `stop` aborts or `Quit the tray` is chosen. The host is ended afterwards, whatever happens. */
export async function runTray(parts: TrayParts, stop: AbortSignal): Promise<void> {
  const { host } = parts;
  const end = new AbortController();
  const ended = AbortSignal.any([stop, end.signal]);
  let bug: unknown;
  host.onChoose((choice) => {
    if (choice.does === "quit") end.abort();
    else
      carryOut(parts, choice).catch((error: unknown) => {
        bug ??= error;
        end.abort();
      });
  });
  let saidAbsent = false;
  host.onAbsent(() => {
    if (saidAbsent) return;
    saidAbsent = true;
    parts.say("No tray is here; the page does everything: `scrubjay open`.");
  });
  try {
    await follow(parts, ended);
  } finally {
    await host.end();
  }
  if (bug !== undefined) throw bug;
}

async function follow(parts: TrayParts, stop: AbortSignal): Promise<void> {
  // Once it answered, whoever ends it may mean it: then it is started from the menu only.
  let asksLeft = asksBeforeStart;
  while (!stop.aborted) {
    try {
      for await (const status of parts.daemon.events(stop)) {
        if (stop.aborted) return;
        asksLeft = 0;
        parts.host.show(viewOf(status));
      }
    } catch (error) {
      if (!(error instanceof UserMistake)) throw error;
      if (stop.aborted) return;
      parts.host.show(viewWithoutDaemon());
      asksLeft -= 1;
      if (asksLeft === 0) start(parts);
    }
    await parts.pause(askAgain, stop);
  }
}

function start(parts: TrayParts): void {
  parts.say("The daemon isn't running; the tray starts it. It goes on when the tray is quit.");
  parts.startDaemon();
}

async function carryOut(parts: TrayParts, choice: Exclude<Choice, { does: "quit" }>): Promise<void> {
  const { daemon, notices } = parts;
  try {
    switch (choice.does) {
      case "openPage": {
        const { url } = await daemon.openLink();
        if (!(await parts.openInBrowser(url)))
          await notices.show({
            title: "The page isn't open",
            body: "No browser could be started. Run `scrubjay open` in a terminal; it shows the link.",
            urgency: "normal",
          });
        return;
      }
      case "pause":
        return await daemon.pause();
      case "goOn":
        return await daemon.goOn();
      case "startDaemon":
        return start(parts);
      case "eject": {
        const { name, kind } = await daemon.eject(choice.what);
        const title = `${name} may be ${kind === "card" ? "taken out" : "unplugged"}`;
        await notices.show({ title, body: "It is flushed and unmounted.", urgency: "normal" });
        return;
      }
    }
  } catch (error) {
    if (!(error instanceof UserMistake)) throw error;
    await notices.show({ title: notDone(choice), body: `${error.message} ${error.next}`, urgency: "normal" });
  }
}

function notDone(choice: Exclude<Choice, { does: "quit" }>): string {
  switch (choice.does) {
    case "openPage":
      return "The page isn't open";
    case "pause":
      return "The work isn't paused";
    case "goOn":
      return "The work isn't continued";
    case "startDaemon":
      return "The daemon isn't started";
    case "eject":
      return `${choice.name} isn't ejected: leave it in`;
  }
}
