/**
 * The computer under test: a Debian guest under qemu with USB, no network, and Scrubjay as it was just built. Commands run
 * through the guest agent; media come and go over QMP (`media.ts` says which). `end` ends qemu by its own process id.
 *
 * qemu computes the processor itself (TCG): a KVM device may exist and still never start a guest. So everything in it is
 * some ten times slower than real, and limits of time are wide.
 */

import { type ChildProcess, spawn } from "node:child_process";
import { randomUUID } from "node:crypto";
import { openSync } from "node:fs";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { type Millis, millis } from "../../shared/units.ts";
import type { Answer } from "../demo/commands.ts";
import { type Json, LineSocket } from "./lineSocket.ts";

/** Where the guest's parts and what is mounted in it stand on this computer. */
export interface LaptopParts {
  /** Holds vmlinuz, initrd and root.img. */
  readonly guest: string;
  /** Becomes /opt/scrubjay: package.json, dist, config, node. */
  readonly scrubjay: string;
  readonly modules: string;
  /** For sockets and logs of this run. */
  readonly run: string;
}

const askPatience = millis(30_000);
const bootPatience = millis(180_000);
/** The user who is logged in. */
const user = "anna";

/** Perl: finds the daemon by its run file, asks, and prints the answer's body. */
const askApi = `
use JSON::PP; use IO::Socket::INET;
local $/; open(my $file, "<", "/run/user/1000/scrubjay/daemon.json") or exit 1;
my $run = decode_json(<$file>);
my $at = "127.0.0.1:$run->{port}";
my $socket = IO::Socket::INET->new($at) or exit 1;
print $socket "GET $ARGV[0] HTTP/1.1\\r\\nHost: $at\\r\\nAuthorization: Bearer $run->{token}\\r\\nConnection: close\\r\\n\\r\\n";
my ($head, $body) = split /\\r\\n\\r\\n/, <$socket>, 2; print $body;
`;

export class Laptop {
  readonly #qemu: ChildProcess;
  readonly #qmp: LineSocket;
  readonly #agent: LineSocket;
  #sync = 1;

  private constructor(qemu: ChildProcess, qmp: LineSocket, agent: LineSocket) {
    this.#qemu = qemu;
    this.#qmp = qmp;
    this.#agent = agent;
  }

  /** Switches it on; resolves when the agent answers. */
  static async start(parts: LaptopParts): Promise<Laptop> {
    const [qmpPath, agentPath] = [join(parts.run, "qmp"), join(parts.run, "agent")];
    const log = openSync(join(parts.run, "qemu.log"), "a");
    const qemu = spawn("qemu-system-x86_64", qemuArguments(parts, qmpPath, agentPath), {
      stdio: ["ignore", log, log],
    });
    // However this process ends, qemu ends with it.
    process.once("exit", () => qemu.kill("SIGKILL"));
    try {
      const ended = new Promise<never>((_, reject) => {
        qemu.once("error", reject);
        qemu.once("exit", (code) => reject(new Error(`qemu ended with ${code}; see ${parts.run}/qemu.log`)));
      });
      ended.catch(() => undefined);
      const both = async (): Promise<Laptop> => {
        const qmp = await LineSocket.open(qmpPath, askPatience);
        const laptop = new Laptop(qemu, qmp, await LineSocket.open(agentPath, askPatience));
        await laptop.qmp("qmp_capabilities", {});
        await laptop.untilBooted();
        return laptop;
      };
      return await Promise.race([both(), ended]);
    } catch (fault) {
      qemu.kill("SIGKILL");
      throw fault;
    }
  }

  /** Asks qemu. @throws with qemu's own words where it refuses. */
  async qmp(execute: string, args: Json): Promise<unknown> {
    const id = randomUUID();
    const answer = await this.#qmp.ask(
      execute,
      { execute, arguments: args, id },
      (line) => line["id"] === id,
      askPatience,
    );
    const error = answer["error"] as { readonly desc?: string } | undefined;
    if (error !== undefined) throw new Error(`${execute}: ${error.desc ?? "refused"}`);
    return answer["return"];
  }

  /** Takes a device out as by hand; resolves when qemu says that it is gone. */
  async removeDevice(id: string): Promise<void> {
    const gone = this.#qmp.until(
      `${id} goes`,
      (line) => line["event"] === "DEVICE_DELETED" && (line["data"] as Json)["device"] === id,
      askPatience,
    );
    gone.catch(() => undefined);
    await this.qmp("device_del", { id });
    await gone;
  }

  /** Runs a shell script in the guest as its administrator. */
  async sh(script: string, patience: Millis = millis(120_000)): Promise<Answer> {
    return this.#exec("/bin/sh", ["-c", script], patience);
  }

  /** The same, and its output; throws where it fails. */
  async must(script: string, patience?: Millis): Promise<string> {
    const answer = await this.sh(script, patience);
    if (answer.status !== 0)
      throw new Error(`in the guest: ${script}\nstatus ${answer.status} ${answer.out} ${answer.errors}`);
    return answer.out.trim();
  }

  /** Runs a command of Scrubjay as the person who is logged in. */
  async scrubjay(args: readonly string[], patience: Millis = millis(400_000)): Promise<Answer> {
    const environment = ["env", "XDG_RUNTIME_DIR=/run/user/1000", "HOME=/home/anna"];
    const line = ["-u", user, "--", ...environment, "/usr/local/bin/scrubjay", ...args];
    return this.#exec("/usr/sbin/runuser", line, patience);
  }

  /**
   * What the daemon's API answers to a GET; undefined while it doesn't answer. For all the questions of which only the
   * answer matters: starting the command line takes seconds in here.
   */
  async api<T>(path: string, patience: Millis = millis(60_000)): Promise<T | undefined> {
    const { out } = await this.#exec("/usr/bin/perl", ["-e", askApi, path], patience);
    return out.startsWith("{") || out.startsWith("[") ? (JSON.parse(out) as T) : undefined;
  }

  /** As when the power fails and comes again: what wasn't forced to a medium is gone. Resolves after the new start. */
  async cutPower(): Promise<void> {
    const before = await this.must("cat /proc/sys/kernel/random/boot_id");
    await this.qmp("system_reset", {});
    for (;;) {
      await this.untilBooted();
      if ((await this.must("cat /proc/sys/kernel/random/boot_id")) !== before) return;
    }
  }

  async untilBooted(): Promise<void> {
    const giveUp = performance.now() + bootPatience;
    for (;;) {
      // Answers of an earlier start may still come; only the one to this number counts.
      this.#sync += 1;
      const id = this.#sync;
      const words = { execute: "guest-sync", arguments: { id } };
      try {
        await this.#agent.ask("guest-sync", words, (line) => line["return"] === id, millis(1_500));
        return;
      } catch (fault) {
        if (performance.now() > giveUp) throw fault;
      }
    }
  }

  /** Shuts it down as a person would, and ends qemu whatever happens. */
  async end(): Promise<void> {
    const running = (): boolean => this.#qemu.exitCode === null && this.#qemu.signalCode === null;
    if (running()) {
      await this.qmp("system_powerdown", {}).catch(() => undefined);
      const giveUp = performance.now() + 60_000;
      while (running() && performance.now() < giveUp) await sleep(100);
    }
    this.kill();
  }

  /** Ends qemu at once. */
  kill(): void {
    if (this.#qemu.exitCode === null && this.#qemu.signalCode === null) this.#qemu.kill("SIGKILL");
    this.#qmp.close();
    this.#agent.close();
  }

  async #agentAsk(execute: string, args: Json): Promise<Json> {
    const words = { execute, arguments: args };
    const answer = await this.#agent.ask(
      execute,
      words,
      (line) => ("return" in line && typeof line["return"] === "object") || "error" in line,
      askPatience,
    );
    if ("error" in answer) throw new Error(`guest agent, ${execute}: ${JSON.stringify(answer["error"])}`);
    return answer["return"] as Json;
  }

  async #exec(path: string, arg: readonly string[], patience: Millis): Promise<Answer> {
    const started = await this.#agentAsk("guest-exec", { path, arg, "capture-output": true });
    const giveUp = performance.now() + patience;
    for (let pause = 20; ; pause = Math.min(200, pause * 1.5)) {
      const state = await this.#agentAsk("guest-exec-status", { pid: started["pid"] });
      if (state["exited"] === true) {
        const status = typeof state["exitcode"] === "number" ? state["exitcode"] : 128;
        return { status, out: decoded(state["out-data"]), errors: decoded(state["err-data"]) };
      }
      if (performance.now() > giveUp)
        throw new Error(`not within ${patience} ms in the guest: ${path} ${arg.join(" ")}`);
      await sleep(pause);
    }
  }
}

function decoded(data: unknown): string {
  return typeof data === "string" ? Buffer.from(data, "base64").toString("utf8") : "";
}

function qemuArguments(parts: LaptopParts, qmp: string, agent: string): readonly string[] {
  const share = (tag: string, path: string): string[] => [
    "-virtfs",
    `local,path=${path},mount_tag=${tag},security_model=none,readonly=on`,
  ];
  return [
    ...["-M", "q35", "-accel", "tcg,thread=multi", "-cpu", "max", "-smp", "2", "-m", "1024"],
    // No display, no network, nothing that wasn't asked for.
    ...["-nodefaults", "-display", "none", "-nic", "none"],
    ...["-kernel", join(parts.guest, "vmlinuz"), "-initrd", join(parts.guest, "initrd")],
    ...["-append", "console=ttyS0 quiet mitigations=off panic=1"],
    ...["-serial", `file:${join(parts.run, "console.log")}`],
    // What the guest writes to its own disk is gone with qemu.
    ...["-drive", `file=${join(parts.guest, "root.img")},format=raw,if=virtio,snapshot=on`],
    ...share("scrubjay", parts.scrubjay),
    ...share("modules", parts.modules),
    ...["-device", "virtio-serial"],
    ...["-chardev", `socket,path=${agent},server=on,wait=off,id=agent`],
    ...["-device", "virtserialport,chardev=agent,name=org.qemu.guest_agent.0"],
    ...["-qmp", `unix:${qmp},server=on,wait=off`],
    ...["-device", "qemu-xhci,id=usb,p2=8,p3=8"],
  ];
}
