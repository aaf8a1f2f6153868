/**
 * Runs the real daemon and the real command line, as a person would from a terminal. Holds on to documented forms
 * only: arguments, exit status, JSON on standard output.
 */

import { type ChildProcess, spawn } from "node:child_process";
import { openSync } from "node:fs";
import type { Millis } from "../../shared/units.ts";

export interface Answer {
  /** Exit status; 0 done, 1 not yet, others per sysexits. */
  readonly status: number;
  readonly out: string;
  readonly errors: string;
}

export interface Scrubjay {
  run(...args: readonly string[]): Promise<Answer>;
  /** @throws with what the command said, where its exit status isn't among `fine`. */
  json<T>(args: readonly string[], fine?: readonly number[]): Promise<T>;
}

/** @param cli the compiled command line. @param home becomes SCRUBJAY_HOME. */
export function scrubjayAt(cli: string, home: string): Scrubjay {
  const run = (...args: readonly string[]): Promise<Answer> =>
    new Promise((resolve, reject) => {
      const child = spawn(process.execPath, [cli, ...args], {
        env: { ...process.env, SCRUBJAY_HOME: home },
        stdio: ["ignore", "pipe", "pipe"],
      });
      let [out, errors] = ["", ""];
      child.stdout.setEncoding("utf8").on("data", (part: string) => (out += part));
      child.stderr.setEncoding("utf8").on("data", (part: string) => (errors += part));
      child.on("error", reject);
      child.on("close", (code, signal) =>
        resolve({ status: code ?? (signal === null ? 1 : 128), out, errors }),
      );
    });
  return {
    run,
    async json<T>(args: readonly string[], fine: readonly number[] = [0]): Promise<T> {
      const answer = await run(...args, "--json");
      if (!fine.includes(answer.status)) {
        throw new Error(`scrubjay ${args.join(" ")} ended with ${answer.status}: ${answer.errors.trim()}`);
      }
      return JSON.parse(answer.out) as T;
    },
  };
}

/** Starts the daemon on a practice folder; what it prints goes into `log`. */
export function startDaemon(cli: string, home: string, practice: string, log: string): ChildProcess {
  const sink = openSync(log, "a");
  return spawn(process.execPath, [cli, "daemon", "--practice", practice], {
    env: { ...process.env, SCRUBJAY_HOME: home },
    stdio: ["ignore", sink, sink],
  });
}

/** Asks it by its own process id to stop, and waits for that. @returns its exit status; undefined: it had to be killed. */
export async function stopDaemon(daemon: ChildProcess, patience: Millis): Promise<number | undefined> {
  if (daemon.exitCode !== null) return daemon.exitCode;
  const ended = new Promise<number | undefined>((resolve) =>
    daemon.once("exit", (code) => resolve(code ?? undefined)),
  );
  daemon.kill("SIGTERM");
  const timer = setTimeout(() => daemon.kill("SIGKILL"), patience);
  const code = await ended;
  clearTimeout(timer);
  return code;
}
