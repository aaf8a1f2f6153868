/**
 * A network share for tests, without any network: a folder behind Debian's own SFTP server, mounted with sshfs, which talk
 * through a pipe. As on any share, another program writes the files, nothing gets past its cache, and it may go at any
 * moment. Ask `canUseNetworkShare` first and skip by name otherwise. Whatever a test leaves behind is unmounted when its
 * process ends.
 */

import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import {
  chmodSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

export interface ShareWish {
  /** The folder to mount at; made if missing. */
  readonly at: string;
  /** The folder that is shared; one of its own where nothing is said. */
  readonly serves?: string;
  /** For `sshfs -o`, such as `disable_hardlink`. */
  readonly options?: readonly string[];
  /** What the server doesn't know, as older ones don't, such as `posix-rename` (sftp-server(8), -P). */
  readonly lacks?: readonly string[];
}

export interface NetworkShare {
  readonly at: string;
  /** The folder behind the share, as the server sees it. */
  readonly served: string;
  mount(): void;
  /** As its user does it. */
  unmount(): void;
  /** The server ends in the middle of everything: sshfs unmounts, and the mount point is an ordinary folder. */
  loseServer(): void;
  /** The server ends, and sshfs, mounted with `reconnect`, begins another when it needs one. */
  breakConnection(): void;
  /** sshfs itself ends: the mount stays, and whoever asks it hears that nothing is connected. */
  loseHelper(): void;
  /** The server answers no more, as behind a cable that was pulled, until `goOn`. */
  pause(): void;
  goOn(): void;
  /** Unmounts if need be and removes what was made for it. */
  remove(): void;
}

/** Debian's package openssh-sftp-server puts it there. */
const server = "/usr/lib/openssh/sftp-server";

/** Whether it can be had here: tried once, since a container may have all the tools and still refuse the mount. */
export function canUseNetworkShare(): boolean {
  if (!existsSync("/dev/fuse") || !existsSync(server)) return false;
  const tools = ["sshfs", "fusermount3"];
  if (!tools.every((tool) => spawnSync("sh", ["-c", `command -v ${tool}`]).status === 0)) return false;
  const at = mkdtempSync(join(tmpdir(), "scrubjay-trial-"));
  try {
    makeShare({ at }).remove();
    return true;
  } catch {
    return false;
  } finally {
    rmSync(at, { recursive: true, force: true });
  }
}

/** Why a test that needs a network share doesn't run: for its skip's name. */
export const whyNoNetworkShare = "needs /dev/fuse, sshfs and openssh-sftp-server";

/** Shares the folder and mounts it. */
export function makeShare(wish: ShareWish): NetworkShare {
  const share = new SftpShare(wish);
  share.mount();
  return share;
}

class SftpShare implements NetworkShare {
  readonly at: string;
  readonly served: string;
  readonly #options: readonly string[];
  readonly #folder = mkdtempSync(join(tmpdir(), "scrubjay-share-"));
  readonly #script = join(this.#folder, "serve");
  readonly #serverId = join(this.#folder, "server.pid");
  #helper: ChildProcess | undefined;

  constructor({ at, serves, options, lacks }: ShareWish) {
    this.at = at;
    this.served = serves ?? join(this.#folder, "served");
    this.#options = options ?? [];
    mkdirSync(this.served, { recursive: true });
    // sshfs runs this in place of ssh.
    const denied = lacks === undefined ? "" : ` -P ${lacks.join(",")}`;
    writeFileSync(this.#script, `#!/bin/sh\necho $$ > '${this.#serverId}'\nexec ${server}${denied}\n`);
    chmodSync(this.#script, 0o755);
    left.add(this);
  }

  mount(): void {
    if (this.#helper !== undefined) this.unmount();
    mkdirSync(this.at, { recursive: true });
    const options = [`ssh_command=${this.#script}`, ...this.#options].flatMap((each) => ["-o", each]);
    // In the foreground (-f), so that its process id is known.
    const helper = spawn("sshfs", ["-f", ...options, `server:${this.served}`, this.at], { stdio: "ignore" });
    helper.on("error", () => undefined);
    helper.unref();
    this.#helper = helper;
    if (patiently(() => isMounted(this.at))) return;
    this.unmount();
    throw new Error(`sshfs didn't mount at ${this.at}`);
  }

  unmount(): void {
    const helper = this.#helper;
    this.#helper = undefined;
    this.goOn();
    // A file that is being closed right now makes it busy for a moment.
    const unmounted = (): boolean =>
      !isMounted(this.at) || spawnSync("fusermount3", ["-u", this.at], { stdio: "ignore" }).status === 0;
    if (!patiently(unmounted)) spawnSync("fusermount3", ["-u", "-z", this.at], { stdio: "ignore" });
    if (helper?.pid !== undefined) patiently(() => hasEnded(helper.pid));
  }

  loseServer(): void {
    this.#signal("SIGKILL");
    if (!patiently(() => !isMounted(this.at))) throw new Error("sshfs didn't notice that its server ended");
  }

  breakConnection(): void {
    this.#signal("SIGKILL");
  }

  loseHelper(): void {
    this.#helper?.kill("SIGKILL");
  }

  pause(): void {
    this.#signal("SIGSTOP");
  }

  goOn(): void {
    this.#signal("SIGCONT");
  }

  remove(): void {
    this.unmount();
    rmSync(this.#folder, { recursive: true, force: true });
    left.delete(this);
  }

  /** To the server, which is a child of ours as long as it is alive. */
  #signal(signal: NodeJS.Signals): void {
    if (!existsSync(this.#serverId)) return;
    const id = Number(readFileSync(this.#serverId, "utf8"));
    // The number may have been given to another program since.
    if (!runs(id, server)) return;
    process.kill(id, signal);
  }
}

const left = new Set<SftpShare>();
process.on("exit", () => {
  for (const share of left) share.remove();
});

function isMounted(at: string): boolean {
  return readFileSync("/proc/self/mountinfo", "utf8").includes(` ${at.replaceAll(" ", "\\040")} `);
}

function runs(id: number, program: string): boolean {
  try {
    return readFileSync(`/proc/${id}/cmdline`, "utf8").split("\0")[0] === program;
  } catch {
    return false; // No such process.
  }
}

/** A process that has ended and wasn't asked for yet (a zombie) has no files open. */
function hasEnded(id: number | undefined): boolean {
  try {
    return readdirSync(`/proc/${id}/fd`).length === 0;
  } catch {
    return true;
  }
}

function patiently(done: () => boolean): boolean {
  for (let attempt = 0; attempt < 100; attempt += 1) {
    if (done()) return true;
    spawnSync("sleep", ["0.05"]);
  }
  return false;
}
