/** `scrub`: what was read and found in words, exit statuses, and progress that stays out of standard output. */

import { expect, test } from "vitest";
import { renderScrub } from "../../daemon/cli/renderScrub.ts";
import { widthOf } from "../../daemon/cli/table.ts";
import type { FindingJson, ScrubJson, WorkJson } from "../../shared/api.ts";
import { evening } from "./boards.ts";
import { scrubjay, startDaemon, world } from "./commandLine.ts";

const blue = { name: "Blue", files: 1824, bytes: 52_300_000_000, unsure: 0 };
const slate = { ...blue, name: "Slate" };
const well: ScrubJson = { drives: [blue, slate], findings: [], complete: true };

function finding(number: number, changes: Partial<FindingJson>): FindingJson {
  const path = `2027-06-03/KC-20270603-A${String(number).padStart(4, "0")}.NEF`;
  return { drive: "Slate", path, what: "damaged", movedTo: null, healed: true, ...changes };
}

const flat = (text: string): string => text.replace(/\s+/g, " ");

test("a drive that is as it was has one line; one read perhaps from a cache says so", () => {
  expect(renderScrub(well, true, 80)).toBe(
    " ●  Blue: 1,824 files, 52.3 GB, all as verified.\n ●  Slate: 1,824 files, 52.3 GB, all as verified.\n",
  );
  const unsure = { ...well, drives: [{ ...blue, unsure: 12 }] };
  expect(renderScrub(unsure, true, 96)).toBe(
    " ◉  Blue: 1,824 files, 52.3 GB, all as verified. 12 of them were read perhaps from a cache.\n",
  );
  expect(renderScrub(unsure, false, 96)).toMatch(/^ @ {2}Blue/);
  expect(renderScrub({ ...well, drives: [] }, true)).toBe(" No verified copy was there to be read.\n");
});

test("findings stand in groups, the gravest first, each with what is safe and what became of it", () => {
  const findings = [
    finding(5, { what: "moved", drive: "Blue", movedTo: "2027-06-03/best/KC-20270603-A0005.NEF" }),
    finding(4, { what: "changed", healed: false }),
    finding(3, { what: "missing", drive: "Blue" }),
    finding(2, { healed: false }),
    finding(1, { aside: ".scrubjay/trips/kc-20270603-ae9a/aside/KC-20270603-A0001.NEF" }),
  ];
  expect(renderScrub({ ...well, findings }, true, 80)).toBe(` ◖! Blue: 1,824 files, 52.3 GB; 1 gone, 1 moved.
 ◖! Slate: 1,824 files, 52.3 GB; 2 damaged, 1 changed by another program.

 ◖! 2 files on Slate can't be read as verified any more, and no program wrote
    them. Nothing was deleted, and other drives' copies count as before.
    A good copy stands there again (1):
      Slate: 2027-06-03/KC-20270603-A0001.NEF, the damaged file is set aside as
        .scrubjay/trips/kc-20270603-ae9a/aside/KC-20270603-A0001.NEF
    Left as it is until a good copy takes its place; owed by the drive (1):
      Slate: 2027-06-03/KC-20270603-A0002.NEF
    Keep the cards. Plug in another drive that holds it, or put its card in:
    what is owed is made good by itself.

 ◖! 1 file on Blue is gone: nothing stands under its name, and nothing equal was
    found elsewhere in the trip's folder. Other drives' copies count as before.
    A good copy stands there again:
      Blue: 2027-06-03/KC-20270603-A0003.NEF
    If nobody removed it, don't trust Blue any more.

 ○  1 file on Slate was changed by another program after it was verified. It was
    left as it is and counts as a copy no more; other drives' copies count as
    before.
    Owed by the drive:
      Slate: 2027-06-03/KC-20270603-A0004.NEF
    Plug in another drive that holds it, or put its card in: what is owed is
    made good by itself.

 ·  1 file on Blue was moved or renamed. It is as verified and counts where it
    stands now. Nothing needs to be done.
      Blue: 2027-06-03/KC-20270603-A0005.NEF, now
        2027-06-03/best/KC-20270603-A0005.NEF
`);
});

test("a drive on which files were only moved is as verified", () => {
  const moved = [finding(5, { what: "moved", movedTo: "best/a.NEF" })];
  expect(renderScrub({ ...well, findings: moved }, true)).toContain(
    " ●  Slate: 1,824 files, 52.3 GB, all as verified, 1 moved.\n",
  );
});

test("what is known since before stands behind what is new, and its drive isn't as verified", () => {
  const old = { healed: false, earlier: true };
  const lines = (findings: readonly FindingJson[]): readonly string[] =>
    renderScrub({ ...well, findings }, true, 96).split("\n");
  const both = lines([
    finding(1, old),
    finding(2, { healed: false }),
    finding(3, { ...old, what: "missing" }),
  ]);
  expect(both[1]).toBe(" ◖! Slate: 1,824 files, 52.3 GB; 2 damaged, 1 gone, 2 of them known since before.");
  const named = both.filter((line) => line.startsWith("      Slate: "));
  expect(named).toEqual([
    "      Slate: 2027-06-03/KC-20270603-A0002.NEF",
    "      Slate: 2027-06-03/KC-20270603-A0001.NEF, known since before",
    "      Slate: 2027-06-03/KC-20270603-A0003.NEF, known since before",
  ]);
  const changed = lines([finding(1, { ...old, what: "changed" })]);
  expect(changed[1]).toBe(
    " ○  Slate: 1,824 files, 52.3 GB; 1 changed by another program, known since before.",
  );
  expect(changed[0]).toContain("Blue: 1,824 files, 52.3 GB, all as verified.");
});

test("the untouched copy of a changed file is named", () => {
  const beside = "2027-06-03/KC-20270603-A0004-2.NEF";
  const text = renderScrub({ ...well, findings: [finding(4, { what: "changed", beside })] }, true, 120);
  expect(text).toContain(
    "    The original stands beside it again:\n      Slate: 2027-06-03/KC-20270603-A0004.NEF, the original is 2027-06-03/KC-20270603-A0004-2.NEF\n",
  );
  const unknown = [finding(4, { what: "changed", beside: null, aside: null })];
  expect(renderScrub({ ...well, findings: unknown }, true)).not.toMatch(/original is|set aside as/);
});

test("what was not read is said, and only what was read is called verified", () => {
  const text = flat(renderScrub({ ...well, complete: false }, true));
  expect(text).toContain("Blue: 1,824 files, 52.3 GB, all that was read is as verified.");
  expect(text).toContain("○ Not all of it was read: a drive went or failed on the way.");
});

test("a group names twenty files in all its parts and counts the others", () => {
  const findings = Array.from({ length: 32 }, (_, index) => finding(index, { healed: index < 18 }));
  const text = renderScrub({ ...well, findings }, true, 80);
  expect(text.match(/^ {6}Slate: /gm)?.length).toBe(20);
  expect(text).toMatch(
    /stands there again \(18\):\n( {6}Slate: .*\n){18} {4}Left as it is .*; owed by the drive \(14\):\n/,
  );
  expect(text).toContain("      and 12 more; `--json` names them\n");
  const more = Array.from({ length: 32 }, (_, index) => finding(index, { healed: index < 25 }));
  const cut = renderScrub({ ...well, findings: more }, true, 80);
  expect(cut).toContain("      and 5 more; `--json` names them\n");
  expect(cut).toContain("owed by the drive (7):\n      7; `--json` names them\n");
});

test("nothing stands out of 50 columns, and hostile names can't steer the terminal", () => {
  const evil = "a\u001b[2J\u202eb\nc";
  const findings = [finding(1, { path: evil, drive: evil, movedTo: evil, what: "moved" }), finding(2, {})];
  const drives = [{ ...blue, name: evil }, slate];
  const text = renderScrub({ drives, findings, complete: false }, true, 50);
  expect(text).not.toMatch(/[\p{Cf}\u001b]/u);
  expect(text).toContain("\\u{1b}[2J\\u{202e}b\\u{a}c");
  const paths = [finding(3, { aside: evil }), finding(4, { what: "changed", beside: evil })];
  expect(renderScrub({ ...well, findings: paths }, true, 50)).not.toMatch(/[\p{Cf}\u001b]/u);
  for (const line of text.split("\n")) expect(widthOf(line)).toBeLessThanOrEqual(50);
  expect(renderScrub({ ...well, findings: [finding(1, {})] }, false)).toMatch(/^[\n\x20-\x7e]+$/);
});

test("scrub: 0 as verified or moved, 1 changed and owed or not complete, 65 with damage even if healed", async () => {
  await startDaemon();
  const exitWith = async (changes: Partial<ScrubJson>): Promise<number> => {
    world.face.scrubAnswer = { ...well, ...changes };
    return (await scrubjay("scrub", "Blue")).exit;
  };
  expect(await exitWith({})).toBe(0);
  expect(await exitWith({ findings: [finding(1, { what: "moved", movedTo: "x" })] })).toBe(0);
  expect(await exitWith({ findings: [finding(1, { what: "changed" })] })).toBe(0);
  expect(await exitWith({ findings: [finding(1, { what: "changed", healed: false })] })).toBe(1);
  expect(await exitWith({ complete: false })).toBe(1);
  expect(await exitWith({ findings: [finding(1, { what: "damaged" })] })).toBe(65);
  expect(await exitWith({ findings: [finding(1, { healed: false, earlier: true })] })).toBe(65);
  expect(await exitWith({ findings: [finding(1, { what: "missing" })], complete: false })).toBe(65);
});

test("scrub takes a drive or none, and is refused in the daemon's words", async () => {
  await startDaemon();
  world.face.scrubAnswer = well;
  expect((await scrubjay("scrub", "Blue")).out).toContain(" ●  Blue: 1,824 files");
  expect(await scrubjay("scrub")).toMatchObject({ exit: 0, err: "" });
  expect(world.face.asked.filter((each) => each.startsWith("scrub"))).toEqual(["scrub Blue", "scrub all"]);
  expect(await scrubjay("scrub", "Nobody")).toEqual({
    exit: 64,
    out: "",
    err: "scrubjay: No drive is called Nobody. `scrubjay drive list` names them.\n",
  });
  const json = await scrubjay("scrub", "--json");
  expect(JSON.parse(json.out)).toEqual(well);
});

const reading: WorkJson = {
  kind: "scrub",
  from: "Blue",
  to: [],
  doneBytes: 27_100_000_000,
  totalBytes: 52_300_000_000,
  bytesPerSecond: 412_000_000,
  secondsLeft: 240,
};

/** Lets a scrub last so many seconds. */
async function lasting(
  seconds: number,
  args: readonly string[],
): Promise<Awaited<ReturnType<typeof scrubjay>>> {
  await startDaemon();
  world.face.statusAnswer = { ...evening, work: [...evening.work, reading] };
  world.face.scrubAnswer = well;
  world.face.scrubbing = new Promise((resolve) => {
    world.onSecond = (passed) => {
      if (passed === seconds) resolve();
    };
  });
  return scrubjay(...args);
}

test("on a terminal a line of progress is drawn over itself and wiped at the end", async () => {
  world.errColumns = 80;
  const { out, err } = await lasting(4, ["scrub", "--json"]);
  expect(JSON.parse(out)).toEqual(well);
  const line = "Reading again: Blue, 51 % of 52.3 GB, 4 min left";
  expect(err.startsWith(`\r\u001b[K${line}\r\u001b[K${line}`)).toBe(true);
  expect(err.replaceAll(line, "")).toMatch(/^(\r\u001b\[K)+$/);
  expect(err.endsWith(`${line}\r\u001b[K`)).toBe(true);
});

test("a line of progress never breaks on a narrow terminal", async () => {
  world.errColumns = 30;
  const { err } = await lasting(3, ["scrub"]);
  expect(err).toContain("\r\u001b[KReading again: Blue, 51 % of ");
  for (const line of err.split("\r\u001b[K")) expect(widthOf(line)).toBeLessThan(30);
});

test("where standard error is no terminal there is a plain line every half minute", async () => {
  const { out, err } = await lasting(75, ["scrub"]);
  expect(out).toContain("all as verified");
  expect(err).toBe("Reading again: Blue, 51 % of 52.3 GB, 4 min left\n".repeat(2));
});

test("a scrub shorter than a look at it shows no progress", async () => {
  await startDaemon();
  world.errColumns = 80;
  world.face.scrubAnswer = well;
  // The daemon copies and reads nothing again: there is nothing to show.
  expect((await scrubjay("scrub")).err).toBe("");
});
