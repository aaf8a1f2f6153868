/**
 * What a command is: its words, options and operands as data, from which parsing, help and hints follow, and the
 * function that does it. POSIX options; `--json` and `--help` belong to each.
 */

import { parseArgs } from "node:util";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { nearest } from "../core/nearest.ts";
import type { HomeFolders } from "../home/homeFolders.ts";
import type { Terminal } from "./terminal.ts";

export interface Command {
  /** One or two words, such as `trip check`. */
  readonly name: string;
  /** How its operands are called, in order, such as `FILE`. */
  readonly operands: readonly string[];
  /** Its own options; each takes a value. */
  readonly options: Readonly<Record<string, { readonly value: string; readonly does: string }>>;
  /** One line for the list of commands. */
  readonly does: string;
  /** What one must know to use it, exit status included. */
  readonly more: string;
  /** @returns the exit status. Fails with `UserMistake`. */
  run(call: Call): Promise<number>;
}

export interface Call {
  readonly operands: readonly string[];
  readonly options: Readonly<Record<string, string | undefined>>;
  readonly json: boolean;
  readonly terminal: Terminal;
  readonly home: HomeFolders;
}

export interface ParsedLine {
  readonly operands: readonly string[];
  readonly options: Readonly<Record<string, string | undefined>>;
  readonly json: boolean;
  readonly help: boolean;
}

/** The words after a command's name. Fails with a `UserMistake` that names the nearest option. */
export function parseLine(command: Command, args: readonly string[]): ParsedLine {
  const known = [...Object.keys(command.options), "json", "help"];
  const options: Record<string, { type: "string" | "boolean"; short?: string }> = {
    json: { type: "boolean" },
    help: { type: "boolean", short: "h" },
  };
  for (const name of Object.keys(command.options)) options[name] = { type: "string" };
  const loose = parseArgs({ args: [...args], options, strict: false, allowPositionals: true, tokens: true });
  for (const token of loose.tokens) {
    if (token.kind !== "option" || Object.hasOwn(options, token.name)) continue;
    const near = token.rawName.startsWith("--") ? nearest(token.name, known) : undefined;
    const hint = near === undefined ? "" : ` Did you mean --${near}?`;
    throw usage(command, `\`${command.name}\` has no option ${printable(token.rawName, 60)}.${hint}`);
  }
  let values: Record<string, unknown>;
  let operands: readonly string[];
  try {
    ({ values, positionals: operands } = parseArgs({ args: [...args], options, allowPositionals: true }));
  } catch (error) {
    if (!(error instanceof TypeError)) throw error;
    throw usage(command, printable(error.message.split("\n", 1)[0] ?? "", 300));
  }
  const help = values["help"] === true;
  if (!help && operands.length !== command.operands.length) {
    const wanted = command.operands.length === 0 ? "no operand" : command.operands.join(" ");
    throw usage(command, `\`${command.name}\` takes ${wanted}; ${operands.length} given.`);
  }
  const texts: Record<string, string | undefined> = {};
  for (const name of Object.keys(command.options)) {
    const value = values[name];
    if (typeof value === "string") texts[name] = value;
  }
  return { operands, options: texts, json: values["json"] === true, help };
}

export function usage(command: Pick<Command, "name">, message: string): UserMistake {
  return new UserMistake(message, `\`scrubjay ${command.name} --help\` shows how it is used.`, 64);
}

/** The help of one command. */
export function helpOf(command: Command): string {
  const options = Object.entries(command.options).map(
    ([name, option]) => [`--${name} ${option.value}`, option.does] as const,
  );
  const all = [
    ...options,
    ["--json", "one JSON document on standard output, nothing else there"] as const,
    ["-h, --help", "this text"] as const,
  ];
  const width = Math.max(...all.map(([form]) => form.length));
  const lines = all.map(([form, does]) => `  ${form.padEnd(width)}  ${does}`);
  const line = ["scrubjay", command.name, ...command.operands, "[OPTIONS]"].join(" ");
  return `${line}\n${command.does}\n\n${command.more}\n\n${lines.join("\n")}\n`;
}
