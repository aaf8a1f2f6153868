/** `rebuild`: what drives taught a new computer, and what existed and is on none of them, by name. */

import { expect, test } from "vitest";
import { putCardsIn, renderNowhere } from "../../daemon/cli/renderNowhere.ts";
import { renderRebuild } from "../../daemon/cli/renderRebuild.ts";
import { widthOf } from "../../daemon/cli/table.ts";
import type { NowhereJson, RebuildJson } from "../../shared/api.ts";
import { scrubjay, startDaemon, world } from "./commandLine.ts";

const learnt: RebuildJson = {
  drives: [
    { name: "Blue", mount: "/media/anna/Blue", files: 1824 },
    { name: "Slate", mount: "/media/anna/Slate", files: 1700 },
  ],
  trips: [{ id: "kc-20270603-ae9a", name: "Kestrel Cliffs", frames: 912, files: 1827 }],
  torn: 0,
  disagreeing: 0,
  elsewhere: [],
  nowhere: [],
  nowhereTotal: 0,
};

function lost(number: number, changes: Partial<NowhereJson> = {}): NowhereJson {
  const path = `2027-06-03/KC-20270603-A${String(number).padStart(4, "0")}.NEF`;
  return { trip: "Kestrel Cliffs", path, day: "2027-06-03", card: "card 2", bytes: 25_000_000, ...changes };
}

const flat = (text: string): string => text.replace(/\s+/g, " ");

test("what was learnt is said per trip and per drive", () => {
  expect(
    renderRebuild(learnt, true, 80),
  ).toBe(` Kestrel Cliffs is known again: 912 frames, 1,827 files. Its profile is back as
   kc-20270603-ae9a.

 drive  where              holds
 Blue   /media/anna/Blue   1,824 files
 Slate  /media/anna/Slate  1,700 files

 All that existed is on a known drive. \`scrubjay status\` shows what is where,
 and \`scrubjay scrub\` reads every copy again. Plug in the other drives of the
 trip too: what only their records know is learnt when they come.
`);
  expect(renderRebuild({ ...learnt, trips: [] }, true)).toContain("Blue and Slate know of no trip.");
});

test("what didn't hold, what other drives have, and what is on none", () => {
  const grave: RebuildJson = {
    ...learnt,
    torn: 1,
    disagreeing: 2,
    elsewhere: [{ drive: "Rust", files: 120 }],
    nowhere: [lost(421), lost(422)],
    nowhereTotal: 2,
  };
  const text = renderRebuild(grave, true, 80);
  expect(
    text.slice(text.indexOf(" ·")),
  ).toBe(` ·  1 line of the records was torn or altered and was passed over. The rest of
    them was read.
 ·  2 entries contradict others, or belong to a file whose own line is torn, and
    were left out.

 ◌  By the records, a part of what these drives don't hold is on Rust (120
    files); plug it in, and it is looked for.

 ◖! 2 files existed and are on no known drive. What the drives hold is safe,
    nothing on them was changed. Format no card before you have put it in: what
    is still on one is copied again by itself.
    Thu 3 June 2027, card 2 (2 files, 50 MB)
      2027-06-03/KC-20270603-A0421.NEF
      2027-06-03/KC-20270603-A0422.NEF

 Put card 2 in. \`scrubjay status\` shows what is where, and \`scrubjay scrub\`
 reads every copy again. Plug in the other drives of the trip too: what only
 their records know is learnt when they come.
`);
  expect(renderRebuild(grave, false, 80)).toMatch(/^[\n\x20-\x7e]+$/);
  for (const line of renderRebuild(grave, true, 50).split("\n"))
    expect(widthOf(line)).toBeLessThanOrEqual(50);
});

test("what other drives hold by the records isn't said to be there before it was looked for", () => {
  const slate = { drive: "Slate", files: 120 };
  const text = flat(renderRebuild({ ...learnt, elsewhere: [slate], disagreeing: 1 }, true));
  expect(text).toContain(
    "By the records, what these drives don't hold is on Slate (120 files); plug it in, and it is looked for.",
  );
  expect(text).not.toContain("All that existed");
  expect(text).toMatch(/what only their records know is learnt when they come\. $/);
  expect(text).toContain(
    "1 entry contradicts others, or belongs to a file whose own line is torn, and was left out.",
  );
  const two = flat(renderRebuild({ ...learnt, elsewhere: [slate, { drive: "Moss", files: 1 }] }, true));
  expect(two).toContain("is on Slate (120 files) and Moss (1 file); plug them in, and it is looked for.");
});

test("the cards to put in are those of all files that came, in the order of their numbers", () => {
  const files = Array.from({ length: 50 }, (_, index) =>
    lost(index, { card: index < 47 ? "card 10" : `card ${index - 45}` }),
  );
  expect(putCardsIn(files, 50)).toBe("Put card 2, card 3, card 4 and card 10 in.");
  expect(putCardsIn([lost(1), lost(2, { card: "" })], 2)).toBe("Put card 2 in.");
  expect(putCardsIn(files.slice(0, 40), 2000)).toBe("Put card 10 in, and every other card of the trip.");
  expect(putCardsIn([lost(1, { card: "" })], 1)).toBe("Put every card of the trip in.");
  expect(flat(renderRebuild({ ...learnt, nowhere: files, nowhereTotal: 50 }, true))).toContain(
    "Put card 2, card 3, card 4 and card 10 in. `scrubjay status`",
  );
});

test("what is nowhere stands by day and card, what has neither behind", () => {
  const files = [
    lost(1, { day: "", path: "extras/AUTPRINT.MRK" }),
    lost(2, { card: "" }),
    lost(3, { card: "card 10" }),
    lost(4, { day: "2027-06-02" }),
    lost(5),
  ];
  const heads = renderNowhere(files, 5, 80).match(/^ {4}\S.*$/gm);
  expect(heads).toEqual([
    "    Wed 2 June 2027, card 2 (1 file, 25 MB)",
    "    Thu 3 June 2027, card 2 (1 file, 25 MB)",
    "    Thu 3 June 2027, card 10 (1 file, 25 MB)",
    "    Thu 3 June 2027, card unknown (1 file, 25 MB)",
    "    no frames, card 2 (1 file, 25 MB)",
  ]);
  const other = renderNowhere([...files, lost(6, { trip: "Tern Bay" })], 6, 80);
  expect(other).toContain("    Kestrel Cliffs, Thu 3 June 2027, card 10 (1 file, 25 MB)\n");
  expect(other).toContain("    Tern Bay, Thu 3 June 2027, card 2 (1 file, 25 MB)\n");
});

test("forty are named, the others counted", () => {
  const files = Array.from({ length: 50 }, (_, index) => lost(index));
  const text = renderNowhere(files, 50, 80);
  expect(text.match(/\.NEF$/gm)?.length).toBe(40);
  expect(text).toContain("    and 10 more; `--json` names them\n");
  expect(renderNowhere(files, 2050, 80)).toContain("    and 2,010 more; `--json` names 50\n");
  expect(renderNowhere(files.slice(0, 40), 40, 80)).not.toContain("more");
});

test("hostile names can't steer the terminal", () => {
  const evil = "a\u001b[2J\u202eb\nc";
  const text = renderRebuild(
    {
      ...learnt,
      drives: [{ name: evil, mount: evil, files: 1 }],
      trips: [{ id: evil, name: evil, frames: 1, files: 1 }],
      elsewhere: [{ drive: evil, files: 1 }],
      nowhere: [{ trip: evil, path: evil, day: evil, card: evil, bytes: 1 }, lost(1)],
      nowhereTotal: 2,
    },
    true,
  );
  expect(text).not.toMatch(/[\p{Cf}\u001b]/u);
  expect(text).not.toContain("\nc");
  expect(text).toContain("\\u{1b}");
});

test("rebuild: 0, 65 when something is nowhere, 64 as the daemon says; mounts are absolute", async () => {
  await startDaemon();
  world.face.rebuildAnswer = learnt;
  const done = await scrubjay("rebuild", "/media/blue/../blue", "/media/slate", "--owner", "0a1b");
  expect(done).toMatchObject({ exit: 0, err: "" });
  expect(flat(done.out)).toContain("Kestrel Cliffs is known again");
  await scrubjay("rebuild", "/media/blue");
  expect(world.face.asked).toEqual(["rebuild /media/blue /media/slate 0a1b", "rebuild /media/blue nobody"]);
  world.face.rebuildAnswer = { ...learnt, nowhere: [lost(1)], nowhereTotal: 1 };
  const grave = await scrubjay("rebuild", "/media/blue", "--json");
  expect(grave).toMatchObject({ exit: 65, err: "" });
  expect(JSON.parse(grave.out)).toEqual(world.face.rebuildAnswer);
  expect(await scrubjay("rebuild", "/media/blue", "/media/card")).toEqual({
    exit: 64,
    out: "",
    err: "scrubjay: /media/card is a card. Name a drive.\n",
  });
});
