/** Changing a profile's text value by value: what was asked for changes, and nothing that someone wrote is lost. */

import { readFileSync } from "node:fs";
import { describe, expect, test } from "vitest";
import { readProfile } from "../../daemon/core/profile.ts";
import { changeProfile } from "../../daemon/core/profileEdit.ts";
import { emptyProfile, formOf, withoutDays } from "../../daemon/core/profileForm.ts";
import type { TripProfile } from "../../shared/trip.ts";
import type { ProfileChangeJson } from "../../shared/tripsApi.ts";
import { seeded } from "./seeded.ts";

const example = readFileSync(new URL("../../config/example-trip.yaml", import.meta.url), "utf8");

function changed(text: string, key: string, value: ProfileChangeJson["value"]): string {
  const result = changeProfile(text, [{ key, value }]);
  if (result === undefined) throw new Error(`${key} can't be changed`);
  return result;
}

function profileOf(text: string): TripProfile {
  const { profile, faults } = readProfile(text);
  if (profile === undefined) throw new Error(JSON.stringify(faults));
  return profile;
}

/** Comments in their order. No value of these texts holds a `#`. */
const commentsOf = (text: string): readonly string[] =>
  text.split("\n").flatMap((line) => /#.*$/.exec(line)?.[0].trim() ?? []);

/** Every value that a form can change, a new value for it, and where that is found in the profile. */
const single: readonly [string, string | boolean, (profile: TripProfile) => unknown, unknown][] = [
  ["trip", "Heron Marsh: spring", (it) => it.trip, undefined],
  ["trip", "Heron Marsh", (it) => it.trip, "Heron Marsh"],
  ["code", "0012", (it) => it.code, "0012"],
  ["code", "true", (it) => it.code, "true"],
  ["from", "2027-06-01", (it) => it.from, "2027-06-01"],
  ["to", "2027-06-20", (it) => it.to, "2027-06-20"],
  ["zone", "UTC", (it) => it.zone, "UTC"],
  ["day-starts", "05:30", (it) => it.dayStartsMinutes, 330],
  ["goal.copies", "2", (it) => it.goal, { copies: 2, places: 2 }],
  ["goal.places", "3", (it) => it.goal, { copies: 3, places: 3 }],
  ["worth", "unrepeatable", (it) => it.goal, { copies: 3, places: 2 }],
  ["drives[0].name", "Moss", (it) => it.drives[0]?.name, "Moss"],
  ["drives[1].name", "a, b", (it) => it.drives[1]?.name, "a, b"],
  ["drives[1].name", "12", (it) => it.drives[1]?.name, "12"],
  ["drives[1].role", "further", (it) => it.drives[1]?.role, "further"],
  ["drives[2].place", "the car's boot # locked", (it) => it.drives[2]?.place, undefined],
  ["drives[2].place", "glove box", (it) => it.drives[2]?.place, "glove box"],
  ["bodies[0].serial", "0012", (it) => it.bodies[0]?.serial, "0012"],
  ["bodies[0].letter", "C", (it) => it.bodies[0]?.letter, "C"],
  ["bodies[0].clock", "-00:01", (it) => it.bodies[0]?.clockCorrection, -60_000],
  ["bodies[0].zone", "UTC", (it) => it.bodies[0]?.zone, "UTC"],
  ["bodies[1].clock", "+01:00", (it) => it.bodies[1]?.clockCorrection, 3_600_000],
  ["bodies[1].video-time", "body", (it) => it.bodies[1]?.videoClock, "body"],
  ["folders", "{trip}/{day:yyyy}/{day}", (it) => it.folders, "{trip}/{day:yyyy}/{day}"],
  ["names", "{original}-{body}{count:0000}", (it) => it.names, "{original}-{body}{count:0000}"],
  ["after.eject-card", false, (it) => it.after.ejectCard, false],
  ["archive.folder", "/home/anna/Pictures", (it) => it.archive?.folder, "/home/anna/Pictures"],
  ["archive.tree", "{trip}", (it) => it.archive?.tree, "{trip}"],
  ["archive.also", "/second", (it) => it.archive?.also, ["/second"]],
  ["edits.history", "12.5 %", (it) => it.edits.historyShare, 0.125],
];

describe("one value of the example profile", () => {
  test.each(single)("%s can be %s, and every comment is still there", (key, value, found, wanted) => {
    const text = changed(example, key, value);
    const kept = commentsOf(text);
    for (const comment of commentsOf(example)) expect(kept).toContain(comment);
    if (wanted !== undefined) expect(found(profileOf(text))).toEqual(wanted);
    // Where the value is refused by the profile's rules, the form still has it.
    else expect(JSON.stringify(formOf(text))).toContain(JSON.stringify(value));
    const lines = example.split("\n");
    const other = text.split("\n").filter((line, at) => line !== lines[at]);
    expect(other.length).toBeLessThanOrEqual(1);
  });

  test("a value that is set to what it is changes no character", () => {
    const form = formOf(example);
    const same: readonly (readonly [string, string | undefined])[] = [
      ["trip", form?.trip],
      ["day-starts", form?.dayStarts],
      ["goal.copies", form?.copies],
      ["bodies[0].serial", form?.bodies[0]?.serial],
      ["names", form?.names],
    ];
    for (const [key, value] of same) expect(changed(example, key, value ?? "")).toBe(example);
  });

  test("any row of changes leaves a profile that says them all, with every comment", () => {
    const random = seeded(11);
    const sound = single.filter(([key, , , wanted]) => wanted !== undefined && key !== "worth");
    for (let round = 0; round < 40; round += 1) {
      const last = new Map<string, (typeof single)[number]>();
      let text = example;
      for (let step = 0; step < 12; step += 1) {
        const one = random.pick(sound);
        text = changed(text, one[0], one[1]);
        last.delete(one[0]);
        last.set(one[0], one);
      }
      for (const comment of commentsOf(example)) expect(commentsOf(text)).toContain(comment);
      const read = formOf(text);
      for (const [, value] of last.values()) expect(JSON.stringify(read)).toContain(JSON.stringify(value));
    }
  });
});

describe("what YAML would take for something else", () => {
  test.each([
    "0012",
    "04:00",
    "true",
    "null",
    "~",
    "1e3",
    "",
    " x ",
    "- a",
    "a: b",
    "a #b",
    "{x}",
    "[",
    "'",
    '"',
    "&a",
    "*a",
    "!t",
    "%",
    "@",
    "`",
    "a\nb",
    "\u202e",
    "\ud800",
    "<img src=x onerror=alert(1)>",
  ])("%j stays that text, in a flow map, as a plain value and in quotes", (value) => {
    for (const key of ["trip", "drives[0].name", "bodies[0].serial", "day-starts"]) {
      const form = formOf(changed(example, key, value));
      const read = {
        trip: form?.trip,
        "drives[0].name": form?.drives[0]?.name,
        "bodies[0].serial": form?.bodies[0]?.serial,
        "day-starts": form?.dayStarts,
      };
      expect(read[key as keyof typeof read]).toBe(value);
    }
  });

  test("a serial that stood there as a number is in quotes when it changes", () => {
    const text = example.replace('"4410072"', "4410072");
    expect(changed(text, "bodies[0].serial", "0012")).toContain('serial: "0012", letter: A');
  });
});

describe("entries and keys that come and go", () => {
  test("a drive is added as a line like the others, and nothing else moves", () => {
    const text = changeProfile(example, [
      { key: "drives[3].name", value: "Moss" },
      { key: "drives[3].role", value: "further" },
    ]);
    const line = "  - { name: Moss, role: further }\n";
    expect(text?.replace(line, "")).toBe(example);
    expect(profileOf(text ?? "").drives.at(-1)).toEqual({ name: "Moss", role: "further" });
  });

  test("a drive is taken away with its own line only", () => {
    const text = changed(example, "drives[1]", null);
    expect(text).toBe(example.replace("  - { name: Slate, role: secondary, place: room safe }\n", ""));
  });

  test("a body that goes takes the comment beside it along, and no other", () => {
    const text = changed(example, "bodies[0]", null);
    const beside = "# what to add to this body's clock";
    expect(commentsOf(text)).toEqual(commentsOf(example).filter((comment) => comment !== beside));
    const none = changed(text, "bodies[0]", null);
    expect(none).not.toMatch(/^bodies:/m);
    expect(none).toContain("# Optional: a body that is not listed");
    expect(profileOf(none).bodies).toEqual([]);
  });

  test("a comment above an entry stays when the entry goes", () => {
    const text =
      "drives:\n  # fast\n  - name: Blue\n    role: primary\n  # slow\n  - name: Slate # old\n    role: further\n";
    expect(commentsOf(changed(text, "drives[0]", null))).toEqual(["# fast", "# slow", "# old"]);
    expect(commentsOf(changed(text, "drives[1]", null))).toEqual(["# fast", "# slow"]);
  });

  test("an entry between others comes as they are: block maps stay block maps", () => {
    const text = "drives:\n- name: Blue\n  role: primary\n";
    expect(changed(text, "drives[1].name", "Moss")).toBe(
      "drives:\n- name: Blue\n  role: primary\n- name: Moss\n",
    );
  });

  test("what isn't said any more goes, and comes back in its place", () => {
    const text = changed(example, "bodies[0].letter", null);
    expect(text).toContain('{ serial: "4410072", clock: "+00:03:20" }');
    expect(changed(text, "bodies[0].letter", "A")).toBe(example);
    const archived = changed(changed(example, "archive.folder", null), "archive.tree", null);
    expect(archived).not.toMatch(/^archive:/m);
    expect(commentsOf(archived)).toEqual(commentsOf(example));
  });

  test("worth takes the place of goal, and goal that of worth, comments and all", () => {
    const worth = changed(example, "worth", "ordinary");
    expect(worth).toBe(example.replace("goal: { copies: 3, places: 2 }", "worth: ordinary"));
    const goal = changeProfile(worth, [
      { key: "goal.copies", value: "3" },
      { key: "goal.places", value: "2" },
    ]);
    expect(goal).toBe(example);
    const beside = "goal: { copies: 2 } # two\n";
    expect(changed(beside, "worth", "ordinary")).toBe("worth: ordinary # two\n");
    const block = "goal: # enough\n  copies: 2 # of each\n  places: 1\ntrip: A\n";
    expect([...commentsOf(changed(block, "worth", "ordinary"))].sort()).toEqual(["# enough", "# of each"]);
  });

  test("taking away what isn't there changes nothing", () => {
    for (const key of ["worth", "drives[9]", "drives[0].nothing", "bodies[0].zone"]) {
      const result = changeProfile(example, [{ key, value: null }]);
      expect(result).toBe(key === "drives[0].nothing" ? undefined : example);
    }
  });

  test("a profile can be written from nothing", () => {
    const text = changeProfile("", [
      { key: "drives[0].role", value: "primary" },
      { key: "drives[0].name", value: "Blue" },
      { key: "trip", value: "Kestrel Cliffs" },
      { key: "day-starts", value: "04:00" },
      { key: "goal.copies", value: "1" },
    ]);
    expect(text).toBe(
      'trip: Kestrel Cliffs\nday-starts: "04:00"\ngoal: { copies: 1 }\ndrives:\n  - { name: Blue, role: primary }\n',
    );
  });
});

describe("how the text is written", () => {
  test("aligned comments, blanks in braces and line ends stay when a line is added elsewhere", () => {
    const text =
      "trip:   Kestrel Cliffs          # the folder\r\ncode: KC                        # short\r\ndrives:\r\n  - {name: Blue,  role: primary}   # fast\r\n";
    const added = changed(text, "drives[1].name", "Slate");
    expect(added).toBe(`${text}  - { name: Slate }\r\n`);
  });

  test("a comment at the end stays where it is when a key comes", () => {
    const text = "trip: A\nnames: '{original}'\n# packed on Tuesday\n";
    expect(changed(text, "code", "KC")).toBe(text.replace("names", "code: KC\nnames"));
    expect(changed(changed(text, "from", ""), "from", "2027-06-03")).toContain("from: 2027-06-03\n");
  });

  test("what can't be changed without doubt is left alone", () => {
    for (const text of ["trip: [", "- a\n- b\n", "a: &x 1\ntrip: *x\n", "trip: a\ntrip: b\n"])
      expect(changeProfile(text, [{ key: "code", value: "KC" }])).toBeUndefined();
    for (const key of [
      "",
      "colour",
      "drives",
      "trip[0]",
      "drives[0].colour",
      "goal",
      "__proto__",
      "drives[5].name",
    ])
      expect([key, changeProfile(example, [{ key, value: "x" }])]).toEqual([key, undefined]);
  });
});

describe("texts to begin with", () => {
  test("a copy has no days, and all else with its comments", () => {
    const copy = withoutDays(example) ?? "";
    expect(copy).toBe(example.replace("from: 2027-06-03", 'from: ""').replace("to: 2027-06-14", 'to: ""'));
    expect(readProfile(copy).faults.map((fault) => fault.key)).toEqual(["from", "to"]);
  });

  test("an empty one lacks exactly what nobody can know yet", () => {
    const keys = readProfile(emptyProfile(["Blue", "Slate"])).faults.map((fault) => fault.key);
    expect(keys).toEqual(["trip", "code", "from", "to", "zone"]);
    expect(formOf(emptyProfile([]))?.drives.map((drive) => drive.role)).toEqual(["primary", "secondary"]);
    // A drive's name is hostile too.
    expect(formOf(emptyProfile(['"}\n- x']))?.drives[0]?.name).toBe('"}\n- x');
  });
});

test("what may be one or a list is in the form as one, and a list is left to the text", () => {
  const one = example.replace(/^edits: .*$/m, 'edits: { leave-out: "Catalogue/Previews/**" }');
  expect(formOf(example)).toMatchObject({ leaveOut: null, archiveAlso: "", historyShare: "5 %" });
  expect(formOf(one)).toMatchObject({ leaveOut: "Catalogue/Previews/**", historyShare: "" });
  expect(profileOf(changed(one, "edits.leave-out", "**/*.tmp")).edits.leaveOut).toEqual(["**/*.tmp"]);
  expect(changed(one, "edits.leave-out", null)).not.toMatch(/leave-out/);
  const two = changed(example, "archive.also", "/second").replace("/second", "[/second, /third]");
  expect(formOf(two)?.archiveAlso).toBeNull();
});

test("keys of work files and further archives stay as they stand while others change", () => {
  const text = example
    .replace(
      /^edits:.*$/m,
      `edits: # what is big
  leave-out: ["Catalogue/Previews/**", '*.tmp'] # made anew
  history: 5 %`,
    )
    .replace("{ folder: /archive,", "{ folder: /archive, also: [/second],");
  const changedText = changed(changed(text, "code", "KX"), "archive.folder", "/elsewhere");
  expect(changedText).toContain(text.slice(text.indexOf("edits:"), text.indexOf("archive:")));
  expect(changedText).toContain("also: [/second]");
  expect(readProfile(changedText).profile?.edits.leaveOut).toEqual(["Catalogue/Previews/**", "*.tmp"]);
  expect(readProfile(changed(text, "edits.history", "10 %")).profile?.edits.historyShare).toBe(0.1);
});
