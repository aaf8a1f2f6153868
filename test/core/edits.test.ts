/** What is decided about work files: which version holds, what follows from what is found, what belongs together. */

import { describe, expect, test } from "vitest";
import { type Decision, decide, type Found } from "../../daemon/core/edits/decide.ts";
import { foldersHolding, unitsOf } from "../../daemon/core/edits/units.ts";
import {
  comesBefore,
  headsOf,
  holding,
  inOrder,
  standingOf,
  type Version,
} from "../../daemon/core/edits/versions.ts";
import { type ContentHash, nameKey, type RelativePath } from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { seeded } from "./seeded.ts";

const version = (id: string, hash: string, modified: number, ...after: readonly string[]): Version => ({
  id,
  hash: hash as ContentHash | "",
  size: bytes(hash.length),
  modified: instant(modified),
  after,
});
const found = (hash: string, modified = 50): Found => ({
  hash: hash as ContentHash,
  size: bytes(hash.length),
  modified: instant(modified),
});
const ids = (versions: readonly Version[]): readonly string[] => versions.map(({ id }) => id);

describe("versions", () => {
  // a ← b ← d, a ← c ← d, and e made apart.
  const graph = [
    version("d", "D", 4, "b", "c"),
    version("b", "B", 2, "a"),
    version("e", "E", 1),
    version("c", "C", 3, "a"),
    version("a", "A", 9),
  ];

  test("those nobody follows are the newest, whatever their times say", () => {
    expect(ids(headsOf(graph)).toSorted()).toEqual(["d", "e"]);
    expect(headsOf([])).toEqual([]);
    // One that follows what isn't known yet is a newest one too.
    expect(ids(headsOf([version("z", "Z", 1, "unknown")]))).toEqual(["z"]);
  });

  test("before is what leads to it over any way, never itself, and a ring ends", () => {
    const younger = (elder: string) =>
      graph.filter(({ id }) => comesBefore(elder, id, graph)).map(({ id }) => id);
    expect(younger("a").toSorted()).toEqual(["b", "c", "d"]);
    expect(younger("b")).toEqual(["d"]);
    expect(younger("e")).toEqual([]);
    const ring = [version("x", "X", 1, "y"), version("y", "Y", 2, "x")];
    expect(comesBefore("nothing", "x", ring)).toBe(false);
  });

  test.each([
    { held: undefined, stands: undefined },
    { held: ["unknown"], stands: undefined },
    { held: ["a"], stands: "a" },
    { held: ["a", "b"], stands: "b" },
    { held: ["d", "a", "c"], stands: "d" },
    // Neither led to the other: by time.
    { held: ["b", "c"], stands: "c" },
    { held: ["a", "e"], stands: "a" },
  ])("a drive that held $held holds $stands", ({ held, stands }) => {
    expect(standingOf(graph, held === undefined ? undefined : new Set(held))?.id).toBe(stands);
  });

  test("the order is the same whoever asks, and a deletion never comes last beside a change", () => {
    const some = [version("p", "", 99), version("q", "Q", 1), version("r", "R", 1), version("s", "S", 7)];
    for (let seed = 1; seed <= 50; seed += 1) {
      const random = seeded(seed);
      const mixed = [...some].sort(() => random.below(3) - 1);
      expect(ids(inOrder(mixed)), `seed ${seed}`).toEqual(["p", "q", "r", "s"]);
    }
  });
});

test.each([
  {
    is: "of two made apart the one of the later time",
    versions: [version("a", "A", 1), version("b", "B", 3, "a"), version("c", "C", 2, "a")],
    holds: "b",
  },
  {
    is: "not what one side replaced while the other took it over as it was",
    versions: [
      version("a", "A", 90),
      version("b", "B", 2, "a"),
      version("o", "O", 1),
      version("j", "A", 90, "a", "o"),
    ],
    holds: "b",
  },
  {
    is: "content that both sides took over as it was",
    versions: [
      version("a", "A", 90),
      version("o", "O", 1),
      version("j", "A", 90, "a", "o"),
      version("k", "A", 91, "a"),
      version("c", "C", 2),
    ],
    holds: "k",
  },
  {
    is: "but what someone turned back to",
    versions: [
      version("a", "A", 1),
      version("b", "B", 2, "a"),
      version("back", "A", 9, "b"),
      version("c", "C", 3, "a"),
    ],
    holds: "back",
  },
])("of several newest ones holds $is", ({ versions, holds }) => {
  for (const known of [versions, versions.toReversed()]) expect(holding(known)?.id).toBe(holds);
});

describe("decisions", () => {
  const line = [version("a", "A", 10), version("b", "B", 20, "a"), version("c", "C", 30, "b")];
  const deleted = [...line, version("gone", "", 0, "c")];
  const two = [version("a", "A", 10), version("b", "B", 20, "a"), version("c", "C", 30, "a")];
  const same = (record?: string): Decision => ({ what: "same", record });
  const behind: Decision = { what: "behind" };
  const apart = (base: readonly string[], foundWins: boolean, heads = ["c"]): Decision => ({
    what: "apart",
    base,
    heads,
    foundWins,
  });
  const cases: readonly {
    readonly is: string;
    readonly versions: readonly Version[];
    readonly held?: readonly string[];
    readonly found?: Found;
    readonly primary?: boolean;
    readonly gives: Decision;
  }[] = [
    { is: "nothing known, nothing there", versions: [], gives: same() },
    { is: "the first version", versions: [], found: found("A"), gives: { what: "new", after: [] } },
    { is: "the newest, as is known", versions: line, held: ["c"], found: found("C"), gives: same() },
    { is: "the newest, not yet known", versions: line, held: ["b"], found: found("C"), gives: same("c") },
    { is: "the newest, nothing known", versions: line, found: found("C"), gives: same("c") },
    { is: "as it was left", versions: line, held: ["a"], found: found("A"), gives: behind },
    { is: "an elder one, nothing known", versions: line, found: found("A"), gives: behind },
    {
      is: "a change of the newest",
      versions: line,
      held: ["a", "c"],
      found: found("X", 1),
      gives: { what: "new", after: ["c"] },
    },
    {
      is: "the newest turned back to an elder one",
      versions: line,
      held: ["c"],
      found: found("A"),
      gives: { what: "new", after: ["c"] },
    },
    {
      is: "a change of an elder one, later",
      versions: line,
      held: ["b"],
      found: found("X", 31),
      gives: apart(["b"], true),
    },
    {
      is: "a change of an elder one, earlier",
      versions: line,
      held: ["b"],
      found: found("X", 30),
      gives: apart(["b"], false),
    },
    {
      is: "an elder one turned back to a still elder",
      versions: line,
      held: ["b"],
      found: found("A", 5),
      gives: apart(["b"], false),
    },
    {
      is: "a change of what was taken over elsewhere as it is",
      versions: [...line, version("other", "O", 5), version("joined", "C", 30, "other", "c")],
      held: ["c"],
      found: found("X", 1),
      gives: { what: "new", after: ["joined"] },
    },
    {
      is: "a change of what one side replaced while the other took it over as it was",
      versions: [
        version("a", "A", 90),
        version("b", "B", 2, "a"),
        version("o", "O", 1),
        version("j", "A", 90, "a", "o"),
      ],
      held: ["b"],
      found: found("X", 3),
      gives: { what: "new", after: ["b", "j"] },
    },
    { is: "another of the same name", versions: line, found: found("X", 99), gives: apart([], true) },
    {
      is: "a change of what was deleted elsewhere holds, however old",
      versions: deleted,
      held: ["c"],
      found: found("X", 0),
      gives: apart(["c"], true, ["gone"]),
    },
    { is: "what was deleted elsewhere", versions: deleted, held: ["c"], found: found("C"), gives: behind },
    { is: "deleted here too", versions: deleted, held: ["c"], gives: same("gone") },
    { is: "deleted, as is known", versions: deleted, held: ["gone"], gives: same() },
    {
      is: "made again after it was deleted",
      versions: deleted,
      held: ["gone"],
      found: found("X"),
      gives: { what: "new", after: ["gone"] },
    },
    {
      is: "deleted on the primary",
      versions: line,
      held: ["c"],
      primary: true,
      gives: { what: "deleted", after: ["c"] },
    },
    { is: "deleted elsewhere", versions: line, held: ["c"], gives: behind },
    {
      is: "deleted on the primary, changed elsewhere",
      versions: line,
      held: ["b"],
      primary: true,
      gives: behind,
    },
    { is: "never on the primary", versions: line, primary: true, gives: behind },
    {
      is: "a change of the one of two newest that holds",
      versions: two,
      held: ["c"],
      found: found("X"),
      gives: { what: "new", after: ["b", "c"] },
    },
    {
      is: "a change of the one of two newest that doesn't hold",
      versions: two,
      held: ["b"],
      found: found("X", 99),
      gives: apart(["b"], true, ["b", "c"]),
    },
  ];
  test.each(cases)("$is", ({ versions, held, found: there, primary = false, gives }) => {
    const record = held === undefined ? undefined : new Set(held);
    for (const known of [versions, versions.toReversed()]) {
      const decision = decide({ versions: known, held: record, found: there, primary });
      expect(inSomeOrder(decision)).toEqual(inSomeOrder(gives));
    }
  });
});

function inSomeOrder(decision: Decision): Decision {
  if (decision.what === "new") return { ...decision, after: decision.after.toSorted() };
  return decision.what === "apart" ? { ...decision, heads: decision.heads.toSorted() } : decision;
}

describe("units", () => {
  const unitsIn = (paths: readonly string[], originals: readonly string[], databases: readonly string[]) =>
    unitsOf(
      paths.map((path) => ({ path: path as RelativePath })),
      foldersHolding(originals as readonly RelativePath[]),
      ({ path }) => databases.includes(path),
    )
      .map(({ name, files, catalogue }) => [name, files.map(({ path }) => path), catalogue])
      .toSorted();

  test.each([
    {
      is: "files by themselves",
      paths: ["day/a.xmp", "day/b.xmp"],
      databases: [],
      units: [
        ["day/a.xmp", ["day/a.xmp"], false],
        ["day/b.xmp", ["day/b.xmp"], false],
      ],
    },
    {
      is: "a catalogue with all below its folder, and its twin in name",
      paths: ["Cat/frames.db", "Cat/previews/1/x.bin", "cat/settings.txt", "CAT", "Catalogue.txt"],
      databases: ["Cat/frames.db"],
      units: [
        ["CAT", ["CAT"], false],
        ["Cat", ["Cat/frames.db", "Cat/previews/1/x.bin", "cat/settings.txt"], true],
        ["Catalogue.txt", ["Catalogue.txt"], false],
      ],
    },
    {
      is: "a database deep below: the topmost folder without originals",
      paths: ["Edit/a/b/frames.db", "Edit/notes.txt"],
      databases: ["Edit/a/b/frames.db"],
      units: [["Edit", ["Edit/a/b/frames.db", "Edit/notes.txt"], true]],
    },
    {
      is: "a database beside originals",
      paths: ["day/index.db", "day/a.xmp"],
      databases: ["day/index.db"],
      units: [
        ["day/a.xmp", ["day/a.xmp"], false],
        ["day/index.db", ["day/index.db"], false],
      ],
    },
    {
      is: "a catalogue below a folder with originals",
      paths: ["day/Cat/frames.db", "day/Cat/x.txt", "day/a.xmp"],
      databases: ["day/Cat/frames.db"],
      units: [
        ["day/Cat", ["day/Cat/frames.db", "day/Cat/x.txt"], true],
        ["day/a.xmp", ["day/a.xmp"], false],
      ],
    },
    {
      is: "a database in the trip's folder itself",
      paths: ["frames.db", "notes.txt"],
      databases: ["frames.db"],
      units: [
        ["frames.db", ["frames.db"], false],
        ["notes.txt", ["notes.txt"], false],
      ],
    },
  ])("$is", ({ paths, databases, units }) => {
    expect(unitsIn(paths, ["day/one.NEF"], databases)).toEqual(units);
  });

  test("each file is in exactly one unit, whatever stands where", () => {
    for (let seed = 1; seed <= 200; seed += 1) {
      const random = seeded(seed);
      const folder = () =>
        Array.from({ length: random.below(4) }, () => `${random.pick(["a", "b", "B"])}/`).join("");
      const paths = [...new Set(Array.from({ length: 12 }, (_, nth) => `${folder()}f${nth}`))];
      const databases = paths.filter(() => random.below(5) === 0);
      const originals = Array.from({ length: random.below(3) }, () => `${folder()}one.NEF`);
      const units = unitsIn(paths, originals, databases);
      expect(units.flatMap(([, files]) => files).toSorted(), `seed ${seed}`).toEqual(paths.toSorted());
      const above = foldersHolding(originals.map((path) => path as RelativePath));
      for (const [name, , catalogue] of units)
        if (catalogue === true) expect(above.has(nameKey(String(name))), `seed ${seed}`).toBe(false);
    }
  });
});

test("deleted on the only drive that ever held it, it is deleted, primary or not", () => {
  const only = { versions: [version("a", "A", 1)], held: new Set(["a"]), found: undefined, primary: false };
  expect(decide({ ...only, elsewhere: true })).toEqual({ what: "behind" });
  expect(decide({ ...only, elsewhere: false })).toEqual({ what: "deleted", after: ["a"] });
});
