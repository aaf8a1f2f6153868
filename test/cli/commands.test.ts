/**
 * The command line as a person and a script meet it: real arguments, real files in a home of their own, a real API
 * with a pretended daemon behind it; words, streams and exit statuses.
 */

import { mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { type Api, createApi } from "../../daemon/api/server.ts";
import { commands, runCommandLine } from "../../daemon/cli/run.ts";
import { homeFolders } from "../../daemon/home/homeFolders.ts";
import { removeRunFile, writeRunFile } from "../../daemon/home/runFile.ts";
import { type FakeFace, fakeFace } from "../api/fakeFace.ts";
import { card, drive, evening } from "./boards.ts";

const example = "config/example-trip.yaml";
const token = "5a".repeat(32);

let root: string;
let face: FakeFace;
let api: Api | undefined;
beforeEach(async () => {
  root = await mkdtemp(join(tmpdir(), "scrubjay-cli-"));
  face = fakeFace(evening);
});
afterEach(async () => {
  await api?.close();
  api = undefined;
  await rm(root, { recursive: true, force: true });
});

/** No test here meets a bug of the server. */
const fail = (bug: unknown): never => {
  throw bug;
};

interface Result {
  readonly exit: number;
  readonly out: string;
  readonly err: string;
}

async function scrubjay(...args: string[]): Promise<Result> {
  let out = "";
  let err = "";
  const exit = await runCommandLine(args, {
    out: (text) => {
      out += text;
    },
    err: (text) => {
      err += text;
    },
    env: { SCRUBJAY_HOME: root, LANG: "C.UTF-8" },
    userHome: root,
  });
  return { exit, out, err };
}

async function startDaemon(): Promise<void> {
  api = createApi(face, token, fail);
  const { port } = await api.listen();
  await writeRunFile(homeFolders({ SCRUBJAY_HOME: root }, root).run, { port, token, pid: process.pid });
}

async function profileFile(text: string): Promise<string> {
  const file = join(root, "mine.yaml");
  await writeFile(file, text);
  return file;
}

test("help names every command; each has its own, with --json and --help in it", async () => {
  const all = await scrubjay("--help");
  expect(all).toMatchObject({ exit: 0, err: "" });
  for (const command of commands) {
    expect(all.out).toContain(command.name);
    const one = await scrubjay(...command.name.split(" "), "--help");
    expect(one).toMatchObject({ exit: 0, err: "" });
    expect(one.out).toContain(["scrubjay", command.name, ...command.operands].join(" "));
    for (const option of ["--json", "-h, --help", ...Object.keys(command.options)])
      expect(one.out).toContain(option);
    expect(await scrubjay(...command.name.split(" "), "-h")).toEqual(one);
  }
  expect((await scrubjay("trip", "--help")).out).toContain("trip add FILE");
});

test("--version says the package's version", async () => {
  const { version } = JSON.parse(await readFile("package.json", "utf8")) as { version: string };
  expect(await scrubjay("--version")).toEqual({ exit: 0, out: `scrubjay ${version}\n`, err: "" });
  expect(JSON.parse((await scrubjay("--version", "--json")).out)).toEqual({ version });
});

test("mistakes in usage are 64, with the nearest word as a hint and nothing on standard output", async () => {
  const cases: readonly (readonly [readonly string[], RegExp])[] = [
    [[], /command is missing/],
    [["statsu"], /Did you mean `status`/],
    [["frobnicate"], /no command.*--help/],
    [["trip"], /`trip check`, `trip add`/],
    [["trip", "chekc", "x"], /`trip chekc` is no command/],
    [["status", "--jsno"], /no option --jsno. Did you mean --json/],
    [["status", "-x"], /no option -x/],
    [["wait", "--timeuot", "5"], /Did you mean --timeout/],
    [["wait", "--timeout"], /--timeout/],
    [["wait", "--timeout", "soon"], /takes seconds/],
    [["wait", "--timeout=-1"], /takes seconds/],
    [["status", "--json=yes"], /--json/],
    [["status", "now"], /takes no operand; 1 given/],
    [["trip", "check"], /takes FILE; 0 given/],
    [["trip", "check", "a", "b"], /takes FILE; 2 given/],
    [["drive", "add", "/media/blue"], /needs a name/],
    [["daemon", "--practice", "/does/not/exist"], /is no folder/],
    [["trip", "check", "/does/not/exist.yaml"], /is not there/],
    [["--frob", "status"], /--frob is no option/],
    [["\u001b[2J"], /\\u\{1b\}/],
  ];
  for (const [args, words] of cases) {
    const result = await scrubjay(...args);
    expect(result, args.join(" ")).toMatchObject({ exit: 64, out: "" });
    expect(result.err, args.join(" ")).toMatch(words);
    expect(result.err).toMatch(/^scrubjay: .*\n$/);
    expect(result.err).not.toMatch(/\n\s+at |TypeError/);
  }
});

test("without a daemon, what needs one is 69 and says how to start it", async () => {
  const needing = [
    ["status"],
    ["cards"],
    ["wait"],
    ["drive", "list"],
    ["drive", "add", "/m", "--name", "B"],
    ["cards", "assign", "7", "KC"],
  ];
  for (const args of needing) {
    const result = await scrubjay(...args);
    expect(result, args.join(" ")).toMatchObject({ exit: 69, out: "" });
    expect(result.err).toMatch(/daemon is not running.*scrubjay daemon/);
    const json = await scrubjay(...args, "--json");
    expect(JSON.parse(json.out)).toMatchObject({ error: { exit: 69 } });
  }
});

test("a run file left by a daemon that died is as good as none", async () => {
  await startDaemon();
  await api?.close();
  expect((await scrubjay("status")).exit).toBe(69);
});

test("a port that another program took over since is as good as none", async () => {
  await startDaemon();
  await api?.close();
  api = createApi(face, "77".repeat(32), fail);
  const { port } = await api.listen();
  await writeRunFile(homeFolders({ SCRUBJAY_HOME: root }, root).run, { port, token, pid: 1 });
  expect((await scrubjay("status")).exit).toBe(69);
  expect(face.asked).toEqual([]);
});

test("trip check shows what the templates give, or every fault with its place", async () => {
  const good = await scrubjay("trip", "check", example);
  expect(good).toMatchObject({ exit: 0, err: "" });
  expect(good.out).toContain("Kestrel Cliffs/2027-06-03/KC-20270603-A0421.NEF");

  const text = (await readFile(example, "utf8"))
    .replace("role: further", "role: spare")
    .replace("zone: Atlantic", "zone: Atlantis");
  const file = await profileFile(text);
  const bad = await scrubjay("trip", "check", file);
  expect(bad).toMatchObject({ exit: 78, err: "" });
  const lines = bad.out.trimEnd().split("\n");
  expect(lines.length).toBe(2);
  // GNU Coding Standards, Formatting Error Messages: FILE:LINE:COLUMN: MESSAGE.
  expect(lines[0]).toMatch(new RegExp(`^${file}:9:7: error: zone: 'Atlantis/Faroe' is no time zone.*IANA`));
  expect(lines[1]).toMatch(
    new RegExp(`^${file}:20:25: error: drives\\[2\\].role: 'spare' is no role.*primary`),
  );

  const json = await scrubjay("trip", "check", "--json", file);
  expect(json).toMatchObject({ exit: 78, err: "" });
  expect(JSON.parse(json.out)).toMatchObject({
    file,
    valid: false,
    examples: [],
    faults: [{ line: 9, column: 7 }, {}],
  });
});

test("trip check with a warning only is valid", async () => {
  const text = (await readFile(example, "utf8")).replace("-{body}{number}", "-{number}");
  const result = await scrubjay("trip", "check", await profileFile(text));
  expect(result.exit).toBe(0);
  expect(result.out).toMatch(/: warning: names: .*body B/);
  expect(result.out).toContain("The profile is valid.");
});

test("a trip is added, updated, listed and shown without a daemon", async () => {
  const added = await scrubjay("trip", "add", example, "--json");
  expect(added.exit).toBe(0);
  const { id } = JSON.parse(added.out) as { id: string };
  expect(id).toMatch(/^kc-20270603-/);
  expect(JSON.parse(added.out)).toMatchObject({ name: "Kestrel Cliffs", new: true });
  expect((await scrubjay("trip", "add", example)).out).toBe(`Kestrel Cliffs is updated as ${id}.\n`);

  const list = await scrubjay("trip", "list");
  expect(list.out).toContain("Kestrel Cliffs  KC    2027-06-03 to 2027-06-14  Atlantic/Faroe");
  expect(JSON.parse((await scrubjay("trip", "list", "--json")).out)).toMatchObject([{ id, code: "KC" }]);

  for (const word of [id, "kc", "kestrel cliffs"]) {
    const shown = await scrubjay("trip", "show", word);
    expect(shown.exit, word).toBe(0);
    expect(shown.out).toContain("# a night shoot belongs to the evening before");
    expect(shown.out).toContain("KC-20270603-A0421.NEF");
  }
  expect(JSON.parse((await scrubjay("trip", "show", "KC", "--json")).out)).toMatchObject({
    id,
    profile: { code: "KC" },
  });
  expect(await scrubjay("trip", "show", "nobody")).toMatchObject({ exit: 64, out: "" });
});

test("a faulty profile is not added", async () => {
  const file = await profileFile("trip: X\n");
  const result = await scrubjay("trip", "add", file);
  expect(result).toMatchObject({ exit: 78, out: "" });
  expect(result.err).toMatch(/mine.yaml:1:1: error: .*\n[\s\S]*has 5 faults\. Nothing was changed/);
  expect((await scrubjay("trip", "list")).out).toContain("No trip is described yet");
  expect(JSON.parse((await scrubjay("trip", "add", file, "--json")).out)).toMatchObject({
    error: { exit: 78 },
  });
});

test("a running daemon is told of an added trip", async () => {
  await startDaemon();
  expect((await scrubjay("trip", "add", example)).exit).toBe(0);
  expect(face.asked).toEqual(["refresh"]);
});

test("status: 1 while something is owed, 65 with damage, 0 when all is well; JSON as the daemon gave it", async () => {
  await startDaemon();
  const owing = await scrubjay("status");
  expect(owing).toMatchObject({ exit: 1, err: "" });
  expect(owing.out).toContain("◐ 912/1,733");
  expect(JSON.parse((await scrubjay("status", "--json")).out)).toEqual(evening);

  const well = { ...evening, drives: [drive({})], cards: [card({ clear: true })], alerts: [] };
  face.statusAnswer = well;
  expect((await scrubjay("status")).exit).toBe(0);
  face.statusAnswer = { ...well, cards: [card({})] };
  expect((await scrubjay("status")).exit).toBe(1);
  const [alert] = evening.alerts;
  if (alert === undefined) throw new Error("the evening has an alert");
  face.statusAnswer = { ...well, alerts: [{ ...alert, severity: "urgent" }] };
  expect((await scrubjay("status")).exit).toBe(1);
  for (const code of ["damaged-source", "copy-differs"]) {
    face.statusAnswer = { ...well, alerts: [{ ...alert, code }] };
    expect((await scrubjay("status")).exit, code).toBe(65);
  }
});

test("cards: 0 only if every card that is in is clear", async () => {
  await startDaemon();
  expect((await scrubjay("cards")).exit).toBe(1);
  expect(JSON.parse((await scrubjay("cards", "--json")).out)).toEqual(evening.cards);
  const clear = card({ clear: true });
  face.statusAnswer = { ...evening, cards: [clear, card({ present: false, mount: null })] };
  expect((await scrubjay("cards")).exit).toBe(0);
  face.statusAnswer = { ...evening, cards: [clear, card({})] };
  expect((await scrubjay("cards")).exit).toBe(1);
});

test("a card is assigned by its number, name, label or id; a doubtful word assigns nothing", async () => {
  await startDaemon();
  for (const word of ["8", "card 8", "Card 8", "ALDINE_M1", "8".repeat(16)]) {
    expect((await scrubjay("cards", "assign", word, "KC")).exit, word).toBe(0);
    expect(face.asked.splice(0), word).toEqual([`assignCard ${"8".repeat(16)} KC`]);
  }
  face.statusAnswer = { ...evening, cards: [card({ id: "a" }), card({ id: "b", name: "Card 9" })] };
  expect((await scrubjay("cards", "assign", "ALDINE_R2", "KC")).err).toMatch(/fits several cards/);
  expect((await scrubjay("cards", "assign", "12", "KC")).err).toMatch(/No card is known/);
  expect(face.asked).toEqual([]);
});

test("wait: 0 idle and nothing owed, else 1", async () => {
  await startDaemon();
  expect((await scrubjay("wait", "--timeout", "2.5")).exit).toBe(0);
  expect(face.asked.splice(0)).toEqual(["wait 2500"]);
  face.waitAnswer = { idle: true, owed: { files: 3, bytes: 90_000_000 }, cardsNotClear: 0 };
  const owed = await scrubjay("wait");
  expect(owed.exit).toBe(1);
  expect(owed.out).toBe(
    "Nothing is left to do with what is plugged in. Drives owe 3 copies (90 MB); `scrubjay status` says which.\n",
  );
  face.waitAnswer = { idle: false, owed: { files: 0, bytes: 0 }, cardsNotClear: 0 };
  const late = await scrubjay("wait", "--timeout", "0", "--json");
  expect(late.exit).toBe(1);
  expect(JSON.parse(late.out)).toEqual(face.waitAnswer);
});

test("a drive is added at an absolute path, and refused in the daemon's words", async () => {
  await startDaemon();
  const added = await scrubjay("drive", "add", "/media/blue/../blue", "--name", "Blue");
  expect(added).toMatchObject({ exit: 0, out: "Blue is a known drive now, at /media/blue.\n" });
  expect(face.asked.splice(0)).toEqual(["addDrive /media/blue Blue"]);
  const refused = await scrubjay("drive", "add", "/media/blue", "--name", "Taken");
  expect(refused).toEqual({
    exit: 64,
    out: "",
    err: "scrubjay: A drive is called so already. Choose another name.\n",
  });
  expect((await scrubjay("drive", "list")).out).toContain("Slate");
  expect(JSON.parse((await scrubjay("drive", "list", "--json")).out)).toEqual(evening.drives);
});

test("the daemon that goes away in the middle of an answer is 69", async () => {
  await startDaemon();
  face.waitsForever = true;
  const waiting = scrubjay("wait");
  await expect.poll(() => face.asked.length).toBe(1);
  // Answers once more while it stops, then is gone.
  face.waitAnswer = { idle: false, owed: { files: 0, bytes: 0 }, cardsNotClear: 0 };
  await api?.close();
  expect((await waiting).exit).toBe(69);
  await removeRunFile(homeFolders({ SCRUBJAY_HOME: root }, root).run, process.pid);
});

test("a failed file operation is 74 and says which", async () => {
  await writeFile(join(root, "config"), "a file where a folder is meant");
  const result = await scrubjay("trip", "add", example);
  expect(result).toMatchObject({ exit: 74, out: "" });
  expect(result.err).toMatch(/ENOTDIR|EEXIST/);
});

test("eject says when it may be unplugged, and that it may not yet with 1", async () => {
  await startDaemon();
  expect(await scrubjay("eject", "Blue")).toEqual({ exit: 0, out: "Blue may be unplugged.\n", err: "" });
  expect(await scrubjay("eject", "Busy")).toEqual({
    exit: 1,
    out: "",
    err: "scrubjay: Busy is being written. Wait.\n",
  });
  expect(JSON.parse((await scrubjay("eject", "Blue", "--json")).out)).toEqual({
    name: "Blue",
    kind: "drive",
  });
  expect((await scrubjay("eject")).exit).toBe(64);
});

test("a card is dismissed by any of its names, and what was never copied is said", async () => {
  await startDaemon();
  const [first] = evening.cards;
  if (first === undefined) throw new Error("the board has cards");
  const done = await scrubjay("cards", "dismiss", first.id);
  expect(done).toMatchObject({ exit: 0, err: "" });
  expect(done.out).toBe(
    "Card 7 is of no concern until it is put in again. 2 files on it were never copied: keep the card if you want them.\n",
  );
  expect(face.asked).toContain(`dismissCard ${first.id}`);
  expect((await scrubjay("cards", "dismiss", "card 99")).exit).toBe(64);
});
