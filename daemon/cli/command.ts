/**
 * What a command is: its words, options and operands as data, from which parsing, help and hints follow, and the
 * function that does it. POSIX options; `--json` and `--help` belong to each.
 */

import { parseArgs } from "node:util";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { nearest } from "../core/nearest.ts";
import type { HomeFolders } from "../home/homeFolders.ts";
import { meanings, paragraph } from "./table.ts";
import type { Terminal } from "./terminal.ts";

export interface Command {
  /** One or two words, such as `trip check`. */
  readonly name: string;
  /** How its operands are called, in order: `FILE`, `[FILE]` where it may be left out, `FILE...` one or more, at the end. */
  readonly operands: readonly string[];
  /** Its own options; each takes a value. */
  readonly options: Readonly<Record<string, { readonly value: string; readonly does: string }>>;
  /** Its own options that take no value, each with what it does. */
  readonly flags?: Readonly<Record<string, string>>;
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
  /** The options without a value that were given. */
  readonly flags: ReadonlySet<string>;
  readonly json: boolean;
  readonly terminal: Terminal;
  readonly home: HomeFolders;
}

export interface ParsedLine {
  readonly operands: readonly string[];
  readonly options: Readonly<Record<string, string | undefined>>;
  readonly flags: ReadonlySet<string>;
  readonly json: boolean;
  readonly help: boolean;
}

/** The words after a command's name. Fails with a `UserMistake` that names the nearest option. */
export function parseLine(command: Command, args: readonly string[]): ParsedLine {
  const ownFlags = Object.keys(command.flags ?? {});
  const known = [...Object.keys(command.options), ...ownFlags, "json", "help"];
  const options: Record<string, { type: "string" | "boolean"; short?: string }> = {
    json: { type: "boolean" },
    help: { type: "boolean", short: "h" },
  };
  for (const name of Object.keys(command.options)) options[name] = { type: "string" };
  for (const name of ownFlags) options[name] = { type: "boolean" };
  // Not strict: what is wrong is found here, in words of ours.
  const parsed = parseArgs({ args: [...args], options, strict: false, allowPositionals: true, tokens: true });
  for (const token of parsed.tokens) {
    if (token.kind !== "option") continue;
    if (Object.hasOwn(options, token.name)) {
      checkValue(command, token);
      continue;
    }
    const near = token.rawName.startsWith("--") ? nearest(token.name, known) : undefined;
    const hint = near === undefined ? "" : ` Did you mean --${near}?`;
    throw usage(command, `\`${command.name}\` has no option ${printable(token.rawName, 60)}.${hint}`);
  }
  const { values } = parsed;
  const operands: readonly string[] = parsed.positionals;
  const help = values["help"] === true;
  if (!help) checkOperands(command, operands);
  const texts: Record<string, string | undefined> = {};
  for (const name of Object.keys(command.options)) {
    const value = values[name];
    if (typeof value === "string") texts[name] = value;
  }
  const flags = new Set(ownFlags.filter((name) => values[name] === true));
  return { operands, options: texts, flags, json: values["json"] === true, help };
}

/** As many as the command takes, and none of them empty. */
function checkOperands(command: Command, given: readonly string[]): void {
  const forms = command.operands;
  const needed = forms.filter((form) => !form.startsWith("[")).length;
  const most = forms.some((form) => form.endsWith("...")) ? Number.POSITIVE_INFINITY : forms.length;
  if (given.length < needed || given.length > most) {
    const wanted = forms.length === 0 ? "no operand" : forms.map(inWords).join(" ");
    throw usage(command, `\`${command.name}\` takes ${wanted}; ${given.length} given.`);
  }
  const empty = given.indexOf("");
  const form = forms[Math.min(empty, forms.length - 1)] ?? "";
  if (empty >= 0) throw usage(command, `${bareName(form)} is empty.`);
}

function inWords(form: string): string {
  if (form.startsWith("[")) return `one ${bareName(form)} or none`;
  return form.endsWith("...") ? `one ${bareName(form)} or more` : form;
}

function bareName(form: string): string {
  return form.replace(/^\[|\]$|\.\.\.$/g, "");
}

interface OptionToken {
  readonly name: string;
  readonly rawName: string;
  readonly value: string | undefined;
  readonly inlineValue: boolean | undefined;
}

/** The option's own value is there if it takes one, and isn't the next option by mistake. */
function checkValue(command: Command, { name, rawName, value, inlineValue }: OptionToken): void {
  const wanted = Object.hasOwn(command.options, name) ? command.options[name]?.value : undefined;
  if (wanted === undefined) {
    if (value !== undefined) throw usage(command, `${rawName} takes no value.`);
    return;
  }
  if (value === undefined) throw usage(command, `${rawName} needs a value: ${rawName} ${wanted}.`);
  if (inlineValue === true || !/^-./s.test(value)) return;
  const shown = printable(value, 60);
  throw usage(
    command,
    `${shown} stands where the value of ${rawName} is meant. If it is the value, write ${rawName}=${shown}.`,
  );
}

export function usage(command: Pick<Command, "name">, message: string): UserMistake {
  return new UserMistake(message, `\`scrubjay ${command.name} --help\` shows how it is used.`, 64);
}

/**
 * The help of one command.
 * @param others commands that begin with its name, such as `cards assign` for `cards`
 * @param columns how wide it may be
 */
export function helpOf(command: Command, others: readonly Command[], columns: number): string {
  const options = Object.entries(command.options).map(
    ([name, option]) => [`--${name} ${option.value}`, option.does] as const,
  );
  const flags = Object.entries(command.flags ?? {}).map(([name, does]) => [`--${name}`, does] as const);
  const all = [
    ...options,
    ...flags,
    ["--json", "one JSON document on standard output, nothing else there"] as const,
    ["-h, --help", "this text"] as const,
  ];
  const line = ["scrubjay", command.name, ...command.operands, "[OPTIONS]"].join(" ");
  const more = command.more.split("\n").map((each) => paragraph(each, columns));
  const parts = [
    `${line}\n${paragraph(command.does, columns)}`,
    more.join(""),
    meanings(all, columns),
    others.length === 0 ? "" : `Also:\n${listOf(others, columns)}`,
  ];
  return parts.filter((part) => part !== "").join("\n");
}

/** Commands, each with what it does. */
export function listOf(commands: readonly Command[], columns: number): string {
  return meanings(
    commands.map((command) => [[command.name, ...command.operands].join(" "), command.does] as const),
    columns,
  );
}
