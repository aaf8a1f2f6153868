/**
 * The command line as a person and a script meet it: real arguments, real files in a home of their own, a real API
 * with a pretended daemon behind it; words, streams and exit statuses.
 */

import { readFile, rm, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { expect, test } from "vitest";
import { createApi } from "../../daemon/api/server.ts";
import { commands } from "../../daemon/cli/run.ts";
import { readProfile } from "../../daemon/core/profile.ts";
import { homeFolders } from "../../daemon/home/homeFolders.ts";
import { removeRunFile, writeRunFile } from "../../daemon/home/runFile.ts";
import { UserMistake } from "../../shared/problems.ts";
import { card, drive, evening } from "./boards.ts";
import { fail, profileFile, scrubjay, startDaemon, token, world } from "./commandLine.ts";

const example = "config/example-trip.yaml";

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
  expect((await scrubjay("trip", "--help")).out).toMatch(/^scrubjay trip COMMAND[\s\S]* trip add FILE /);
  expect((await scrubjay("drive", "-h")).out).toMatch(/^scrubjay drive COMMAND[\s\S]* drive add MOUNT /);
  expect((await scrubjay("cards", "--help")).out).toMatch(
    /^scrubjay cards \[[\s\S]* cards assign CARD TRIP /,
  );
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
    [["help", "statsu"], /Did you mean `status`/],
    [["help", "trip", "chekc"], /`trip chekc` is no command/],
    [["trip", "check", ""], /FILE is empty/],
    [["eject", ""], /NAME is empty/],
    [["wait", "--timeout"], /--timeout needs a value: --timeout SECONDS\. `scrubjay wait --help`/],
    [["wait", "--timeout", "--json"], /--json stands where the value of --timeout is meant/],
    [["drive", "add", "/m", "--name", "-x"], /If it is the value, write --name=-x\. /],
    [["status", "--json=yes"], /--json takes no value\. /],
    [["scrub", "Blue", "Slate"], /`scrub` takes one DRIVE or none; 2 given\. `scrubjay scrub --help`/],
    [["scrub", ""], /DRIVE is empty/],
    [["rebuild"], /`rebuild` takes one MOUNT or more; 0 given\. /],
    [["rebuild", "/media/blue", ""], /MOUNT is empty/],
    [["rebuild", ..."abcdefghijklmnopqrstu"], /At most 20 drives are read in one call; 21 given\. /],
    [["rebuild", "/media/blue", "--owner", ""], /--owner is empty/],
    [["drive", "lost"], /`drive lost` takes NAME; 0 given/],
    [["drive", "replace", "Rust"], /`drive replace` takes OLD NEW; 1 given/],
    [["cards", "accept", "7"], /`cards accept` takes CARD PATH; 1 given/],
  ];
  for (const [args, words] of cases) {
    const result = await scrubjay(...args);
    expect(result.exit, args.join(" ")).toBe(64);
    // With `--json` a script gets the refusal there, and nothing else.
    if (args.includes("--json")) expect(JSON.parse(result.out)).toMatchObject({ error: { exit: 64 } });
    else expect(result.out, args.join(" ")).toBe("");
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
    ["cards", "accept", "7", "DCIM/a.NEF"],
    ["scrub"],
    ["rebuild", "/media/blue"],
    ["drive", "lost", "Rust"],
    ["drive", "replace", "Rust", "Moss"],
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
  await world.api?.close();
  expect((await scrubjay("status")).exit).toBe(69);
});

test("a port that another program took over since is as good as none", async () => {
  await startDaemon();
  await world.api?.close();
  world.api = createApi(world.face, "77".repeat(32), new Map(), fail);
  const { port } = await world.api.listen();
  await writeRunFile(homeFolders({ SCRUBJAY_HOME: world.root }, world.root).run, { port, token, pid: 1 });
  expect((await scrubjay("status")).exit).toBe(69);
  expect(world.face.asked).toEqual([]);
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
  expect((await scrubjay("trip", "add", example)).out).toBe("Kestrel Cliffs is as it was.\n");

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
  expect(result.err).toMatch(
    /mine.yaml:1:1: error: .*\n[\s\S]*has 5 faults\. Nothing was changed\. Mend them/,
  );
  expect((await scrubjay("trip", "list")).out).toContain("No trip is described yet");
  expect(JSON.parse((await scrubjay("trip", "add", file, "--json")).out)).toMatchObject({
    error: { exit: 78 },
  });
});

test("help with a command's words says what --help says", async () => {
  expect(await scrubjay("help")).toEqual(await scrubjay("--help"));
  for (const words of [["trip"], ["trip", "add"], ["cards"], ["cards", "assign"], ["status"]])
    expect(await scrubjay("help", ...words)).toEqual(await scrubjay(...words, "--help"));
  expect(JSON.parse((await scrubjay("help", "wait", "--json")).out)).toMatchObject({
    help: expect.stringContaining("scrubjay wait"),
  });
});

test("each command that can refuse says its exit statuses", async () => {
  const refusing = ["drive add", "cards assign", "trip add", "trip show", "status", "wait", "eject"];
  for (const name of [...refusing, "cards accept", "scrub", "drive lost", "drive replace", "rebuild"])
    expect((await scrubjay(...name.split(" "), "--help")).out, name).toMatch(/Exit\s+status: 0/);
  for (const name of ["eject", "drive lost", "drive replace", "cards accept", "cards dismiss"])
    expect((await scrubjay(...name.split(" "), "--help")).out, name).toMatch(/\b64\s+[a-z]/);
});

test("a copied profile with another name and first day replaces nothing; its code is refused", async () => {
  const { id } = JSON.parse((await scrubjay("trip", "add", example, "--json")).out) as { id: string };
  const text = await readFile(example, "utf8");
  const copied = text.replace("Kestrel Cliffs", "Tern Bay").replace("2027-06-03", "2027-06-10");
  const refused = await scrubjay("trip", "add", await profileFile(copied));
  expect(refused).toEqual({
    exit: 78,
    out: "",
    err: "scrubjay: KC is the code of Kestrel Cliffs in these days already. Choose another code, so that names can't clash.\n",
  });
  expect((await scrubjay("trip", "show", id)).out).toContain("trip: Kestrel Cliffs");
  const other = await scrubjay("trip", "add", await profileFile(copied.replace("code: KC", "code: TB")));
  expect(other.out).toMatch(/^Tern Bay is added as tb-20270610-[0-9a-f]{4}\.\n$/);
  expect(JSON.parse((await scrubjay("trip", "list", "--json")).out)).toHaveLength(2);
});

test("an update says which trip it is, and whether anything changed", async () => {
  const { id } = JSON.parse((await scrubjay("trip", "add", example, "--json")).out) as { id: string };
  const text = await readFile(example, "utf8");
  const longer = await profileFile(text.replace("to: 2027-06-14", "to: 2027-06-16"));
  expect((await scrubjay("trip", "add", longer)).out).toBe(`Kestrel Cliffs is updated as ${id}.\n`);
  expect((await scrubjay("trip", "add", longer)).out).toBe("Kestrel Cliffs is as it was.\n");
  const renamed = await profileFile(
    text.replace("to: 2027-06-14", "to: 2027-06-16").replace("trip: Kestrel Cliffs", "trip: Tern Bay"),
  );
  expect((await scrubjay("trip", "add", renamed)).out).toBe(
    `Tern Bay (before: Kestrel Cliffs) is updated as ${id}.\n`,
  );
  expect(JSON.parse((await scrubjay("trip", "add", renamed, "--json")).out)).toMatchObject({
    id,
    new: false,
    changed: false,
    before: null,
  });
});

test("what trip show answers is a valid profile of the same trip", async () => {
  const text = (await readFile(example, "utf8")).replace("code: KC # short", "code: KC\t# “short” … café");
  await scrubjay("trip", "add", await profileFile(text));
  // A terminal that shows ASCII only must not change what the profile says.
  for (const locale of ["C.UTF-8", "C"]) {
    world.env = { LC_ALL: locale };
    const shown = (await scrubjay("trip", "show", "KC")).out;
    expect(readProfile(shown)).toEqual(readProfile(text));
    expect(shown).toContain("“short” … café");
    expect(shown).toContain("#   Kestrel Cliffs/2027-06-03/KC-20270603-A0421.NEF\n");
  }
});

test("a file that is no UTF-8 text has one fault, at its beginning", async () => {
  const file = join(world.root, "mine.yaml");
  const text = await readFile(example, "utf8");
  const wrong = {
    "Latin-1": Buffer.from(text.replace("Kestrel", "Kästrel"), "latin1"),
    "UTF-16": Buffer.from(text, "utf16le"),
    "UTF-16 with its mark": Buffer.from(`\ufeff${text}`, "utf16le"),
    binary: Buffer.from([0x7f, 0x45, 0x4c, 0x46, 0, 1, 2, 0xff]),
  };
  for (const [what, bytes] of Object.entries(wrong)) {
    await writeFile(file, bytes);
    const checked = await scrubjay("trip", "check", file);
    expect(checked.exit, what).toBe(78);
    expect(checked.out, what).toBe(
      `${file}:1:1: error: this is not a text file in UTF-8. Allowed: a trip profile, saved as UTF-8 text\n`,
    );
    const added = await scrubjay("trip", "add", file);
    expect(added.exit, what).toBe(78);
    expect(added.err, what).toMatch(
      /has a fault\. Nothing was changed\. Mend it and add the file again\.\n$/,
    );
  }
  await writeFile(file, `\ufeff${text}`);
  expect((await scrubjay("trip", "check", file)).exit).toBe(0);
});

test("a new drive that no trip names says which names there are", async () => {
  await startDaemon();
  await scrubjay("trip", "add", example);
  const known = await scrubjay("drive", "add", "/media/blue", "--name", "blue");
  expect(known.out).toBe("blue is a known drive now, at /media/blue.\n");
  const slip = await scrubjay("drive", "add", "/media/blue", "--name", "Bleu");
  expect(slip.out.replaceAll("\n", " ")).toBe(
    "Bleu is a known drive now, at /media/blue. No trip names it yet; Kestrel Cliffs names Blue, Slate and Rust. ",
  );
  await rm(join(world.root, "config"), { recursive: true });
  await writeFile(join(world.root, "config"), "no folder");
  expect((await scrubjay("drive", "add", "/media/blue", "--name", "Bleu")).exit).toBe(0);
});

test("answers are as wide as the terminal, else as COLUMNS says, and never under 40", async () => {
  await startDaemon();
  const widest = async (...args: string[]): Promise<number> =>
    Math.max(...(await scrubjay(...args)).out.split("\n").map((line) => line.length));
  for (const args of [["status"], ["cards"], ["drive", "list"], ["--help"], ["wait", "--help"]]) {
    expect(await widest(...args), args.join(" ")).toBeLessThanOrEqual(96);
    world.env = { LANG: "C.UTF-8", COLUMNS: "60" };
    expect(await widest(...args), args.join(" ")).toBeLessThanOrEqual(60);
    world.columns = 50;
    expect(await widest(...args), args.join(" ")).toBeLessThanOrEqual(50);
    world.columns = 5;
    const narrow = await scrubjay(...args);
    world.columns = 40;
    expect(narrow).toEqual(await scrubjay(...args));
    world.columns = undefined;
    world.env = { LANG: "C.UTF-8", COLUMNS: "many" };
    expect(await widest(...args), args.join(" ")).toBeGreaterThan(60);
    world.env = { LANG: "C.UTF-8" };
  }
});

test("without UTF-8 our marks are ASCII, on both streams; JSON stays as it is", async () => {
  await startDaemon();
  world.env = { LC_ALL: "C" };
  world.face.statusAnswer = { ...evening, cards: [card({ name: "Card “ALDINE”", verdict: "Keep “it” …" })] };
  const cards = await scrubjay("cards");
  expect(cards.out).toContain('Card "ALDINE": here');
  expect(cards.out).toContain('Keep "it" ...');
  expect(cards.out).toMatch(/^[\n\x20-\x7e]+$/);
  const long = await scrubjay("trip", "show", "x".repeat(90));
  expect(long.err).toMatch(/x\.\.\.x/);
  expect(JSON.parse((await scrubjay("cards", "--json")).out)).toEqual(world.face.statusAnswer.cards);
});

test("a running daemon is told of an added trip", async () => {
  await startDaemon();
  expect((await scrubjay("trip", "add", example)).exit).toBe(0);
  expect(world.face.asked).toEqual(["refresh"]);
});

test("status: 1 while something is owed, 65 with damage, 0 when all is well; JSON as the daemon gave it", async () => {
  await startDaemon();
  const owing = await scrubjay("status");
  expect(owing).toMatchObject({ exit: 1, err: "" });
  expect(owing.out).toContain("◐ 912/1,733");
  expect(JSON.parse((await scrubjay("status", "--json")).out)).toEqual(evening);

  const well = { ...evening, drives: [drive({})], cards: [card({ clear: true })], alerts: [] };
  world.face.statusAnswer = well;
  expect((await scrubjay("status")).exit).toBe(0);
  world.face.statusAnswer = { ...well, cards: [card({})] };
  expect((await scrubjay("status")).exit).toBe(1);
  world.face.statusAnswer = { ...well, safe: false };
  expect((await scrubjay("status")).exit).toBe(1);
  world.face.statusAnswer = { ...well, safe: true };
  expect((await scrubjay("status")).exit).toBe(0);
  const [alert] = evening.alerts;
  if (alert === undefined) throw new Error("the evening has an alert");
  world.face.statusAnswer = { ...well, alerts: [{ ...alert, severity: "urgent" }] };
  expect((await scrubjay("status")).exit).toBe(1);
  for (const code of ["damaged-source", "copy-differs"]) {
    world.face.statusAnswer = { ...well, alerts: [{ ...alert, code }] };
    expect((await scrubjay("status")).exit, code).toBe(65);
  }
});

test("cards: 0 only if every card that is in is clear", async () => {
  await startDaemon();
  expect((await scrubjay("cards")).exit).toBe(1);
  expect(JSON.parse((await scrubjay("cards", "--json")).out)).toEqual(evening.cards);
  const clear = card({ clear: true });
  world.face.statusAnswer = { ...evening, cards: [clear, card({ present: false, mount: null })] };
  expect((await scrubjay("cards")).exit).toBe(0);
  world.face.statusAnswer = { ...evening, cards: [clear, card({})] };
  expect((await scrubjay("cards")).exit).toBe(1);
});

test("a card is assigned by its number, name, label or id; a doubtful word assigns nothing", async () => {
  await startDaemon();
  for (const word of ["8", "card 8", "Card 8", "ALDINE_M1", "8".repeat(16)]) {
    expect((await scrubjay("cards", "assign", word, "KC")).exit, word).toBe(0);
    expect(world.face.asked.splice(0), word).toEqual([`assignCard ${"8".repeat(16)} KC`]);
  }
  world.face.statusAnswer = { ...evening, cards: [card({ id: "a" }), card({ id: "b", name: "Card 9" })] };
  expect((await scrubjay("cards", "assign", "ALDINE_R2", "KC")).err).toMatch(/fits several cards/);
  expect((await scrubjay("cards", "assign", "12", "KC")).err).toMatch(/No card is known/);
  expect(world.face.asked).toEqual([]);
});

test("wait: 0 idle and nothing owed, else 1", async () => {
  await startDaemon();
  expect((await scrubjay("wait", "--timeout", "2.5")).exit).toBe(0);
  expect(world.face.asked.splice(0)).toEqual(["wait 2500"]);
  // Without any time no look could end: there is always one.
  await scrubjay("wait", "--timeout", "0");
  await scrubjay("wait", "--timeout", "0.25");
  expect(world.face.asked.splice(0)).toEqual(["wait 1000", "wait 1000"]);
  world.face.waitAnswer = { idle: true, owed: { files: 3, bytes: 90_000_000 }, cardsNotClear: 0 };
  const owed = await scrubjay("wait");
  expect(owed.exit).toBe(1);
  expect(owed.out).toBe(
    "Nothing is left to do with what is plugged in. Drives owe 3 copies (90 MB); `scrubjay status`\nsays which.\n",
  );
  world.face.waitAnswer = { idle: false, owed: { files: 0, bytes: 0 }, cardsNotClear: 0 };
  const late = await scrubjay("wait", "--timeout", "0", "--json");
  expect(late.exit).toBe(1);
  expect(JSON.parse(late.out)).toEqual(world.face.waitAnswer);
  expect((await scrubjay("wait", "--timeout", "0")).out).toBe("The time is up; work goes on.\n");
  world.face.statusAnswer = { ...evening, work: [] };
  const quiet = await scrubjay("wait", "--timeout", "0");
  expect(quiet.exit).toBe(1);
  expect(quiet.out).toMatch(/^The time is up\. Nothing is being read or copied at this moment/);
});

test("a drive is added at an absolute path, and refused in the daemon's words", async () => {
  await startDaemon();
  const added = await scrubjay("drive", "add", "/media/blue/../blue", "--name", "Blue");
  expect(added).toMatchObject({ exit: 0, out: "Blue is a known drive now, at /media/blue.\n" });
  expect(world.face.asked.splice(0)).toEqual(["addDrive /media/blue Blue"]);
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
  world.face.waitsForever = true;
  const waiting = scrubjay("wait");
  await expect.poll(() => world.face.asked.length).toBe(1);
  // Answers once more while it stops, then is gone.
  world.face.waitAnswer = { idle: false, owed: { files: 0, bytes: 0 }, cardsNotClear: 0 };
  await world.api?.close();
  expect((await waiting).exit).toBe(69);
  await removeRunFile(homeFolders({ SCRUBJAY_HOME: world.root }, world.root).run, process.pid);
});

test("a failed file operation is 74 and says which", async () => {
  await writeFile(join(world.root, "config"), "a file where a folder is meant");
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
  const first = card({ present: false, mount: null });
  world.face.statusAnswer = { ...evening, cards: [first] };
  const done = await scrubjay("cards", "dismiss", first.id);
  expect(done).toMatchObject({ exit: 0, err: "" });
  expect(done.out).toBe(
    "Card 7 is of no concern until it is put in again. 2 files on it were never copied: keep the card\nif you want them.\n",
  );
  expect(world.face.asked).toContain(`dismissCard ${first.id}`);
  expect((await scrubjay("cards", "dismiss", "card 99")).exit).toBe(64);
});

test("of a card that is in, what is gone from it is dismissed and the card is not", async () => {
  await startDaemon();
  const dismissed = async (present: boolean, vanished: number, unread: number): Promise<string> => {
    world.face.statusAnswer = { ...evening, cards: [card({ present })] };
    world.face.dismissCard = async (id) => ({ card: id, name: "Card 7", unread, vanished });
    return (await scrubjay("cards", "dismiss", "7")).out.replaceAll("\n", " ");
  };
  expect(await dismissed(true, 41, 3)).toBe(
    "Card 7: 41 files that are gone from it are of no concern any more; the card itself goes on as before. ",
  );
  expect(await dismissed(true, 1, 0)).toContain("1 file that is gone from it is of no concern any more;");
  expect(await dismissed(false, 2, 1)).toBe(
    "Card 7 is of no concern until it is put in again. 2 files that are gone from it are of no concern any more either. 1 file on it was never copied: keep the card if you want them. ",
  );
  expect(await dismissed(false, 0, 0)).toBe("Card 7 is of no concern until it is put in again. ");
});

test("damage is accepted by a card's name and a path, with what can't be had any more", async () => {
  await startDaemon();
  const [first] = evening.cards;
  if (first === undefined) throw new Error("the board has cards");
  const done = await scrubjay("cards", "accept", "card 7", "DCIM/100ALDIN/ALD_0417.DNG");
  expect(done).toMatchObject({ exit: 0, err: "" });
  expect(done.out.replaceAll("\n", " ")).toBe(
    "DCIM/100ALDIN/ALD_0417.DNG of card 7 is known to be damaged now, and the card isn't kept for it any more. The file stays copied as the card gives it. Once the card is formatted nothing better will be had of it: try a second reader first, it may read it better. ",
  );
  expect(world.face.asked).toEqual([`acceptDamage ${first.id} DCIM/100ALDIN/ALD_0417.DNG`]);
  const json = await scrubjay("cards", "accept", "7", "DCIM/a.DNG", "--json");
  expect(JSON.parse(json.out)).toEqual({ card: first.id, name: "Card 7", path: "DCIM/a.DNG" });
  expect((await scrubjay("cards", "accept", "card 99", "DCIM/a.DNG")).exit).toBe(64);
  expect(await scrubjay("cards", "accept", "7", "DCIM/whole.NEF")).toEqual({
    exit: 64,
    out: "",
    err: "scrubjay: That file isn't damaged. `scrubjay cards` names those that are.\n",
  });
  const hostile = await scrubjay("cards", "accept", "7", "a\u001b[2J\u202eb\nc");
  expect(hostile.out).toContain("a\\u{1b}[2J\\u{202e}b\\u{a}c of card 7");
});

test("a damaged file is found by the end of its path, below the root or below the card's mount", async () => {
  await startDaemon();
  const damaged = [
    "DCIM/100ALDIN/ALD_0441.JPG",
    "DCIM/100ALDIN/ALD_0417.NEF",
    "DCIM/101ALDIN/ALD_0417.NEF",
  ].map((path) => ({ path, why: "it is cut short", accepted: false }));
  world.face.statusAnswer = { ...evening, cards: [card({ damaged })] };
  const asked = async (path: string): Promise<readonly string[]> => {
    world.face.asked.length = 0;
    await scrubjay("cards", "accept", "7", path);
    return world.face.asked.map((each) => each.split(" ").slice(2).join(" "));
  };
  for (const path of [
    "DCIM/100ALDIN/ALD_0441.JPG",
    "/DCIM/100ALDIN/ALD_0441.JPG",
    "./DCIM/100ALDIN/ALD_0441.JPG",
    "/media/anna/ALDINE_R2/DCIM/100ALDIN/ALD_0441.JPG",
    "100ALDIN/ALD_0441.JPG",
    "ald_0441.jpg",
  ])
    expect(await asked(path), path).toEqual(["DCIM/100ALDIN/ALD_0441.JPG"]);
  expect(await asked("101ALDIN/ALD_0417.NEF")).toEqual(["DCIM/101ALDIN/ALD_0417.NEF"]);
  // No end of a name, only of a path: such a file is the daemon's to know.
  expect(await asked("0441.JPG")).toEqual(["0441.JPG"]);
  expect(await asked("ALD_0417.NEF")).toEqual([]);
  expect(await scrubjay("cards", "accept", "7", "ALD_0417.NEF")).toEqual({
    exit: 64,
    out: "",
    err: "scrubjay: 'ALD_0417.NEF' fits 2 damaged files of card 7. Nothing was changed. Name one of them whole: DCIM/100ALDIN/ALD_0417.NEF, DCIM/101ALDIN/ALD_0417.NEF.\n",
  });
});

test("a path that the daemon doesn't know is refused with the damaged file that was probably meant", async () => {
  await startDaemon();
  const damaged = [{ path: "DCIM/100ALDIN/ALD_0441.JPG", why: "it is cut short", accepted: false }];
  world.face.statusAnswer = { ...evening, cards: [card({ damaged })] };
  world.face.acceptDamage = async (_card, path) => {
    throw new UserMistake(`Card 7 has no file ${path}.`, "`scrubjay cards` names its damaged files.");
  };
  const refused = async (path: string): Promise<string> => (await scrubjay("cards", "accept", "7", path)).err;
  for (const path of ["ALD_0414.JPG", "DCIM/100ALDIN/ALD_0414.JPG"])
    expect(await refused(path)).toBe(
      `scrubjay: Card 7 has no file ${path}. Did you mean DCIM/100ALDIN/ALD_0441.JPG? \`scrubjay cards\` names its damaged files.\n`,
    );
  expect(await refused("MISC/AUTPRINT.MRK")).not.toContain("Did you mean");
});
