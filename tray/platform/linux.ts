/**
 * The icon on Linux: an item and its menu on the session bus, made known to whichever tray host is there. Hosts come
 * and go; the item stays and is made known again to each.
 *
 * Invariants: a bus that goes away, answers nothing or isn't there costs nothing but the icon; every call has a limit. Not
 * its job: pixels and labels (`statusItem.ts`, `dbusMenu.ts`).
 */

import { setTimeout as sleep } from "node:timers/promises";
import { Message, type MessageBus, sessionBus } from "@particle/dbus-next";
import { type Millis, millis } from "../../shared/units.ts";
import type { Choice, TrayView } from "../menuModel.ts";
import type { TrayHost } from "../port.ts";
import { DbusMenu } from "./dbusMenu.ts";
import { menuPath, StatusItem } from "./statusItem.ts";

/** ms. Longer than a busy bus takes, shorter than a person waits. */
const answerLimit = millis(5_000);
/** ms. The library doesn't tell when a bus goes away: it is asked now and then. */
const stillThereEvery = millis(60_000);
/** ms. How soon a bus that went, or wasn't there, is looked for again. */
const lookAgain = millis(5_000);

const itemPath = "/StatusNotifierItem";
const watcher = "org.kde.StatusNotifierWatcher";
const ownBus = {
  destination: "org.freedesktop.DBus",
  path: "/org/freedesktop/DBus",
  interface: "org.freedesktop.DBus",
} as const;

export class LinuxTray implements TrayHost {
  #choose: (choice: Choice) => void = () => undefined;
  #absent: () => void = () => undefined;
  #view: TrayView | undefined;
  #parts: { readonly item: StatusItem; readonly menu: DbusMenu } | undefined;
  readonly #end = new AbortController();
  #living: Promise<void> | undefined;

  show(view: TrayView): void {
    this.#view = view;
    this.#draw();
    this.#living ??= this.#live();
  }

  onChoose(listener: (choice: Choice) => void): void {
    this.#choose = listener;
  }

  onAbsent(listener: () => void): void {
    this.#absent = listener;
  }

  async end(): Promise<void> {
    this.#end.abort();
    await this.#living;
  }

  #draw(): void {
    if (this.#view === undefined || this.#parts === undefined) return;
    try {
      this.#parts.item.show(this.#view);
      this.#parts.menu.show(this.#view.menu);
    } catch {
      // The bus went while it was told; `#live` finds that out.
    }
  }

  async #live(): Promise<void> {
    while (!this.#end.signal.aborted) {
      try {
        await this.#onBus();
      } catch {
        this.#absent();
      }
      await pause(lookAgain, this.#end.signal);
    }
  }

  /** Until the tray ends. Rejects when the bus isn't there or goes. */
  async #onBus(): Promise<void> {
    const bus = sessionBus();
    const lost = new Promise<never>((_, reject) => bus.on("error", reject));
    try {
      await Promise.race([this.#serve(bus), lost]);
    } finally {
      this.#parts = undefined;
      // A connection that is lost still reports errors; nobody needs them any more.
      bus.on("error", () => undefined);
      bus.disconnect();
    }
  }

  async #serve(bus: MessageBus): Promise<void> {
    const choose = (choice: Choice): void => this.#choose(choice);
    const parts = { item: new StatusItem(choose), menu: new DbusMenu(choose) };
    bus.export(itemPath, parts.item);
    bus.export(menuPath, parts.menu);
    this.#parts = parts;
    this.#draw();
    const name = `org.kde.StatusNotifierItem-${process.pid}-1`;
    await within(answerLimit, bus.requestName(name, 0));

    // Listening before asking: no host comes unseen in between.
    bus.on("message", (message: Message) => {
      if (!isNewOwner(message)) return;
      if (message.body[2] === "") this.#absent();
      else void register(bus, name).catch(() => this.#absent());
    });
    const rule = `type='signal',sender='${ownBus.destination}',interface='${ownBus.interface}',member='NameOwnerChanged',arg0='${watcher}'`;
    await ask(bus, { ...ownBus, member: "AddMatch", signature: "s", body: [rule] });
    const owned = await ask(bus, { ...ownBus, member: "NameHasOwner", signature: "s", body: [watcher] });
    if (owned[0] === true) await register(bus, name).catch(() => this.#absent());
    else this.#absent();

    for (;;) {
      await pause(stillThereEvery, this.#end.signal);
      if (this.#end.signal.aborted) return;
      await ask(bus, { ...ownBus, member: "GetId" });
    }
  }
}

function isNewOwner(message: Message): boolean {
  const { sender, interface: from, member, body } = message;
  return (
    sender === ownBus.destination &&
    from === ownBus.interface &&
    member === "NameOwnerChanged" &&
    body[0] === watcher
  );
}

async function register(bus: MessageBus, name: string): Promise<void> {
  await ask(bus, {
    destination: watcher,
    path: "/StatusNotifierWatcher",
    interface: watcher,
    member: "RegisterStatusNotifierItem",
    signature: "s",
    body: [name],
  });
}

async function ask(
  bus: MessageBus,
  call: ConstructorParameters<typeof Message>[0],
): Promise<readonly unknown[]> {
  return (await within(answerLimit, bus.call(new Message(call))))?.body ?? [];
}

async function within<T>(limit: Millis, answer: Promise<T>): Promise<T> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<never>((_, reject) => {
    timer = setTimeout(() => reject(new Error("the session bus didn't answer")), limit);
  });
  try {
    return await Promise.race([answer, late]);
  } finally {
    clearTimeout(timer);
  }
}

async function pause(span: Millis, stop: AbortSignal): Promise<void> {
  try {
    await sleep(span, undefined, { signal: stop });
  } catch (error) {
    if (!stop.aborted) throw error;
  }
}
