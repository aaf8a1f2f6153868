/**
 * One call of the command line: finds the command, has it run, and turns every failure into words and an exit status
 * (sysexits numbers). Never a stack trace for a user's mistake.
 */

import { existsSync } from "node:fs";
import { createRequire } from "node:module";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import type { RefusalJson } from "../../shared/api.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { nearest } from "../core/nearest.ts";
import { homeFolders } from "../home/homeFolders.ts";
import { archiveCheck } from "./archiveCheck.ts";
import { cardsAssign, cardsList } from "./cards.ts";
import { cardsAccept } from "./cardsAccept.ts";
import { cardsDismiss } from "./cardsDismiss.ts";
import { type Command, helpOf, listOf, parseLine } from "./command.ts";
import { daemon } from "./daemon.ts";
import { doctor } from "./doctor.ts";
import { driveAdd, driveList } from "./drive.ts";
import { driveLost } from "./driveLost.ts";
import { driveReplace } from "./driveReplace.ts";
import { driveRetire } from "./driveRetire.ts";
import { editsList, editsRestore } from "./edits.ts";
import { eject } from "./eject.ts";
import { homecoming } from "./homecoming.ts";
import { open } from "./open.ts";
import { goOn, pause } from "./pause.ts";
import { rebuild } from "./rebuild.ts";
import { scrub } from "./scrub.ts";
import { status } from "./status.ts";
import { paragraph } from "./table.ts";
import { columnsOf, inItsSigns, outJson, type Terminal } from "./terminal.ts";
import { tray } from "./tray.ts";
import { tripAdd, tripCheck, tripList, tripShow } from "./trip.ts";
import { wait } from "./wait.ts";
import { watch } from "./watch.ts";

/** In the order in which a person needs them. */
export const commands: readonly Command[] = [
  doctor,
  tripCheck,
  tripAdd,
  tripList,
  tripShow,
  daemon,
  tray,
  driveAdd,
  driveList,
  status,
  watch,
  open,
  pause,
  goOn,
  cardsList,
  cardsAssign,
  cardsAccept,
  cardsDismiss,
  wait,
  eject,
  scrub,
  editsList,
  editsRestore,
  homecoming,
  archiveCheck,
  driveRetire,
  driveLost,
  driveReplace,
  rebuild,
];

/** @param args the words after the program's name. @returns the exit status; never rejects. */
export async function runCommandLine(args: readonly string[], given: Terminal): Promise<number> {
  const terminal = inItsSigns(given);
  try {
    return await dispatch(args, terminal);
  } catch (error) {
    return explain(error, args, terminal);
  }
}

async function dispatch(args: readonly string[], terminal: Terminal): Promise<number> {
  const firstWord = args.findIndex((word) => !word.startsWith("-"));
  const before = firstWord < 0 ? args : args.slice(0, firstWord);
  const words = firstWord < 0 ? [] : args.slice(firstWord);
  for (const option of before) {
    if (option === "--json") continue;
    if (option === "--version") return answerVersion(args, terminal);
    if (option === "--help" || option === "-h") return answerHelp(helpOfAll(terminal), args, terminal);
    throw new UserMistake(`${printable(option, 60)} is no option before a command.`, seeHelp);
  }
  if (words.length === 0) throw new UserMistake("A command is missing.", seeHelp);

  const [first = "", second = ""] = words;
  if (first === "help") return answerHelp(helpAbout(words.slice(1), terminal), args, terminal);
  const two = commands.find((command) => command.name === `${first} ${second}`);
  const command = two ?? commands.find((each) => each.name === first);
  if (command === undefined) {
    if (groupOf(first).length === 0 || (second !== "--help" && second !== "-h")) throw unknownCommand(words);
    return answerHelp(helpAbout([first], terminal), args, terminal);
  }
  const line = parseLine(command, [...before, ...words.slice(two === undefined ? 1 : 2)]);
  if (line.help) return answerHelp(helpAbout([command.name], terminal), args, terminal);
  return command.run({ ...line, terminal, home: homeFolders(terminal.env, terminal.userHome) });
}

const seeHelp = "`scrubjay --help` shows the commands.";

/** The commands whose name goes on after this word, such as `trip check` for `trip`. */
function groupOf(word: string): readonly Command[] {
  return commands.filter((command) => command.name.startsWith(`${word} `));
}

/** No such command: names the commands of its group, or the nearest one. */
function unknownCommand(words: readonly string[]): UserMistake {
  const [first = "", second] = words;
  const group = groupOf(first);
  const given = second === undefined || second.startsWith("-") ? first : `${first} ${second}`;
  if (group.length > 0) {
    const names = group.map((command) => `\`${command.name}\``).join(", ");
    return new UserMistake(`\`${printable(given, 60)}\` is no command.`, `There is ${names}.`);
  }
  const near = nearest(first, [...new Set(commands.map((command) => command.name.split(" ", 1)[0] ?? ""))]);
  const hint = near === undefined ? "" : `Did you mean \`${near}\`? `;
  return new UserMistake(`\`${printable(first, 60)}\` is no command.`, `${hint}${seeHelp}`);
}

/** What `help WORDS` and `WORDS --help` say: about a command, a group of them, or all. Fails with `UserMistake`. */
function helpAbout(words: readonly string[], terminal: Terminal): string {
  const names = words.filter((word) => !["--json", "--help", "-h"].includes(word));
  const name = names.join(" ");
  if (name === "") return helpOfAll(terminal);
  const width = columnsOf(terminal);
  const command = commands.find((each) => each.name === name);
  if (command !== undefined) return helpOf(command, groupOf(name), width);
  const group = groupOf(name);
  if (group.length === 0) throw unknownCommand(names);
  return `scrubjay ${name} COMMAND [OPTIONS]\n\n${listOf(group, width)}\n${helpFooter(width)}`;
}

function helpOfAll(terminal: Terminal): string {
  const width = columnsOf(terminal);
  const does = "Every frame from a memory card to every drive in one pass, read back and verified.";
  const head = `scrubjay COMMAND [OPTIONS]\n${paragraph(does, width)}`;
  return `${head}\n${listOf(commands, width)}\n${helpFooter(width)}`;
}

function helpFooter(width: number): string {
  const said =
    "--json and --help go with each command, and `scrubjay help COMMAND` is the same; --version stands alone.";
  return paragraph(said, width);
}

function answerHelp(text: string, args: readonly string[], terminal: Terminal): number {
  if (args.includes("--json")) outJson(terminal, { help: text });
  else terminal.out(text);
  return 0;
}

function answerVersion(args: readonly string[], terminal: Terminal): number {
  const version = ownVersion();
  if (args.includes("--json")) outJson(terminal, { version });
  else terminal.out(`scrubjay ${version}\n`);
  return 0;
}

/** The package's own file stands at another depth in a built tree. */
function ownVersion(): string {
  let folder = dirname(fileURLToPath(import.meta.url));
  while (!existsSync(join(folder, "package.json"))) {
    const parent = dirname(folder);
    if (parent === folder) return "unknown";
    folder = parent;
  }
  const manifest = createRequire(import.meta.url)(join(folder, "package.json")) as { version?: unknown };
  return String(manifest.version);
}

/** Failures in words: a mistake with its next step, a failed file operation, or a fault of ours. */
function explain(error: unknown, args: readonly string[], terminal: Terminal): number {
  const mistake = asMistake(error);
  if (mistake === undefined) {
    const trace = error instanceof Error ? (error.stack ?? error.message) : String(error);
    terminal.err(
      `scrubjay: a fault of its own stopped it. Nothing on cards or drives was touched by it.\n${trace}\n`,
    );
  } else {
    terminal.err(`scrubjay: ${[mistake.message, mistake.next].filter((part) => part !== "").join(" ")}\n`);
  }
  const exit = mistake?.exit ?? 70; // sysexits: EX_SOFTWARE.
  if (args.includes("--json")) {
    const message = mistake?.message ?? "A fault of its own stopped it.";
    const refusal: RefusalJson = { error: { message, next: mistake?.next ?? "", exit } };
    outJson(terminal, refusal);
  }
  return exit;
}

function asMistake(error: unknown): UserMistake | undefined {
  if (error instanceof UserMistake) return error;
  const failed = error as NodeJS.ErrnoException;
  if (!(error instanceof Error) || failed.syscall === undefined || failed.code === undefined)
    return undefined;
  const where = failed.path === undefined ? "" : ` on ${printable(failed.path)}`;
  const what = `A file operation failed${where}: ${failed.code} (${failed.syscall}).`;
  return new UserMistake(what, "Nothing was left half done. Mend the cause and call again.", 74);
}
