/**
 * Calls over D-Bus, each conversation on a connection of its own and within a limit: the library says nothing when a
 * bus goes away, and a missing bus is an event, not an answer.
 */

import { Message, type MessageBus, sessionBus, systemBus } from "@particle/dbus-next";
import type { Millis } from "../../../shared/units.ts";

/** One method of one object. */
export interface BusCall {
  readonly destination: string;
  readonly path: string;
  readonly interface: string;
  readonly member: string;
  /** D-Bus signature of `body`; "" for none. */
  readonly signature: string;
  readonly body: readonly unknown[];
}

/** Makes a call and answers the reply's values; rejects with the service's error. */
export type Caller = (call: BusCall) => Promise<readonly unknown[]>;

/** Rejects when `work` takes longer than `limit`. */
export async function within<T>(limit: Millis, work: Promise<T>, what = "no answer over D-Bus"): Promise<T> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<never>((_, reject) => {
    timer = setTimeout(() => reject(new Error(what)), limit);
  });
  try {
    return await Promise.race([work, late]);
  } finally {
    clearTimeout(timer);
  }
}

/** Runs `act` with a connection to the bus. Rejects when there is no bus, or when it all takes longer than `limit`. */
export async function onBus<T>(
  which: "system" | "session",
  limit: Millis,
  act: (call: Caller) => Promise<T>,
): Promise<T> {
  const bus: MessageBus = which === "system" ? systemBus() : sessionBus();
  const broken = new Promise<never>((_, reject) => {
    bus.on("error", (error: unknown) => reject(error instanceof Error ? error : new Error(String(error))));
  });
  const call: Caller = async (each) => {
    const message = new Message({ ...each, body: [...each.body] });
    return (await bus.call(message))?.body ?? [];
  };
  try {
    return await within(limit, Promise.race([act(call), broken]), `the D-Bus ${which} bus didn't answer`);
  } finally {
    bus.disconnect();
  }
}
