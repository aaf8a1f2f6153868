/**
 * Notices over D-Bus, for services that tell when one is clicked (Desktop Notifications Specification 1.2): the click
 * opens the page at the matter. Where there is no session bus, no such service, or it fails, another way is taken.
 *
 * Invariant: plain text goes in and plain text is seen; a signal from anyone opens nothing but this computer's own page.
 * Not its job: opening the page.
 */

import { Message, type MessageBus, sessionBus, Variant } from "@particle/dbus-next";
import { type Millis, millis } from "../../../shared/units.ts";
import type { Notice, Notices } from "../../ports/notices.ts";
import { within } from "../common/dbus.ts";

type Shown = Awaited<ReturnType<Notices["show"]>>;

const service = "org.freedesktop.Notifications";
const objectPath = "/org/freedesktop/Notifications";
const ownBus = {
  destination: "org.freedesktop.DBus",
  path: "/org/freedesktop/DBus",
  interface: "org.freedesktop.DBus",
} as const;

/** How long the service may take. Longer than it needs to start, shorter than people wait. */
const defaultLimit = millis(10_000);
/** notices. So many are remembered to be clicked; older ones open nothing. */
const rememberedMost = 50;

/** Bytes on the bus (specification as above, "Hints"). */
const urgencies = { low: 0, normal: 1, critical: 2 } as const;

interface Line {
  readonly bus: MessageBus;
  /** Rejects when the bus goes. */
  readonly broken: Promise<never>;
  readonly markup: boolean;
}

export class DesktopNotices implements Notices {
  readonly #otherwise: Notices;
  readonly #chosen: (matter: string) => void;
  readonly #limit: Millis;
  #line: Promise<Line | undefined> | undefined;
  readonly #matters = new Map<number, string>();
  #last: Promise<unknown> = Promise.resolve();

  /**
   * @param otherwise shows what can't be shown this way
   * @param chosen hears of the matter of a notice that was clicked
   */
  constructor(otherwise: Notices, chosen: (matter: string) => void, limit: Millis = defaultLimit) {
    this.#otherwise = otherwise;
    this.#chosen = chosen;
    this.#limit = limit;
  }

  show(notice: Notice): Promise<Shown> {
    const next = this.#last.then(() => this.#send(notice));
    this.#last = next;
    return next;
  }

  /** Nothing is heard of any more. */
  end(): void {
    void this.#line?.then((line) => line?.bus.disconnect());
    this.#line = undefined;
  }

  async #send(notice: Notice): Promise<Shown> {
    if (notice.matter === undefined) return this.#otherwise.show(notice);
    this.#line ??= this.#connect();
    const line = await this.#line;
    if (line === undefined) {
      this.#line = undefined;
      return this.#otherwise.show(notice);
    }
    try {
      const asked = ask(line.bus, notifying(notice, line.markup));
      const [id] = await within(this.#limit, Promise.race([asked, line.broken]));
      if (typeof id === "number") this.#remember(id, notice.matter);
      return { shown: true };
    } catch {
      // The service or the bus went: another connection for the next one.
      this.end();
      return this.#otherwise.show(notice);
    }
  }

  #remember(id: number, matter: string): void {
    this.#matters.delete(id);
    this.#matters.set(id, matter);
    for (const [oldest] of this.#matters) {
      if (this.#matters.size <= rememberedMost) break;
      this.#matters.delete(oldest);
    }
  }

  /** @returns undefined where no service is there, or one that tells of no clicks. */
  async #connect(): Promise<Line | undefined> {
    // Another service, or the same one anew, gives its numbers anew.
    this.#matters.clear();
    const bus = busOrNone();
    if (bus === undefined) return undefined;
    // A connection that breaks goes on reporting errors; what is asked over it fails or runs out of time.
    const broken = new Promise<never>((_, reject) => bus.on("error", reject));
    try {
      return await within(this.#limit, Promise.race([this.#listen(bus, broken), broken]));
    } catch {
      bus.disconnect();
      return undefined;
    }
  }

  async #listen(bus: MessageBus, broken: Promise<never>): Promise<Line | undefined> {
    bus.on("message", (message: Message) => this.#hear(bus, message));
    const rule = `type='signal',sender='${service}',interface='${service}'`;
    await ask(bus, new Message({ ...ownBus, member: "AddMatch", signature: "s", body: [rule] }));
    const [capabilities] = await ask(bus, calling("GetCapabilities"));
    if (!Array.isArray(capabilities) || !capabilities.includes("actions")) {
      bus.disconnect();
      return undefined;
    }
    return { bus, broken, markup: capabilities.includes("body-markup") };
  }

  #hear(bus: MessageBus, { interface: from, member, body }: Message): void {
    const id: unknown = body[0];
    if (from !== service || typeof id !== "number") return;
    const matter = this.#matters.get(id);
    if (matter === undefined) return;
    // Closed it can't be clicked any more; a service may close it before it tells of the click.
    if (member !== "ActionInvoked" || body[1] !== "default") return;
    // Once: whoever calls again and again opens no more pages. Some services leave it standing after the click.
    this.#matters.delete(id);
    ask(bus, calling("CloseNotification", "u", [id])).catch(() => undefined);
    this.#chosen(matter);
  }
}

function busOrNone(): MessageBus | undefined {
  try {
    return sessionBus();
  } catch {
    return undefined;
  }
}

async function ask(bus: MessageBus, message: Message): Promise<readonly unknown[]> {
  return (await bus.call(message))?.body ?? [];
}

function calling(member: string, signature = "", body: unknown[] = []): Message {
  return new Message({ destination: service, path: objectPath, interface: service, member, signature, body });
}

function notifying(notice: Notice, markup: boolean): Message {
  const body = plain(notice.body);
  // 0: what needs attention stays until it is dismissed; -1: as the service likes.
  const expire = notice.urgency === "critical" ? 0 : -1;
  return calling("Notify", "susssasa{sv}i", [
    "Scrubjay",
    0,
    "",
    plain(notice.title).replace(/\s+/g, " "),
    markup ? escaped(body) : body,
    // `default` is the click on the notice itself; its label is shown by few.
    ["default", "Show"],
    { urgency: new Variant("y", urgencies[notice.urgency]) },
    expire,
  ]);
}

/** Characters that no string on the bus may have (D-Bus Specification, "Basic types": no NUL). */
function plain(text: string): string {
  return text.replaceAll("\0", "").toWellFormed();
}

function escaped(text: string): string {
  return text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
}
