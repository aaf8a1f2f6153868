/** Reading a trip profile: every fault at its place, all in one reading. */

import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { readProfile } from "../../daemon/core/profile.ts";
import { exampleNames } from "../../daemon/core/profileTemplates.ts";
import type { ProfileFault, TripProfile } from "../../shared/trip.ts";
import { hostileText, seeded } from "./seeded.ts";

const sound = `trip: Kestrel Cliffs
code: KC
from: 2027-06-03
to: 2027-06-14
zone: Atlantic/Faroe
day-starts: "04:00"
goal: { copies: 3, places: 2 }
drives:
  - { name: Blue, role: primary, place: on me }
  - { name: Slate, role: secondary, place: room safe }
  - { name: Rust, role: further, place: car }
bodies:
  - { serial: "4410072", letter: A, clock: "+00:03:20" }
  - { serial: "4410913", letter: B, zone: Europe/Copenhagen }
folders: "{trip}/{day}"
names: "{code}-{day:yyyyMMdd}-{body}{number}"
after: { eject-card: true }
archive: { folder: /archive, tree: "{taken:yyyy}/{trip}" }
`;

/** The sound profile with one piece of it replaced. */
function changed(from: string, to: string): string {
  expect(sound.split(from).length, `'${from}' stands once in the sound profile`).toBe(2);
  return sound.replace(from, to);
}

function read(text: string): TripProfile {
  const { profile, faults } = readProfile(text);
  if (profile === undefined) throw new Error(JSON.stringify(faults));
  return profile;
}

/** Faults as `line:column key severity`. */
const places = (faults: readonly ProfileFault[]): string[] =>
  faults.map((fault) => `${fault.line}:${fault.column} ${fault.key} ${fault.severity}`);

function expectFault(text: string, place: string, what: RegExp, allowed = /./): void {
  const { profile, faults } = readProfile(text);
  expect(places(faults), text).toContain(place);
  const fault = faults.find((each) => places([each])[0] === place && what.test(each.what));
  expect(fault?.what, JSON.stringify(faults)).toMatch(what);
  expect(fault?.allowed).toMatch(allowed);
  if (place.endsWith("error")) expect(profile).toBeUndefined();
  else expect(profile).toBeDefined();
}

test("a sound profile is read whole, without a fault", () => {
  expect(readProfile(sound)).toEqual({
    faults: [],
    profile: {
      trip: "Kestrel Cliffs",
      code: "KC",
      from: "2027-06-03",
      to: "2027-06-14",
      zone: "Atlantic/Faroe",
      dayStartsMinutes: 240,
      goal: { copies: 3, places: 2 },
      drives: [
        { name: "Blue", role: "primary", place: "on me" },
        { name: "Slate", role: "secondary", place: "room safe" },
        { name: "Rust", role: "further", place: "car" },
      ],
      bodies: [
        { serial: "4410072", letter: "A", clockCorrection: 200_000, videoClock: "utc" },
        { serial: "4410913", letter: "B", clockCorrection: 0, videoClock: "utc", zone: "Europe/Copenhagen" },
      ],
      folders: "{trip}/{day}",
      names: "{code}-{day:yyyyMMdd}-{body}{number}",
      after: { ejectCard: true },
      edits: { leaveOut: [], historyShare: 0.05 },
      archive: { folder: "/archive", tree: "{taken:yyyy}/{trip}", also: [] },
    },
  });
});

test("the example profile of the project has no fault", () => {
  const text = readFileSync(new URL("../../config/example-trip.yaml", import.meta.url), "utf8");
  expect(readProfile(text).faults).toEqual([]);
});

test("the shortest profile gets its defaults", () => {
  const profile = read(`trip: A
code: A
from: 2027-06-03
to: 2027-06-03
zone: UTC
drives:
  - { name: One, role: primary, place: here }
  - { name: Two, role: further, place: there }
`);
  expect(profile).toMatchObject({
    goal: { copies: 2, places: 1 },
    dayStartsMinutes: 0,
    bodies: [],
    folders: "{trip}/{day}",
    names: "{code}-{day:yyyyMMdd}-{body}{number}",
    after: { ejectCard: false },
  });
  expect(profile.archive).toBeUndefined();
});

test("eight faults give eight messages, each with its line and column", () => {
  const text = `trip: Kestrel:Cliffs
code: 007
from: 2027-06-31
to: 2027-06-14
zone: Atlantic/Faroes
goal: { copies: 3, places: 2 }
drives:
  - { name: Blue, role: primary, place: on me }
  - { name: Slate, roll: secondary, role: secondary, place: room safe }
  - { name: Rust, role: further, place: car }
bodies:
  - { serial: 0072, letter: A }
names: "{code}-{dya}-{body}{number}"
folders: "{day}"
`;
  const { profile, faults } = readProfile(text);
  expect(profile).toBeUndefined();
  expect(places(faults)).toEqual([
    "1:7 trip error",
    "2:7 code error",
    "3:7 from error",
    "5:7 zone error",
    "9:20 drives[1].roll error",
    "12:15 bodies[0].serial error",
    "13:17 names error",
    "14:10 folders error",
  ]);
  expect(faults[1]?.allowed).toContain('"007"');
  expect(faults[3]?.what).toContain("did you mean 'Atlantic/Faroe'?");
  expect(faults[4]?.what).toContain("did you mean 'role'?");
  for (const fault of faults) expect(fault.what !== "" && fault.allowed !== "").toBe(true);
});

test("missing keys are named, each once", () => {
  const { faults } = readProfile("# nothing yet\ncode: X\n");
  expect(faults.map((fault) => fault.key)).toEqual(["trip", "from", "to", "zone", "drives"]);
});

test("a key without a value is pointed at", () => {
  expectFault(changed("zone: Atlantic/Faroe", "zone:"), "5:1 zone error", /no value/, /Atlantic/);
  expectFault(changed("to: 2027-06-14", "to: ~"), "4:5 to error", /no value/);
});

test("unknown keys name the nearest known one", () => {
  expectFault(
    changed("day-starts", "day-start"),
    "6:1 day-start error",
    /did you mean 'day-starts'/,
    /archive/,
  );
  expectFault(changed("eject-card", "eject"), "17:10 after.eject error", /unknown key/, /eject-card/);
  expectFault(`${sound}colour: red\n`, "19:1 colour error", /unknown key 'colour'$/);
});

test("dates must exist and be in order", () => {
  expectFault(changed("2027-06-03", "2027-02-29"), "3:7 from error", /no date/);
  expectFault(changed("2027-06-03", "3 June 2027"), "3:7 from error", /no date/);
  expectFault(changed("2027-06-14", "2027-06-02"), "4:5 to error", /before the first/);
  expectFault(changed("2027-06-14", "2037-06-14"), "4:5 to warning", /3665 days/);
  expectFault(changed("2027-06-03", "20270603"), "3:7 from error", /number/, /quotes/);
});

test("zones and times of day must exist", () => {
  expectFault(changed("zone: Atlantic/Faroe", 'zone: "+01:00"'), "5:7 zone error", /no time zone/);
  expectFault(
    changed("Europe/Copenhagen", "Europe/Kopenhagen"),
    "14:43 bodies[1].zone error",
    /'Europe\/Copenhagen'/,
  );
  expectFault(changed('"04:00"', '"24:00"'), "6:13 day-starts error", /no time of day/);
  expectFault(changed('"04:00"', "4"), "6:13 day-starts error", /number 4/);
});

test("a goal that the drives can't meet is an error at the goal", () => {
  expectFault(changed("copies: 3", "copies: 4"), "7:7 goal error", /4 copies need 4 drives, and 3 take part/);
  expectFault(changed("places: 2", "places: 4"), "7:7 goal error", /can't be in 4 places/);
  expectFault(changed("copies: 3", "copies: 0"), "7:17 goal.copies error", /number 0/);
  expectFault(changed("copies: 3", "copies: many"), "7:17 goal.copies error", /'many'/);
  expectFault(changed("copies: 3, ", ""), "7:7 goal.copies error", /missing/);
  expectFault(changed("goal: {", "worth: unrepeatable\ngoal: {"), "7:1 worth error", /both/);
  expectFault(changed("goal: { copies: 3, places: 2 }", "worth: a lot"), "7:8 worth error", /no worth/);
  const onePlace = sound.replace("on me", "bag").replace("room safe", "bag").replace("car", "Bag");
  expectFault(onePlace, "7:7 goal error", /2 places are asked for, and the drives name 1 place/);
});

test("a goal that can't be met is told together with what else is wrong", () => {
  const both = changed("copies: 3, places: 2", "copies: 5, places: 9").replace(
    "role: further",
    "role: spare",
  );
  expect(places(readProfile(both).faults)).toEqual([
    "7:7 goal error",
    "7:7 goal error",
    "11:25 drives[2].role error",
  ]);
  expectFault(both, "7:7 goal error", /5 copies need 5 drives, and 3 take part/, /up to 3 copies/);
  expectFault(both, "7:7 goal error", /5 copies can't be in 9 places/);
  // Three readable places would do; one that can't be read is no second fault.
  const unread = changed("place: car", "place: []").replace("places: 2", "places: 3");
  expect(places(readProfile(unread).faults)).toEqual(["11:41 drives[2].place error"]);
  const one = sound.replace(/ {2}- \{ name: (?:Slate|Rust).*\n/g, "");
  expectFault(one, "7:7 goal error", /3 copies need 3 drives, and 1 takes part/, /up to 1 copy, or more/);
  expectFault(
    changed("copies: 3", "copies: 1"),
    "7:7 goal error",
    /1 copy can't be in 2 places/,
    /up to 1 place$/,
  );
});

test("worth is a word for a goal", () => {
  const goal = "goal: { copies: 3, places: 2 }";
  expect(read(changed(goal, "worth: ordinary")).goal).toEqual({ copies: 2, places: 1 });
  expect(read(changed(goal, "worth: unrepeatable")).goal).toEqual({ copies: 3, places: 2 });
});

test("all drives in one place is a warning where the goal allows it", () => {
  const text = sound.replace("places: 2", "places: 1").replace("room safe", "on me").replace("car", "on me");
  expectFault(text, "9:3 drives warning", /one loss takes every copy/);
});

test("roles: one primary, no secondary without it", () => {
  expectFault(
    changed("role: primary", "role: further"),
    "10:26 drives[1].role error",
    /secondary without a primary/,
  );
  expectFault(
    changed("role: secondary", "role: primary"),
    "10:26 drives[1].role error",
    /second drive is primary/,
  );
  expectFault(
    changed("role: further", "role: spare"),
    "11:25 drives[2].role error",
    /'spare'/,
    /primary, secondary/,
  );
  expectFault(changed(", role: further", ""), "11:5 drives[2].role error", /missing/);
  const noPrimary = changed("role: primary", "role: further").replace("role: secondary", "role: further");
  expectFault(noPrimary, "9:3 drives error", /no drive is primary/);
});

test("drives have names of their own, upper and lower case alike", () => {
  expectFault(
    changed("name: Rust", "name: BLUE"),
    "11:13 drives[2].name error",
    /two drives are called 'Blue'/,
  );
  expectFault(changed("name: Rust", 'name: "a\\nb"'), "11:13 drives[2].name error", /a\\u\{a\}b/);
  const list = /drives:\n(?: {2}.*\n){3}/;
  expectFault(sound.replace(list, "drives: []\n"), "8:9 drives error", /no drive takes part/);
  expectFault(sound.replace(list, "drives: Blue\n"), "8:9 drives error", /'Blue' stands where a list/);
});

test("serial numbers survive as text or ask for quotes", () => {
  const serial = (text: string): string => changed('serial: "4410072"', `serial: ${text}`);
  expect(read(serial("4410072")).bodies[0]?.serial).toBe("4410072");
  expect(read(serial('"0072"')).bodies[0]?.serial).toBe("0072");
  for (const lost of ["0072", "1e3", "0x10", "12345678901234567890", "4.50"]) {
    expectFault(serial(lost), "13:15 bodies[0].serial error", /number/, /quotes/);
  }
  expectFault(serial('"4410913"'), "14:15 bodies[1].serial error", /twice/);
});

test("letters, clocks and video times", () => {
  expectFault(
    changed("letter: B", "letter: A"),
    "14:34 bodies[1].letter error",
    /two bodies have the letter A/,
  );
  expectFault(changed("letter: B", "letter: ab"), "14:34 bodies[1].letter error", /'ab'/, /A to Z/);
  expectFault(changed('"+00:03:20"', '"3 min"'), "13:44 bodies[0].clock error", /clock correction/);
  expectFault(changed('"+00:03:20"', '"+00:60"'), "13:44 bodies[0].clock error", /clock correction/);
  expect(read(changed('"+00:03:20"', "-01:00")).bodies[0]?.clockCorrection).toBe(-3_600_000);
  expect(read(changed("letter: B", "letter: B, video-time: body")).bodies[1]?.videoClock).toBe("body");
  expectFault(
    changed("letter: B", "video-time: local"),
    "14:38 bodies[1].video-time error",
    /'local'/,
    /utc/,
  );
});

test("names that some drive refuses are errors", () => {
  for (const name of ['"a/b"', "NUL", '"what?"', '"dot."', '" blank"', ".SCRUBJAY", '""', '".."']) {
    expectFault(changed("trip: Kestrel Cliffs", `trip: ${name}`), "1:7 trip error", /./);
  }
  expectFault(changed("trip: Kestrel Cliffs", `trip: ${"ä".repeat(51)}`), "1:7 trip error", /102 bytes/);
  expectFault(changed("code: KC", "code: K/C"), "2:7 code error", /K\/C/);
  expectFault(changed("code: KC", "code: true"), "2:7 code error", /truth value/, /"true"/);
});

test("a template's fault is shown at its column", () => {
  expectFault(changed("{taken:yyyy}/", "{taken:yyyyQ}/"), "18:48 archive.tree error", /'Q'/);
  expectFault(changed("{body}{number}", "{body/}{number}"), "16:32 names error", /'body\/'/);
  expectFault(changed("-{body}{number}", "/{body}{number}"), "16:30 names error", /can't hold '\/'/);
  expectFault(changed('"{trip}/{day}"', "'{trip}/{day}/../x'"), "15:24 folders error", /'\.\.'/);
  expectFault(changed('"{trip}/{day}"', '"{trip}//{day}"'), "15:18 folders error", /empty folder/);
  expectFault(changed('"{trip}/{day}"', '"{trip}/Extras/{day}"'), "15:18 folders error", /extras/);
  expectFault(changed('"{trip}/{day}"', '"{trip} {day}"'), "15:10 folders error", /begin with \{trip\}/);
  // Written with an escape, the column can't be told: the value's start.
  expectFault(changed('"{trip}/{day}"', '"{trip}\\u002F{dya}"'), "15:10 folders error", /'dya'/);
});

test("a template that can clash is a warning with an example", () => {
  expectFault(
    changed("{body}{number}", "{number}"),
    "16:8 names warning",
    /body A and frame 0421 of body B.*Kestrel/,
  );
});

test("paths too long for Windows are a warning", () => {
  const long = changed('"{trip}/{day}"', `"{trip}/${"x".repeat(120)}/${"y".repeat(110)}/{day}"`);
  expectFault(long, "16:8 names warning", /characters long/);
});

test("the archive is an absolute folder", () => {
  expectFault(
    changed("folder: /archive", "folder: archive"),
    "18:20 archive.folder error",
    /no absolute path/,
  );
  expectFault(changed("folder: /archive, ", ""), "18:10 archive.folder error", /missing/);
  expect(read(changed(', tree: "{taken:yyyy}/{trip}"', "")).archive?.tree).toBe("{taken:yyyy}/{trip}");
});

test("a word that isn't true or false is no answer", () => {
  expectFault(changed("eject-card: true", "eject-card: yes"), "17:22 after.eject-card error", /'yes'/);
});

test("faults of YAML itself have their place too", () => {
  expectFault(changed("code: KC", "code: KC\ncode: KD"), "3:1  error", /second time/);
  expectFault(sound.replace("  - { name: Blue", "\t- { name: Blue"), "9:1  error", /tab/);
  expectFault(changed("code: KC", "code: [KC"), "3:1  error", /YAML/);
  expectFault(`${sound}---\ntrip: B\n`, "19:1  error", /second document/);
});

test("roots that are no map, and aliases, are refused", () => {
  for (const text of ["", "just words", "- a\n- b", "42", "# only a comment\n"]) {
    expectFault(text, "1:1  error", /keys with values/);
  }
  const bomb = `${changed("code: KC", "code: &a KC")}after: *a\n`.replace(
    "after: { eject-card: true }\n",
    "",
  );
  expectFault(bomb, "18:8 after error", /alias/);
});

test("hostile text in a message is harmless to a terminal", () => {
  const { faults } = readProfile(changed("zone: Atlantic/Faroe", 'zone: "\\e[2J\\u202e"\n"\\e[31m": 1'));
  expect(faults.length).toBe(2);
  for (const fault of faults) {
    const shown = fault.what + fault.allowed + fault.key;
    expect(shown).not.toMatch(/[\p{Cc}\p{Cf}]/u);
    expect(shown).toContain("\\u{1b}");
  }
});

test("a document of a megabyte is refused, one of deep nesting or many keys answered", () => {
  expectFault(`trip: ${"x".repeat(1_000_000)}`, "1:1  error", /longer than any profile/);
  for (const text of ["[".repeat(99_000), "- ".repeat(49_000), "a: [".repeat(20_000)]) {
    const { profile, faults } = readProfile(text);
    expect(profile).toBeUndefined();
    expect(faults.length).toBeGreaterThan(0);
    expect(faults.length).toBeLessThan(50);
  }
});

test("whatever is in the file, reading it answers and never throws", () => {
  const seed = 78;
  const random = seeded(seed);
  const lines = sound.split("\n");
  for (let round = 0; round < 1500; round += 1) {
    const spoilt = [...lines];
    for (let times = 1 + random.below(3); times > 0; times -= 1) {
      const at = random.below(spoilt.length);
      const line = spoilt[at] ?? "";
      const cut = random.below(line.length + 1);
      spoilt[at] = random.pick([
        line.slice(0, cut),
        line.slice(0, cut) + hostileText(random, 4) + line.slice(cut),
        `${line}\n${random.pick(lines)}`,
        line.replace(
          /:.*/,
          `: ${random.pick(["[]", "{}", "null", "1", "true", "*a", "&a x", "!t x", '"', "- - 1"])}`,
        ),
      ]);
    }
    const text = spoilt.join("\n");
    const { profile, faults } = readProfile(text);
    const sure =
      profile === undefined
        ? faults.some((fault) => fault.severity === "error")
        : exampleNames(profile).length === 3;
    expect(sure, `seed ${seed}, round ${round}: ${text}`).toBe(true);
    for (const fault of faults) {
      expect(fault.line, `seed ${seed}, round ${round}`).toBeGreaterThan(0);
      expect(fault.column).toBeGreaterThan(0);
    }
  }
});

test("example names show what the templates give", () => {
  expect(exampleNames(read(sound))).toEqual([
    "Kestrel Cliffs/2027-06-03/KC-20270603-A0421.NEF",
    "Kestrel Cliffs/2027-06-03/KC-20270603-A0422.NEF",
    "Kestrel Cliffs/2027-06-04/KC-20270604-B1207.NEF",
  ]);
});

test("example names have the letters of the bodies that are listed", () => {
  const letters = (text: string): string[] =>
    exampleNames(read(text)).map((name) => /-([A-Z]+)\d{4}\.NEF$/.exec(name)?.[1] ?? "");
  expect(letters(sound.replace("letter: A", "letter: P").replace("letter: B", "letter: QQ"))).toEqual([
    "P",
    "P",
    "QQ",
  ]);
  // One without a letter gets the next free one.
  expect(letters(changed("letter: B, ", ""))).toEqual(["A", "A", "B"]);
  expect(
    letters(sound.replace("letter: A", "letter: M").replace(/ {2}- \{ serial: "4410913".*\n/, "")),
  ).toEqual(["M", "M", "M"]);
});

const withEdits = (edits: string): string => changed("archive:", `edits: ${edits}\narchive:`);

test.each([
  ["{ leave-out: Catalogue/Previews/**, history: 5 % }", ["Catalogue/Previews/**"], 0.05],
  ['{ leave-out: ["**/Cache", "*.tmp"], history: "12.5%" }', ["**/Cache", "*.tmp"], 0.125],
  ["{ leave-out: [], history: 0 % }", [], 0],
  ["{ history: 50% }", [], 0.5],
  ["{ leave-out: Exports }", ["Exports"], 0.05],
])("edits: %s is read", (edits, leaveOut, historyShare) => {
  expect(read(withEdits(edits)).edits).toEqual({ leaveOut, historyShare });
});

test("a profile says what of work files is faulty, at its place", () => {
  expectFault(withEdits("{ leaveout: a }"), "18:10 edits.leaveout error", /did you mean 'leave-out'/);
  expectFault(withEdits("yes"), "18:8 edits error", /keys with values/);
  expectFault(withEdits("{ leave-out: /Exports }"), "18:21 edits.leave-out error", /begins with/);
  expectFault(withEdits("{ leave-out: [a, b//c] }"), "18:27 edits.leave-out[1] error", /'\/\/'/);
  expectFault(withEdits("{ leave-out: 5 }"), "18:21 edits.leave-out error", /number 5/, /quotes/);
  for (const share of ["51 %", "5", "5 per cent", "-1 %", "1e1 %", "{}", ""])
    expectFault(
      withEdits(`{ history: ${share} }`),
      `18:${share === "" ? 10 : 19} edits.history error`,
      /./,
      /50 %/,
    );
  const many = Array.from({ length: 101 }, (_, index) => `p${index}`).join(", ");
  expectFault(withEdits(`{ leave-out: [${many}] }`), "18:21 edits.leave-out error", /101 patterns/);
});

test("a further archive is another absolute folder", () => {
  const also = (value: string): string => changed("folder: /archive,", `folder: /archive, also: ${value},`);
  expect(read(also("/second/archive")).archive?.also).toEqual(["/second/archive"]);
  expect(read(also("[/second, 'D:\\Third']")).archive?.also).toEqual(["/second", "D:\\Third"]);
  expectFault(also("second"), "18:36 archive.also error", /no absolute path/);
  expectFault(also("/archive/"), "18:36 archive.also error", /named already/);
  expectFault(also("[/b, //b]"), "18:41 archive.also[1] error", /named already/);
  expectFault(also("[/1,/2,/3,/4,/5,/6,/7,/8,/9]"), "18:36 archive.also error", /9 folders/);
});
