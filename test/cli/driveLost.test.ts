/** `drive lost` and `drive replace`: what a loss leaves short, and trips whose profile names another drive afterwards. */

import { readdir, readFile, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { expect, test } from "vitest";
import { renderDriveLost } from "../../daemon/cli/renderDriveLost.ts";
import { widthOf } from "../../daemon/cli/table.ts";
import type { DriveLostJson, DriveStatusJson } from "../../shared/api.ts";
import { UserMistake } from "../../shared/problems.ts";
import { drive, evening } from "./boards.ts";
import { profileFile, scrubjay, startDaemon, world } from "./commandLine.ts";

const example = "config/example-trip.yaml";
const rust: DriveLostJson = {
  id: "4".repeat(32),
  name: "Rust",
  held: { files: 9310, bytes: 460_000_000_000 },
  short: 9310,
  nowhere: [],
  nowhereTotal: 0,
  withdrawn: ["Card 3", "Card 5"],
};
const gone = {
  trip: "Kestrel Cliffs",
  path: "2027-06-03/KC-20270603-A0421.NEF",
  day: "2027-06-03",
  card: "card 2",
  bytes: 25_000_000,
};

const flat = (text: string): string => text.replace(/\s+/g, " ");

test("a loss says what counts no more, what is short, which cards to keep, and that it can't be undone", () => {
  expect(renderDriveLost({ ...rust, nowhere: [gone], nowhereTotal: 1 }, undefined, true, 80)).toBe(
    ` Rust is declared lost. It held 9,310 files (460 GB); they count no more.

 ○  9,310 files have fewer copies than the goal now. What the other drives hold
    is untouched and counts as before.
 ◖! Card 3 and card 5 must not be formatted any more: their verdicts are
    withdrawn. Keep them and put them in again. If a card was formatted already,
    nothing is lost as long as another drive holds its files.

 ◖! 1 file is on no drive any more. Everything else is untouched. Format no card
    before you have put it in: what is still on one is copied again by itself.
    Thu 3 June 2027, card 2 (1 file, 25 MB)
      2027-06-03/KC-20270603-A0421.NEF

 Put card 2 in. Introduce another drive under its name with
 \`scrubjay drive add MOUNT --name Rust\`, or put a known one in its place with
 \`scrubjay drive replace Rust NAME\`; what it owes is brought up by itself.
 This can't be undone: if Rust is found again it is a new drive, and its files
 are found by reading them.
`,
  );
  const small = { ...rust, held: { files: 0, bytes: 0 }, short: 0, withdrawn: [] };
  const text = flat(renderDriveLost(small, undefined, false));
  expect(text).toContain("Rust is declared lost. It held no copy. No file is short of its copies now.");
  expect(text).not.toMatch(/formatted|on no drive|Put card/);
});

test("the cards of all files that are on no drive are named, of those that aren't shown as well", () => {
  const nowhere = Array.from({ length: 60 }, (_, index) => ({
    ...gone,
    path: `2027-06-03/KC-${index}.NEF`,
    card: index < 45 ? "card 10" : index < 59 ? "card 3" : "card 4",
  }));
  const text = flat(renderDriveLost({ ...rust, nowhere, nowhereTotal: 60 }, undefined, true));
  expect(text).toContain("and 20 more; `--json` names them");
  expect(text).toContain("Put card 3, card 4 and card 10 in. Introduce another drive");
});

test("what takes the place of a lost drive is being filled if it is in, else it is to be plugged in", () => {
  const said = (present: boolean, short = 9310): string =>
    flat(renderDriveLost({ ...rust, short }, { name: "Moss", present }, true));
  expect(said(true)).toContain(
    "Moss is being filled now from what is plugged in; the rest follows by itself when a drive or card that has it comes.",
  );
  expect(said(true)).not.toContain("Plug in Moss");
  expect(said(false)).toContain("Plug in Moss and the drives that hold the files, or put the cards in;");
  expect(said(true, 0)).toContain("Moss gets what comes from now on.");
});

test("hostile names can't steer the terminal, and are quoted in commands", () => {
  const evil = "a\u001b[2J\u202eb\nc";
  const hostile = {
    ...rust,
    name: evil,
    withdrawn: [evil],
    nowhere: [{ ...gone, path: evil }],
    nowhereTotal: 1,
  };
  for (const text of [
    renderDriveLost(hostile, undefined, true, 50),
    renderDriveLost(hostile, { name: evil, present: true }, true, 50),
  ]) {
    expect(text).not.toMatch(/[\p{Cf}\u001b]/u);
    expect(text).not.toContain("\nc");
    expect(text).toContain("\\u{1b}");
  }
  expect(renderDriveLost(rust, undefined, false, 50)).toMatch(/^[\n\x20-\x7e]+$/);
  for (const line of renderDriveLost(rust, { name: "Moss", present: false }, true, 50).split("\n"))
    expect(widthOf(line)).toBeLessThanOrEqual(50);
  expect(renderDriveLost({ ...rust, name: "Old one" }, undefined, true, 96)).toContain(
    "`scrubjay drive replace 'Old one' NAME`",
  );
});

test("drive lost: 0 nothing short, 1 short, 65 nowhere, 64 as the daemon says", async () => {
  await startDaemon();
  world.face.lostAnswer = { ...rust, short: 0 };
  expect(await scrubjay("drive", "lost", "Rust")).toMatchObject({ exit: 0, err: "" });
  world.face.lostAnswer = rust;
  const short = await scrubjay("drive", "lost", "rust", "--json");
  expect(short).toMatchObject({ exit: 1, err: "" });
  expect(JSON.parse(short.out)).toEqual(rust);
  world.face.lostAnswer = { ...rust, nowhere: [gone], nowhereTotal: 1 };
  expect((await scrubjay("drive", "lost", "Rust")).exit).toBe(65);
  expect(world.face.asked).toEqual(["loseDrive Rust", "loseDrive rust", "loseDrive Rust"]);
  expect(await scrubjay("drive", "lost", "Busy")).toEqual({
    exit: 64,
    out: "",
    err: "scrubjay: Busy is plugged in. Take it out first.\n",
  });
});

/** A world in which Rust is away and Moss is known, with the example trip described. */
async function tripWith(...drives: readonly DriveStatusJson[]): Promise<string> {
  await startDaemon();
  await scrubjay("trip", "add", example);
  const moss = drive({ id: "6".repeat(32), name: "Moss", role: null, place: null });
  world.face.statusAnswer = { ...evening, drives: [...evening.drives, moss, ...drives] };
  world.face.lostAnswer = rust;
  world.face.asked.length = 0;
  const folder = join(world.root, "config", "trips");
  const [name = ""] = await readdir(folder);
  return join(folder, name);
}

test("drive replace changes one word in the trip's file, declares the loss, and has the daemon look again", async () => {
  const file = await tripWith();
  const result = await scrubjay("drive", "replace", "rust", "moss");
  expect(result).toMatchObject({ exit: 1, err: "" });
  expect(flat(result.out)).toContain(
    "Moss takes the place of Rust in Kestrel Cliffs. `scrubjay trip show KC` prints the profile as it is now; your own file still names Rust. Change it too before you add it again. Rust is declared lost. It held 9,310 files (460 GB); they count no more.",
  );
  expect(flat(result.out)).toContain("Moss is being filled now from what is plugged in");
  expect(flat(result.out)).toContain("This can't be undone");
  const text = await readFile(example, "utf8");
  expect(await readFile(file, "utf8")).toBe(text.replace("name: Rust", "name: Moss"));
  expect(world.face.asked).toEqual(["loseDrive Rust", "refresh"]);
});

test("drive replace answers a script with the trips it changed and the loss", async () => {
  const file = await tripWith();
  world.face.lostAnswer = { ...rust, short: 3, nowhere: [gone], nowhereTotal: 1 };
  const result = await scrubjay("drive", "replace", "Rust", "Moss", "--json");
  expect(result).toMatchObject({ exit: 65, err: "" });
  expect(JSON.parse(result.out)).toEqual({
    old: "Rust",
    new: "Moss",
    trips: [{ id: expect.stringMatching(/^kc-20270603-/), name: "Kestrel Cliffs", file }],
    lost: world.face.lostAnswer,
  });
});

test("every trip that names the drive is changed, no other one", async () => {
  const file = await tripWith();
  const text = await readFile(example, "utf8");
  const later = text
    .replace("Kestrel Cliffs", "Tern Bay")
    .replace("code: KC", "code: TB")
    .replace("from: 2027-06-03", "from: 2027-07-01")
    .replace("to: 2027-06-14", "to: 2027-07-09");
  await scrubjay("trip", "add", await profileFile(later));
  await scrubjay(
    "trip",
    "add",
    await profileFile(later.replace("Tern Bay", "Skerries").replace("TB", "SK").replace("Rust", "Iron")),
  );
  const result = await scrubjay("drive", "replace", "Rust", "Moss");
  expect(flat(result.out)).toContain(
    "Moss takes the place of Rust in Kestrel Cliffs and Tern Bay. `scrubjay trip show TRIP` prints each profile as it is now; your own files still name Rust.",
  );
  const folder = join(file, "..");
  const texts = await Promise.all(
    (await readdir(folder)).map((name) => readFile(join(folder, name), "utf8")),
  );
  expect(texts.filter((each) => each.includes("name: Moss"))).toHaveLength(2);
  expect(texts.filter((each) => each.includes("name: Rust"))).toHaveLength(0);
  expect(texts.find((each) => each.includes("Skerries"))).toContain("name: Iron");
});

test("a drive that was never introduced, or is lost already, isn't declared lost again", async () => {
  for (const changes of [{ id: null }, { lost: true }]) {
    await tripWith();
    const drives = world.face.statusAnswer.drives.map((each) =>
      each.name === "Rust"
        ? { ...each, ...changes }
        : each.name === "Moss"
          ? { ...each, owed: { files: 12, bytes: 1 } }
          : each,
    );
    world.face.statusAnswer = { ...evening, drives };
    const result = await scrubjay("drive", "replace", "Rust", "Moss");
    expect(result).toMatchObject({ exit: 1, err: "" });
    expect(flat(result.out)).toBe(
      " Moss takes the place of Rust in Kestrel Cliffs. Moss is being filled now; `scrubjay status` shows how far it is. `scrubjay trip show KC` prints the profile as it is now; your own file still names Rust. Change it too before you add it again. ",
    );
    expect(world.face.asked).toEqual(["refresh"]);
    await world.api?.close();
  }
});

test("what refuses a replacement refuses it before anything is changed", async () => {
  const file = await tripWith(
    drive({ id: null, name: "Ghost", present: false }),
    drive({ id: "9".repeat(32), name: "Spent", present: false, lost: true }),
  );
  const before = await readFile(file, "utf8");
  const cases: readonly (readonly [string, string, RegExp])[] = [
    [
      "Rust",
      "RUST",
      /can't take its own place.*`scrubjay drive lost Rust`, then `scrubjay drive add MOUNT --name Rust`/,
    ],
    ["Iron", "Moss", /No trip names Iron\. Nothing was changed/],
    ["Rust", "Nobody", /No drive is known as Nobody\..*`scrubjay drive add MOUNT --name Nobody`/],
    ["Rust", "Ghost", /No drive is known as Ghost/],
    ["Slate", "Spent", /^scrubjay: Spent was declared lost\. .*`scrubjay drive replace Spent Slate`\?$/m],
    ["Spent", "Moss", /^scrubjay: Spent was declared lost, and no trip names it any more\. Nothing needs to/],
    ["Rust", "Slate", /Slate takes part in Kestrel Cliffs already/],
    ["Slate", "Moss", /Slate is plugged in, so it isn't lost\. Nothing was changed/],
    ["Rust", "a\u001b[2J\u202eb", /known as a\\u\{1b\}\[2J\\u\{202e\}b/],
  ];
  for (const [old, successor, words] of cases) {
    const result = await scrubjay("drive", "replace", old, successor);
    expect(result, `${old} ${successor}`).toMatchObject({ exit: 64, out: "" });
    expect(result.err).toMatch(words);
    expect(result.err).not.toContain("\u001b");
  }
  expect(await readFile(file, "utf8")).toBe(before);
  expect(world.face.asked).toEqual([]);
});

test("where OLD and NEW were most likely mixed up, the right order is shown, and nothing is done", async () => {
  const file = await tripWith();
  const before = await readFile(file, "utf8");
  const rustAs = (changes: Partial<DriveStatusJson>): void => {
    const drives = world.face.statusAnswer.drives.map((each) =>
      each.name === "Rust" ? { ...each, ...changes } : each,
    );
    world.face.statusAnswer = { ...evening, drives };
  };
  const mixedUp = async (happened: string): Promise<void> => {
    const result = await scrubjay("drive", "replace", "moss", "Rust");
    expect(result).toEqual({
      exit: 64,
      out: "",
      err: `scrubjay: ${happened} Nothing was changed. Did you mean \`scrubjay drive replace Rust Moss\`?\n`,
    });
  };
  await mixedUp("No trip names Moss.");
  rustAs({ id: null, lost: true });
  await mixedUp("Rust was declared lost.");
  rustAs({ id: null, lost: false });
  await mixedUp("No drive is known as Rust.");
  // The other way round can't be meant either: the drive takes part already, or isn't lost.
  expect((await scrubjay("drive", "replace", "Slate", "Rust")).err).not.toContain("Did you mean");
  expect((await scrubjay("drive", "replace", "Moss", "Slate")).err).not.toContain("Did you mean");
  expect(await readFile(file, "utf8")).toBe(before);
  expect(world.face.asked).toEqual([]);
});

test("a name that the profile can't hold changes nothing, and names the file", async () => {
  const long = "x".repeat(61);
  const file = await tripWith(drive({ id: "9".repeat(32), name: long }));
  const before = await readFile(file, "utf8");
  const result = await scrubjay("drive", "replace", "Rust", long);
  expect(result).toMatchObject({ exit: 78, out: "" });
  expect(result.err).toContain(`The name can't be changed in ${file}: `);
  expect(await readFile(file, "utf8")).toBe(before);
  expect(world.face.asked).toEqual([]);
});

test("a trip file with faults is named and left as it is", async () => {
  const file = await tripWith();
  const faulty = join(file, "..", "xx-20270701-0000.yaml");
  await writeFile(faulty, "trip: X\n");
  const result = await scrubjay("drive", "replace", "Rust", "Moss");
  expect(result.exit).toBe(1);
  expect(result.err).toContain(`${faulty}:1:1: error: `);
  expect(await readFile(faulty, "utf8")).toBe("trip: X\n");
});

test("a loss that the daemon refuses after all is said with what is left to do", async () => {
  const file = await tripWith();
  world.face.loseDrive = async () => {
    throw new UserMistake("Rust is plugged in.", "Take it out first.");
  };
  const result = await scrubjay("drive", "replace", "Rust", "Moss");
  expect(result).toMatchObject({ exit: 64, out: "" });
  expect(result.err).toBe(
    "scrubjay: Moss takes the place of Rust in Kestrel Cliffs, but Rust isn't declared lost yet: Rust is plugged in. Nothing was changed on any drive. `scrubjay drive lost Rust` does what is left.\n",
  );
  expect(await readFile(file, "utf8")).toContain("name: Moss");
  expect(world.face.asked).toEqual(["refresh"]);
});
