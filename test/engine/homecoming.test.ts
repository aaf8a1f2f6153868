/** A trip comes home: from drives that together hold what none holds alone, each file verified, what is missing named. */

import { execFileSync } from "node:child_process";
import { mkdirSync, readdirSync, readFileSync, renameSync, rmSync, utimesSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { expect, test } from "vitest";
import { beginHomecoming } from "../../daemon/engine/homecoming/request.ts";
import { comeHome, homeBench, inArchive } from "./homeBench.ts";
import { away, back, copyOn, evening, filedAs, held, layCard, spoil, withFaults } from "./pictures.ts";

const pictures = (...numbers: readonly number[]) =>
  Object.fromEntries(numbers.map((nth) => [filedAs(nth), `picture ${nth}`]));

function put(folder: string, path: string, content: string): void {
  const at = join(folder, path);
  mkdirSync(dirname(at), { recursive: true });
  writeFileSync(at, content);
}

/** xxhsum of Debian says of every line of the list that it holds. */
function listHolds(archive: string): number {
  const folder = join(archive, "2027/Kestrel Cliffs");
  execFileSync("xxhsum", ["-c", "--quiet", "checksums.xxh64"], { cwd: folder, stdio: "pipe" });
  return readFileSync(join(folder, "checksums.xxh64"), "utf8").trim().split("\n").length;
}

test("two drives that hold one half each give the archive all, and both may be reused", async () => {
  const { bench, archive } = await homeBench(["Blue", "Slate"]);
  await away(bench, "Slate");
  await evening(bench, "ONE", [1, 2]);
  await away(bench, "Blue");
  bench.plugIn("Slate");
  await bench.idle();
  await evening(bench, "TWO", [3, 4]);
  // They are put in together, and asked to come home before they can have given each other what they lack.
  bench.engine.pause();
  bench.plugIn("Blue");
  await bench.idle();
  const begun = beginHomecoming(
    bench.engine,
    { trip: "KC", to: undefined, rehearsal: false, history: false },
    [],
  );
  await begun;
  bench.engine.goOn();
  await bench.idle();
  expect(inArchive(archive)).toEqual(pictures(1, 2, 3, 4));
  expect(listHolds(archive)).toBe(4);
  const receipt = await comeHome(bench);
  expect(receipt).toMatchObject({
    complete: true,
    headline: "Kestrel Cliffs is home.",
    expected: { frames: 4, files: 4, edits: 0 },
    found: { frames: 4, files: 4, edits: 0 },
    missing: [],
    damage: [],
  });
  expect(receipt.drives.map(({ drive, mayBeReused }) => [drive, mayBeReused])).toEqual([
    ["Blue", true],
    ["Slate", true],
  ]);
  expect(receipt.cautions).toContain("The archive is one place");
  expect(receipt.targets[0]).toMatchObject({ copied: { files: 0 }, there: { files: 4 } });
  expect(readdirSync(join(archive, "2027")).filter((name) => name.endsWith(".html"))).toHaveLength(2);
});

test("a file that is nowhere is named with where it was last seen, and no drive may be reused", async () => {
  const { bench, archive } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1]);
  await away(bench, "Slate");
  await evening(bench, "TWO", [2]);
  await away(bench, "Blue");
  await back(bench, "Slate");
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual(pictures(1));
  expect(receipt.complete).toBe(false);
  expect(receipt.headline).toBe("Kestrel Cliffs isn't home yet.");
  expect(receipt.advice).toContain("Plug in Blue");
  expect(receipt.missing).toHaveLength(1);
  expect(receipt.missing[0]).toMatchObject({ path: filedAs(2), kind: "frame", bytes: 9 });
  expect(receipt.missing[0]?.lastSeen).toMatch(/^on Blue, \w{3} \d+ \w+, \d\d:\d\d$/);
  expect(receipt.drives.some(({ mayBeReused }) => mayBeReused)).toBe(false);
  await back(bench, "Blue");
  expect((await comeHome(bench)).complete).toBe(true);
  expect(inArchive(archive)).toEqual(pictures(1, 2));
});

test("what stands there already under another name is recognised by content and not brought twice", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1, 2]);
  put(archive, "2027/Kestrel Cliffs/best/cliff.PNG", "picture 1");
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual({ "best/cliff.PNG": "picture 1", ...pictures(2) });
  expect(receipt.complete).toBe(true);
  expect(receipt.elsewhere).toEqual([{ path: filedAs(1), standsAs: "best/cliff.PNG" }]);
  expect(receipt.targets[0]).toMatchObject({ copied: { files: 1 }, there: { files: 1 } });
  expect(listHolds(archive)).toBe(2);
});

test("another content of one name stays, the trip's file goes beside it, all files of a frame alike, and it is said", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  const stem = "DCIM/100ABCDE/ABCD0001";
  await evening(bench, "ONE", { [`${stem}.PNG`]: "picture 1", [`${stem}.TIF`]: "raw 1" });
  const filed = filedAs(1);
  put(archive, `2027/Kestrel Cliffs/${filed}`, "somebody's");
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual({
    [filed]: "somebody's",
    [filed.replace(".PNG", "-2.PNG")]: "picture 1",
    [filed.replace(".PNG", "-2.TIF")]: "raw 1",
  });
  expect(receipt.complete).toBe(true);
  expect(receipt.clashes.map(({ path, keptAs }) => [path, keptAs])).toContainEqual([
    filed,
    filed.replace(".PNG", "-2.PNG"),
  ]);
  expect((await comeHome(bench)).targets[0]).toMatchObject({ copied: { files: 0 } });
  expect(Object.keys(inArchive(archive))).toHaveLength(3);
});

test("a damaged copy reaches nobody: the other drive gives the file, and the damage is told as healed", async () => {
  const { bench, archive } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1, 2]);
  spoil(copyOn(bench, "Blue", 1));
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual(pictures(1, 2));
  expect(receipt.complete).toBe(true);
  expect(receipt.damage).toEqual([
    {
      path: filedAs(1),
      drive: "Blue",
      what: "It reads differently from what was verified there.",
      healed: true,
    },
  ]);
  await bench.idle();
  expect(held(bench, "Blue")[filedAs(1)]).toBe("picture 1");
});

test("a file that is damaged on every drive is missing, and said so", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1, 2]);
  spoil(copyOn(bench, "Blue", 1));
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual(pictures(2));
  expect(receipt).toMatchObject({ complete: false, missingTotal: 1, damageTotal: 1 });
  expect(receipt.damage[0]).toMatchObject({ path: filedAs(1), drive: "Blue", healed: false });
});

test("a second archive gets all as well, from one reading, and counts as a copy of its own", async () => {
  let reads = 0;
  const { bench, archive, shelf } = await homeBench(
    ["Blue"],
    withFaults({
      before: (operation, path) => {
        if (operation === "openToVerify" && path.includes("/Blue/Kestrel Cliffs/")) reads += 1;
      },
    }),
    true,
  );
  await evening(bench, "ONE", [1, 2, 3]);
  reads = 0;
  const receipt = await comeHome(bench);
  expect(reads).toBe(3);
  for (const folder of [archive, shelf]) expect(inArchive(folder)).toEqual(pictures(1, 2, 3));
  expect(receipt.targets.map(({ done, copied }) => [done, copied.files])).toEqual([
    [true, 3],
    [true, 3],
  ]);
});

test("a rehearsal writes nothing and tells what would come", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1, 2]);
  const receipt = await comeHome(bench, { rehearsal: true });
  expect(readdirSync(archive)).toEqual([]);
  expect(receipt).toMatchObject({ rehearsal: true, complete: true, found: { files: 2 } });
  expect(receipt.targets[0]).toMatchObject({ copied: { files: 2 }, receipt: null });
  expect(receipt.drives.some(({ mayBeReused }) => mayBeReused)).toBe(false);
});

test("a folder that was an archive and is empty now is refused, and so is another archive in its place", async () => {
  const { bench, archive, shelf } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1]);
  await comeHome(bench);
  await comeHome(bench, { to: shelf });
  renameSync(archive, `${archive}-disk`);
  mkdirSync(archive);
  await expect(comeHome(bench)).rejects.toThrow("was an archive before and isn't one now");
  expect(readdirSync(archive)).toEqual([]);
  rmSync(archive, { recursive: true });
  renameSync(shelf, archive);
  await expect(comeHome(bench)).rejects.toThrow("is another archive than the last time");
  renameSync(archive, shelf);
  renameSync(`${archive}-disk`, archive);
  expect((await comeHome(bench)).complete).toBe(true);
});

test("an archive on another file system than the last time is refused", async () => {
  let id = "1111-AAAA";
  const { bench } = await homeBench(["Blue"], (ports) => {
    ports.files.fileSystemId = async () => id;
    return ports;
  });
  await evening(bench, "ONE", [1]);
  await comeHome(bench);
  id = "2222-BBBB";
  await expect(comeHome(bench)).rejects.toThrow("is on another file system than the archive was");
});

test("a folder that isn't there is never made, and one on a drive or among the own folders is refused", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1]);
  rmSync(archive, { recursive: true });
  await expect(comeHome(bench)).rejects.toThrow("isn't there. Nothing was written there.");
  const onDrive = join(bench.practice, "Blue/archive");
  mkdirSync(onDrive);
  await expect(comeHome(bench, { to: onDrive })).rejects.toThrow("which is no place for an archive");
  for (const vague of ["archive", "", "../archive", "~/archive"])
    await expect(comeHome(bench, { to: vague })).rejects.toThrow("is no absolute path");
  await away(bench, "Blue");
  await expect(comeHome(bench, { to: onDrive })).rejects.toThrow("No drive of Kestrel Cliffs is plugged in");
});

test("work files come home beside their frames, also those that nobody wrote down; one that is open is waited for", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1]);
  const sidecar = filedAs(1).replace(".PNG", ".xmp");
  put(bench.practice, `Blue/Kestrel Cliffs/${sidecar}`, "<rating>");
  put(bench.practice, "Blue/Kestrel Cliffs/Notes/day 1.txt", "puffins");
  put(bench.practice, "Blue/Kestrel Cliffs/Catalogue/frames.db", "half written");
  put(bench.practice, "Blue/Kestrel Cliffs/Catalogue/frames.db-wal", "the other half");
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toMatchObject({
    ...pictures(1),
    [sidecar]: "<rating>",
    "Notes/day 1.txt": "puffins",
  });
  expect(receipt.complete).toBe(false);
  expect(receipt.missing).toContainEqual({
    path: "Catalogue/frames.db",
    bytes: 12,
    kind: "edit",
    lastSeen: "on Blue; a program has it open",
  });
  rmSync(join(bench.practice, "Blue/Kestrel Cliffs/Catalogue/frames.db-wal"));
  const again = await comeHome(bench);
  expect(again.complete).toBe(true);
  expect(inArchive(archive)["Catalogue/frames.db"]).toBe("half written");
});

test("an earlier version of ours gives way to the newer one and is kept; what was edited at home stays", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1, 2]);
  const first = filedAs(1).replace(".PNG", ".xmp");
  const second = filedAs(2).replace(".PNG", ".xmp");
  for (const path of [first, second]) put(bench.practice, `Blue/Kestrel Cliffs/${path}`, "one star");
  await comeHome(bench);
  for (const path of [first, second]) put(bench.practice, `Blue/Kestrel Cliffs/${path}`, "five stars");
  put(archive, `2027/Kestrel Cliffs/${second}`, "cropped at home");
  const later = new Date("2027-08-01T12:00:00Z");
  utimesSync(join(archive, "2027/Kestrel Cliffs", second), later, later);
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual({
    ...pictures(1, 2),
    [first]: "five stars",
    [second]: "cropped at home",
    [second.replace(".xmp", "-2.xmp")]: "five stars",
  });
  expect(receipt.complete).toBe(true);
  expect(receipt.clashes.map(({ path }) => path)).toEqual([second]);
  const earlier = inArchive(archive, `.scrubjay/trips/kc-2027-06-03-test/earlier/${first}`);
  expect(Object.values(earlier)).toEqual(["one star"]);
  execFileSync("xxhsum", ["-c", "--quiet", "checksums.xxh64"], {
    cwd: join(archive, "2027/Kestrel Cliffs"),
    stdio: "pipe",
  });
});

test("cards come first: one that is put in meanwhile is copied, and comes home with the rest", async () => {
  let slow = true;
  const { bench, archive } = await homeBench(
    ["Blue"],
    withFaults({
      before: async (operation, path) => {
        if (!slow || operation !== "createToWrite" || !path.includes("/archive/")) return;
        slow = false;
        bench.plugIn("TWO");
        bench.engine.refresh();
        await new Promise((resolve) => setTimeout(resolve, 100));
      },
    }),
  );
  slow = false;
  await evening(bench, "ONE", [1, 2, 3]);
  layCard(bench, "TWO", [4]);
  slow = true;
  const first = await comeHome(bench);
  expect(held(bench, "Blue")[filedAs(4)]).toBe("picture 4");
  expect(inArchive(archive)).toEqual(pictures(1, 2, 3, 4));
  expect(first).toMatchObject({ complete: true, expected: { files: 4 }, found: { files: 4 } });
  expect(first.targets[0]).toMatchObject({ copied: { files: 4 }, there: { files: 0 } });
  expect(first.sources).toMatchObject([{ drive: "Blue", files: 4 }]);
  expect(first.drives[0]?.mayBeReused).toBe(true);
});

test("stopped, it keeps what it merged and says so; begun again it carries on", async () => {
  let stop = false;
  const { bench, archive } = await homeBench(
    ["Blue"],
    withFaults({
      before: (operation, path) => {
        if (operation === "moveNoReplace" && path.includes("/archive/2027/") && stop)
          bench.engine.homecoming.stopNow();
      },
    }),
  );
  await evening(bench, "ONE", [1, 2, 3, 4, 5, 6, 7, 8]);
  stop = true;
  const receipt = await comeHome(bench);
  expect(receipt.complete).toBe(false);
  expect(receipt.stopped).toContain("What was merged by then stays");
  expect(receipt.drives[0]?.mayBeReused).toBe(false);
  expect(bench.engine.ports.ledger.archives.home(receipt.trip.id as never)).toBeUndefined();
  stop = false;
  expect((await comeHome(bench)).complete).toBe(true);
  expect(Object.keys(inArchive(archive))).toHaveLength(8);
});

test("an unread card of the trip is named: what is on it is nowhere else", async () => {
  const { bench } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1]);
  layCard(bench, "TWO", [2]);
  bench.engine.pause();
  const card = bench.engine.ports.ledger.cards()[0];
  if (card === undefined) throw new Error("no card");
  const file = { path: "DCIM/100ABCDE/ABCD0009.PNG" as never, size: 9 as never, modified: 0 as never };
  bench.engine.ports.ledger.setCardFiles(
    card.id,
    [{ ...file, role: "frame", frame: "x", why: "" }],
    bench.engine.now(),
  );
  bench.engine.goOn();
  const receipt = await comeHome(bench);
  expect(receipt.complete).toBe(false);
  expect(receipt.missing).toEqual([
    { path: "DCIM/100ABCDE/ABCD0009.PNG", bytes: 9, kind: "frame", lastSeen: "on card 1, never copied" },
  ]);
  expect(receipt.advice).toContain("Put card 1 in");
});

test("history comes along when it is asked for, from all drives, and no version twice", async () => {
  const { bench, archive } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1]);
  const earlier = ".scrubjay/trips/kc-2027-06-03-test/earlier/notes.txt";
  put(bench.practice, `Blue/${earlier}/20270605T211500.123Z.txt`, "first");
  put(bench.practice, `Slate/${earlier}/20270605T211500.123Z.txt`, "first");
  put(bench.practice, `Slate/${earlier}/20270606T080000.000Z.txt`, "second");
  const without = await comeHome(bench);
  expect(without.targets[0]?.versions).toBe(0);
  const receipt = await comeHome(bench, { history: true });
  expect(receipt.targets[0]?.versions).toBe(2);
  expect(inArchive(archive, earlier)).toEqual({
    "20270605T211500.123Z.txt": "first",
    "20270606T080000.000Z.txt": "second",
  });
  expect((await comeHome(bench, { history: true })).targets[0]?.versions).toBe(0);
});

test("a file that was damaged in the archive is set aside, a good copy takes its name, and it is told", async () => {
  const { bench, archive } = await homeBench(["Blue"], (ports) => ({
    ...ports,
    limits: { ...ports.limits, archiveTrust: 0 },
  }));
  await evening(bench, "ONE", [1, 2]);
  await comeHome(bench);
  spoil(join(archive, "2027/Kestrel Cliffs", filedAs(1)));
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual(pictures(1, 2));
  expect(inArchive(archive, ".scrubjay/trips/kc-2027-06-03-test/aside")).toEqual({
    [filedAs(1)]: "pixture 1",
  });
  expect([receipt.complete, receipt.damage]).toEqual([
    true,
    [
      {
        path: filedAs(1),
        drive: archive,
        what: "It was damaged in the archive and is set aside there.",
        healed: true,
      },
    ],
  ]);
  expect(listHolds(archive)).toBe(2);
});

test("a newer version that nobody wrote down yet takes the place of the one it follows", async () => {
  const { bench, archive } = await homeBench(["Blue", "Slate"]);
  await evening(bench, "ONE", [1]);
  const sidecar = filedAs(1).replace(".PNG", ".xmp");
  for (const drive of ["Blue", "Slate"]) {
    put(bench.practice, `${drive}/Kestrel Cliffs/${sidecar}`, "one star");
    utimesSync(join(bench.practice, drive, "Kestrel Cliffs", sidecar), new Date(1_000), new Date(1_000));
  }
  await comeHome(bench);
  put(bench.practice, `Blue/Kestrel Cliffs/${sidecar}`, "five stars");
  rmSync(join(bench.practice, "Slate/Kestrel Cliffs", sidecar));
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual({ ...pictures(1), [sidecar]: "five stars" });
  expect(receipt.complete).toBe(true);
});

test("one more copy of a frame that somebody made on a drive doesn't come twice, and keeps the drive from nothing", async () => {
  const { bench, archive } = await homeBench(["Blue"]);
  await evening(bench, "ONE", [1]);
  put(bench.practice, "Blue/Kestrel Cliffs/best/cliff.PNG", "picture 1");
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual(pictures(1));
  expect([receipt.complete, receipt.drives[0]?.mayBeReused]).toEqual([true, true]);
});
