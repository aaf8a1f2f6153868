/**
 * Where a command's words go: its answer to standard output, all else to standard error. A value, so that commands
 * run in tests without a process of their own.
 */

import { homedir } from "node:os";

export interface Terminal {
  out(text: string): void;
  err(text: string): void;
  readonly env: Readonly<Record<string, string | undefined>>;
  /** The user's own folder. */
  readonly userHome: string;
}

export function systemTerminal(): Terminal {
  return {
    out: (text) => process.stdout.write(text),
    err: (text) => process.stderr.write(text),
    env: process.env,
    userHome: homedir(),
  };
}

/** One JSON document, and nothing else, on standard output. */
export function outJson(terminal: Terminal, value: unknown): void {
  terminal.out(`${JSON.stringify(value, null, 2)}\n`);
}

/** Whether the locale writes UTF-8: POSIX looks at LC_ALL, then LC_CTYPE, then LANG; the first that isn't empty holds. */
export function writesUnicode(env: Readonly<Record<string, string | undefined>>): boolean {
  const locale = [env["LC_ALL"], env["LC_CTYPE"], env["LANG"]].find(
    (value) => value !== undefined && value !== "",
  );
  return /utf-?8/i.test(locale ?? "");
}
