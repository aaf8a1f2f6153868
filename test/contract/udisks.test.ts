/**
 * What is said to UDisks2, on a private bus with a stand-in for the service: that it is asked without a password
 * window, and never for a disk of the system's. Its names are those of the UDisks 2.9 reference manual.
 */

import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { Message, type MessageBus, sessionBus, Variant } from "@particle/dbus-next";
import { afterEach, beforeEach, describe, expect, test } from "vitest";
import { mountThroughUdisks, udisksVersion } from "../../daemon/platform/linux/udisks.ts";
import { millis } from "../../shared/units.ts";

const limit = millis(5_000);
const configuration = (address: string): string => `<busconfig><type>session</type><listen>${address}</listen>
<policy context="default"><allow send_destination="*"/><allow receive_sender="*"/><allow own="*"/></policy></busconfig>`;

test("without a bus the answer says so", async () => {
  const before = process.env["DBUS_SYSTEM_BUS_ADDRESS"];
  process.env["DBUS_SYSTEM_BUS_ADDRESS"] = "unix:path=/nonexistent/bus";
  try {
    expect(await mountThroughUdisks("/dev/sdb1", limit)).toMatchObject({ mounted: false });
    await expect(udisksVersion(limit)).rejects.toThrow();
  } finally {
    if (before === undefined) delete process.env["DBUS_SYSTEM_BUS_ADDRESS"];
    else process.env["DBUS_SYSTEM_BUS_ADDRESS"] = before;
  }
});

const busInstalled = spawnSync("dbus-daemon", ["--version"]).status === 0;
describe.skipIf(!busInstalled)("over a bus (needs dbus-daemon)", () => {
  let folder = "";
  let daemon: ChildProcess | undefined;
  let service: MessageBus | undefined;
  let before: string | undefined;
  let mounts: Message[] = [];
  let answer: (message: Message) => Message | undefined = () => undefined;
  const properties: Record<string, unknown> = {};

  beforeEach(async () => {
    folder = mkdtempSync(join(tmpdir(), "scrubjay-bus-"));
    const address = `unix:path=${folder}/bus`;
    writeFileSync(join(folder, "bus.conf"), configuration(address));
    const started = spawn(
      "dbus-daemon",
      [`--config-file=${folder}/bus.conf`, "--nofork", "--print-address"],
      {
        stdio: ["ignore", "pipe", "ignore"],
      },
    );
    daemon = started;
    // The socket's name is there before anyone listens; the address is printed afterwards.
    await new Promise((resolve) => started.stdout.once("data", resolve));
    before = process.env["DBUS_SYSTEM_BUS_ADDRESS"];
    process.env["DBUS_SYSTEM_BUS_ADDRESS"] = address;
    mounts = [];
    answer = (message) => Message.newMethodReturn(message, "s", ["/media/anna/Blue"]);
    Object.assign(properties, { HintSystem: false, HintIgnore: false });
    service = sessionBus({ busAddress: address } as object);
    service.addMethodHandler((message: Message) => {
      const reply = replyTo(message);
      if (reply !== undefined) service?.send(reply);
      return true;
    });
    await service.requestName("org.freedesktop.UDisks2");
  });

  afterEach(() => {
    service?.disconnect();
    daemon?.kill();
    if (before === undefined) delete process.env["DBUS_SYSTEM_BUS_ADDRESS"];
    else process.env["DBUS_SYSTEM_BUS_ADDRESS"] = before;
    rmSync(folder, { recursive: true, force: true });
  });

  /** The stand-in: one drive, /dev/sdb1. */
  function replyTo(message: Message): Message | undefined {
    switch (message.member) {
      case "ResolveDevice": {
        const device = message.body[0]?.path?.value;
        const found = device === "/dev/sdb1" ? ["/org/freedesktop/UDisks2/block_devices/sdb1"] : [];
        return Message.newMethodReturn(message, "ao", [found]);
      }
      case "Get": {
        const name = String(message.body[1]);
        const value = name === "Version" ? new Variant("s", "2.9.4") : new Variant("b", properties[name]);
        return Message.newMethodReturn(message, "v", [value]);
      }
      default:
        mounts.push(message);
        return answer(message);
    }
  }

  test("a drive is mounted without asking a person", async () => {
    expect(await mountThroughUdisks("/dev/sdb1", limit)).toEqual({ mounted: true, at: "/media/anna/Blue" });
    expect(mounts).toHaveLength(1);
    expect(mounts[0]).toMatchObject({ member: "Mount", interface: "org.freedesktop.UDisks2.Filesystem" });
    expect(mounts[0]?.body[0]).toEqual({
      "auth.no_user_interaction": new Variant("b", true),
      options: new Variant("s", "noatime"),
    });
  });

  test("a disk of the system's, one to be ignored, and one that is unknown are never mounted", async () => {
    for (const hint of ["HintSystem", "HintIgnore"]) {
      Object.assign(properties, { HintSystem: false, HintIgnore: false, [hint]: true });
      expect(await mountThroughUdisks("/dev/sdb1", limit)).toMatchObject({ mounted: false });
    }
    expect(await mountThroughUdisks("/dev/sdz9", limit)).toMatchObject({ mounted: false });
    expect(mounts).toEqual([]);
  });

  test("a refusal is an answer with its reason", async () => {
    const code = "org.freedesktop.UDisks2.Error.NotAuthorizedCanObtain";
    answer = (message) => Message.newError(message as never, code, "Not authorized to perform operation");
    expect(await mountThroughUdisks("/dev/sdb1", limit)).toEqual({
      mounted: false,
      why: "Not authorized to perform operation",
    });
  });

  test("a service that never answers costs its limit only", async () => {
    answer = () => undefined;
    expect(await mountThroughUdisks("/dev/sdb1", millis(200))).toMatchObject({ mounted: false });
  });

  test("the version is told", async () => {
    expect(await udisksVersion(limit)).toBe("2.9.4");
  });
});
