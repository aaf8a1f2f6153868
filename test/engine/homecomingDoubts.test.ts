/**
 * What a receipt, a list or a freed drive must never claim: damage that is listed as good, one side of a conflict left
 * on drives that are called free, an original that comes twice, a home of which nobody knows whether it still stands.
 */

import { readFileSync, renameSync, utimesSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { statusJson } from "../../daemon/engine/board.ts";
import { retireDrive } from "../../daemon/engine/homecoming/retire.ts";
import { editsFace } from "../../daemon/faces/editsFace.ts";
import type { Bench } from "./bench.ts";
import { comeHome, homeBench, inArchive } from "./homeBench.ts";
import { away, copyOn, evening, filedAs, tripId } from "./pictures.ts";

const retire = (bench: Bench, name: string) => bench.engine.between(() => retireDrive(bench.engine, name));
const notes = (bench: Bench, drive: string): string =>
  join(bench.practice, drive, "Kestrel Cliffs/notes.txt");

/** notes.txt was changed on Blue and on Slate while they were apart. */
async function conflict(bench: Bench): Promise<void> {
  const settled = async () => {
    for (const drive of bench.engine.presence.drives) bench.engine.edits.lookAgain(drive.id);
    await bench.idle();
  };
  const write = (path: string, content: string, hour: string) => {
    writeFileSync(path, content);
    utimesSync(path, new Date(`2027-06-05T${hour}:00:00Z`), new Date(`2027-06-05T${hour}:00:00Z`));
  };
  write(notes(bench, "Blue"), "puffins", "18");
  await settled();
  await away(bench, "Slate");
  write(notes(bench, "Blue"), "by the window", "20");
  await settled();
  write(join(bench.aside, "Slate/Kestrel Cliffs/notes.txt"), "in the car", "22");
  bench.plugIn("Slate");
  await settled();
}

test("an original that was changed in the archive isn't listed as it is now: nobody verified that", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1, 2]);
  await comeHome(bench);
  const there = join(archive, "2027/Kestrel Cliffs", filedAs(1));
  writeFileSync(there, "pixture 1");
  utimesSync(there, new Date("2028-01-01T12:00:00Z"), new Date("2028-01-01T12:00:00Z"));
  const receipt = await comeHome(bench);
  const beside = filedAs(1).replace(".PNG", "-2.PNG");
  expect(inArchive(archive)).toMatchObject({ [filedAs(1)]: "pixture 1", [beside]: "picture 1" });
  expect(receipt.clashes.map(({ keptAs }) => keptAs)).toEqual([beside]);
  const list = readFileSync(join(archive, "2027/Kestrel Cliffs/checksums.xxh64"), "utf8");
  expect(list).not.toContain(`  ${filedAs(1)}\n`);
  expect(list).toContain(`  ${beside}\n`);
});

test("what an earlier homecoming read shortly before isn't called read again", async () => {
  const { bench } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1, 2]);
  expect((await comeHome(bench)).targets[0]?.how).not.toContain("not again");
  await evening(bench, "TWO", [3]);
  expect((await comeHome(bench)).targets[0]?.how).toContain(
    " 2 files of them were read back by a homecoming of the last 24 hours and not again since",
  );
});

test("the other side of a conflict comes home without being asked for", async () => {
  const { bench, archive } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1]);
  await conflict(bench);
  const receipt = await comeHome(bench);
  expect(receipt.conflicts).toHaveLength(1);
  expect(inArchive(archive)["notes.txt"]).toBe("in the car");
  const histories = inArchive(archive, `.scrubjay/trips/${tripId}/earlier/notes.txt`);
  expect(Object.values(histories)).toContain("by the window");
});

test("putting one side of a conflict in place ends the conflict", async () => {
  const { bench } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1]);
  await conflict(bench);
  const before = statusJson(bench.engine);
  expect([before.headline, before.advice]).toEqual(["Everything is safe.", "There is 1 matter to look at."]);
  const face = editsFace(bench.engine);
  const { versions } = await face.versions(undefined, "notes.txt");
  const other = versions.find(({ inPlace, at }) => !inPlace && at.includes("20:00"));
  await face.restore(undefined, "notes.txt", (other ?? versions[1])?.at ?? "");
  await bench.idle();
  expect(statusJson(bench.engine).edits?.conflicts).toBe(0);
  expect(statusJson(bench.engine).alerts).toEqual([]);
});

test("what a drive that was freed still holds comes home neither again nor as changed", async () => {
  const { bench, archive } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1, 2]);
  await comeHome(bench);
  const before = inArchive(archive);
  await retire(bench, "Blue");
  writeFileSync(copyOn(bench, "Blue", 2), "written over for the next trip");
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual(before);
  expect([receipt.complete, receipt.found.edits]).toEqual([true, 0]);
});

test("no drive is freed while the archive can't be seen", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1]);
  await comeHome(bench);
  renameSync(archive, `${archive} moved`);
  await expect(retire(bench, "Blue")).rejects.toThrow("isn't there now. Nothing was changed.");
  renameSync(`${archive} moved`, archive);
  expect(await retire(bench, "Blue")).toMatchObject({ name: "Blue" });
});

test("a second archive may be away, in the other place it is kept in, when a drive is freed", async () => {
  const { bench, shelf } = await homeBench(["Blue"], undefined, true);
  await evening(bench, "ONE", [1]);
  await comeHome(bench);
  renameSync(shelf, `${shelf} elsewhere`);
  expect(await retire(bench, "Blue")).toMatchObject({ name: "Blue" });
});

test("a trip of which nothing is known isn't home, and no archive is made around media", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await expect(comeHome(bench)).rejects.toThrow("Nothing of Kestrel Cliffs was copied yet");
  expect(inArchive(archive, "")).toEqual({});
  await evening(bench, "ONE", [1]);
  await expect(comeHome(bench, { to: bench.practice })).rejects.toThrow("in which media are mounted");
});
