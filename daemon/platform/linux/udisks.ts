/**
 * Mounting through UDisks2 (org.freedesktop.UDisks2, D-Bus system bus), the service that desktops use: the mount gets
 * the user's rights and goes away with the medium. Without the bus or the service the answer says so. Never asks a
 * person for a password: it runs with nobody looking.
 */

import { Variant } from "@particle/dbus-next";
import type { Millis } from "../../../shared/units.ts";
import type { Ejection } from "../../ports/volumes.ts";
import { type Caller, onBus } from "../common/dbus.ts";

export type MountAnswer =
  | { readonly mounted: true; readonly at: string }
  | { readonly mounted: false; readonly why: string };

const service = "org.freedesktop.UDisks2";
const manager = "/org/freedesktop/UDisks2/Manager";

/** Mounts the file system of `device` (`/dev/sdb1`) unless the system calls it its own. Never rejects. */
export async function mountThroughUdisks(device: string, limit: Millis): Promise<MountAnswer> {
  try {
    return await onBus("system", limit, (call) => mount(call, device));
  } catch (error) {
    return { mounted: false, why: error instanceof Error ? error.message : String(error) };
  }
}

/** Unmounts what is mounted of `device`. Never rejects. */
export async function unmountThroughUdisks(device: string, limit: Millis): Promise<Ejection> {
  try {
    return await onBus("system", limit, async (call) => {
      const path = await blockPath(call, device);
      if (path === undefined) return { ejected: false, why: `UDisks2 doesn't know ${device}` };
      await call({
        destination: service,
        path,
        interface: `${service}.Filesystem`,
        member: "Unmount",
        signature: "a{sv}",
        body: [{ "auth.no_user_interaction": new Variant("b", true) }],
      });
      return { ejected: true };
    });
  } catch (error) {
    return { ejected: false, why: error instanceof Error ? error.message : String(error) };
  }
}

/** The version of UDisks2. Rejects with the reason if it doesn't answer. */
export async function udisksVersion(limit: Millis): Promise<string> {
  return onBus("system", limit, async (call) => String(await property(call, manager, "Manager", "Version")));
}

async function mount(call: Caller, device: string): Promise<MountAnswer> {
  const path = await blockPath(call, device);
  if (path === undefined) return { mounted: false, why: `UDisks2 doesn't know ${device}` };
  for (const hint of ["HintSystem", "HintIgnore"]) {
    if ((await property(call, path, "Block", hint)) !== false) {
      return { mounted: false, why: `${device} belongs to the system (${hint})` };
    }
  }
  const [at] = await call({
    destination: service,
    path,
    interface: `${service}.Filesystem`,
    member: "Mount",
    signature: "a{sv}",
    // Reading a card must not write the times of reading to it.
    body: [{ "auth.no_user_interaction": new Variant("b", true), options: new Variant("s", "noatime") }],
  });
  return { mounted: true, at: String(at) };
}

/** Where UDisks2 keeps what it knows of a device. */
async function blockPath(call: Caller, device: string): Promise<string | undefined> {
  const [paths] = await call({
    destination: service,
    path: manager,
    interface: `${service}.Manager`,
    member: "ResolveDevice",
    signature: "a{sv}a{sv}",
    body: [{ path: new Variant("s", device) }, {}],
  });
  const path: unknown = Array.isArray(paths) ? paths[0] : undefined;
  return typeof path === "string" ? path : undefined;
}

async function property(call: Caller, path: string, face: string, name: string): Promise<unknown> {
  const [value] = await call({
    destination: service,
    path,
    interface: "org.freedesktop.DBus.Properties",
    member: "Get",
    signature: "ss",
    body: [`${service}.${face}`, name],
  });
  return value instanceof Variant ? value.value : undefined;
}
