/** `homecoming`, `drive retire` and `archive check` on a terminal, with a real engine behind the API. */

import { mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { homeFace } from "../../daemon/faces/homeFace.ts";
import type { ArchiveCheckJson, ReceiptJson } from "../../shared/homeApi.ts";
import { homeBench, inArchive } from "../engine/homeBench.ts";
import { away, copyOn, evening, filedAs, spoil } from "../engine/pictures.ts";
import { scrubjay, startDaemon, world } from "./commandLine.ts";

async function ready(drives: readonly string[] = ["Blue"]) {
  const made = await homeBench(drives);
  Object.assign(world.face, { home: homeFace(made.bench.engine, []) });
  await startDaemon();
  return made;
}

test("everything is home: the receipt as text, exit 0, and the drive may be reused with the cautions beside it", async () => {
  const { bench, archive } = await ready();
  await evening(bench, "ONE", [1, 2]);
  const { exit, out, err } = await scrubjay("homecoming", "kestrel cliffs");
  expect(exit).toBe(0);
  expect(out).toContain("Kestrel Cliffs is home.");
  expect(out).toContain("2 frames, 2 files, 18 B, 0 work files");
  expect(out).toContain("● Blue may be reused.".replace("● ", "●  "));
  expect(out.replaceAll(/\s+/g, " ")).toContain("keep a drive as it is until a second archive copy exists");
  expect(err).toContain("Ctrl-C ends this command and not the homecoming");
  expect(Object.keys(inArchive(archive))).toEqual([filedAs(1), filedAs(2)]);
});

test("a frame that is nowhere is named, with exit 65, and nothing may be reused", async () => {
  const { bench } = await ready(["Blue", "Slate"]);
  await evening(bench, "ONE", [1]);
  await away(bench, "Slate");
  await evening(bench, "TWO", [2]);
  await away(bench, "Blue");
  bench.plugIn("Slate");
  await bench.idle();
  const { exit, out } = await scrubjay("homecoming", "KC");
  expect(exit).toBe(65);
  expect(out).toContain("Kestrel Cliffs isn't home yet.");
  expect(out).toContain(`${filedAs(2)}: last seen on Blue`);
  expect(out).not.toContain("may be reused.");
  expect(out).toContain("Keep Slate as it is. Not everything of the trip is home.");
});

test("--dry-run writes nothing; --json is the receipt and nothing else", async () => {
  const { bench, archive } = await ready();
  await evening(bench, "ONE", [1]);
  const { exit, out } = await scrubjay("homecoming", "--dry-run", "--json");
  expect(exit).toBe(0);
  const receipt = JSON.parse(out) as ReceiptJson;
  expect(receipt).toMatchObject({ rehearsal: true, complete: true, found: { files: 1 } });
  expect(inArchive(archive, "")).toEqual({});
});

test("a folder that isn't there is said, with exit 1; a trip without an archive with exit 78; a second one is refused", async () => {
  const { bench, archive } = await ready();
  await evening(bench, "ONE", [1]);
  rmSync(archive, { recursive: true });
  const gone = await scrubjay("homecoming");
  expect([gone.exit, gone.err]).toEqual([
    1,
    expect.stringContaining("isn't there. Nothing was written there."),
  ]);
  const profile = bench.trips()[0]?.text.replace(/^archive:.*$/m, "") ?? "";
  bench.trip(profile);
  bench.engine.refresh();
  await bench.idle();
  const none = await scrubjay("homecoming");
  expect([none.exit, none.err]).toEqual([78, expect.stringContaining("names no archive")]);
  expect((await scrubjay("homecoming", "Otherwhere")).exit).toBe(64);
  mkdirSync(archive);
  bench.engine.pause();
  const begun = homeFace(bench.engine, []).begin({
    trip: "KC",
    to: archive,
    rehearsal: false,
    history: false,
  });
  expect((await begun).running).toBe(true);
  const second = await scrubjay("homecoming", "--to", archive);
  expect([second.exit, second.err]).toEqual([1, expect.stringContaining("is being brought home already")]);
  bench.engine.goOn();
  await bench.idle();
});

test("a flag takes no value, and an unknown one is named with the nearest", async () => {
  const slip = await scrubjay("homecoming", "--dryrun");
  expect([slip.exit, slip.err]).toEqual([64, expect.stringContaining("Did you mean --dry-run?")]);
  const value = await scrubjay("homecoming", "--history=all");
  expect([value.exit, value.err]).toEqual([64, expect.stringContaining("--history takes no value")]);
  const { out } = await scrubjay("homecoming", "--help");
  expect(out).toContain("--dry-run");
});

test("a drive is retired once its trip is home and not before, nor when something on it changed since", async () => {
  const { bench } = await ready(["Blue", "Slate"]);
  await evening(bench, "ONE", [1, 2]);
  const early = await scrubjay("drive", "retire", "Blue");
  expect([early.exit, early.err]).toEqual([1, expect.stringContaining("Kestrel Cliffs isn't home")]);
  expect((await scrubjay("homecoming")).exit).toBe(0);
  const note = join(bench.practice, "Slate/Kestrel Cliffs/note.txt");
  writeFileSync(note, "one more");
  const changed = await scrubjay("drive", "retire", "Slate");
  expect([changed.exit, changed.err]).toEqual([
    1,
    expect.stringContaining("was changed there since it came home"),
  ]);
  const freed = await scrubjay("drive", "retire", "blue");
  expect(freed.exit).toBe(0);
  expect(freed.out).toContain("Blue is free of Kestrel Cliffs.");
  expect(freed.out.replaceAll(/\s+/g, " ")).toContain("this can't be undone");
  expect((await scrubjay("drive", "retire", "Blue")).exit).toBe(64);
});

test("`archive check` reads a merged trip from its folder alone and tells damaged, missing and added files", async () => {
  const { bench, archive } = await ready();
  await evening(bench, "ONE", [1, 2, 3]);
  await scrubjay("homecoming");
  await world.api?.close();
  const folder = join(archive, "2027/Kestrel Cliffs");
  const good = await scrubjay("archive", "check", folder);
  expect([good.exit, good.out]).toEqual([0, expect.stringContaining("3 files, 27 B, all as listed.")]);
  spoil(join(folder, filedAs(1)));
  rmSync(join(folder, filedAs(2)));
  writeFileSync(join(folder, "mine.txt"), "mine");
  const bad = await scrubjay("archive", "check", folder, "--json");
  expect(bad.exit).toBe(65);
  expect(JSON.parse(bad.out) as ArchiveCheckJson).toMatchObject({
    files: 2,
    damaged: [{ path: filedAs(1), what: "It isn't what the list says." }],
    missing: [filedAs(2)],
    unlisted: ["mine.txt"],
    good: false,
  });
  writeFileSync(join(folder, "checksums.xxh64"), "");
  const empty = await scrubjay("archive", "check", folder);
  expect([empty.exit, empty.err]).toEqual([65, expect.stringContaining("lists nothing")]);
  const root = await scrubjay("archive", "check", archive);
  expect([root.exit, root.err]).toEqual([
    64,
    expect.stringContaining(`Name the folder of one trip: ${folder}.`),
  ]);
  expect((await scrubjay("archive", "check", join(archive, "nowhere"))).exit).toBe(64);
});

test("a drive's damaged copy that nobody else has ends with exit 65", async () => {
  const { bench, archive } = await ready();
  await evening(bench, "ONE", [1]);
  spoil(copyOn(bench, "Blue", 1));
  const { exit, out } = await scrubjay("homecoming");
  expect(exit).toBe(65);
  expect(out).toContain("No drive that is in has a good copy.");
  expect(inArchive(archive)).toEqual({});
});

test("the receipt beside the archive's folder stands by itself: no script, nothing fetched, hostile names harmless", async () => {
  const { bench, archive } = await ready();
  await evening(bench, "ONE", [1]);
  writeFileSync(join(bench.practice, "Blue/Kestrel Cliffs/<script>alert(1)<\uff0fscript>\u202e.txt"), "x");
  const { out } = await scrubjay("homecoming", "--json");
  const { targets } = JSON.parse(out) as ReceiptJson;
  const path = targets[0]?.receipt ?? "";
  expect(path.startsWith(join(archive, "2027/Kestrel Cliffs receipt 20"))).toBe(true);
  const html = readFileSync(path, "utf8");
  expect(html).toContain("Kestrel Cliffs is home.");
  expect(html).not.toMatch(/<script|https?:|src=|\u202e/);
});
