/** The folders of this computer: where they are, how trips are kept there, and the daemon's run file. */

import { chmod, mkdir, mkdtemp, readdir, readFile, rm, stat, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { readProfile } from "../../daemon/core/profile.ts";
import { homeFolders } from "../../daemon/home/homeFolders.ts";
import { readRunFile, removeRunFile, writeRunFile } from "../../daemon/home/runFile.ts";
import { type AddedTrip, addTripFile, listTripFiles } from "../../daemon/home/tripFiles.ts";
import { type AbsolutePath, absolutePath } from "../../shared/identity.ts";

let root: AbsolutePath;
beforeEach(async () => {
  root = absolutePath(await mkdtemp(join(tmpdir(), "scrubjay-home-")));
});
afterEach(() => rm(root, { recursive: true, force: true }));

test("SCRUBJAY_HOME holds everything", () => {
  const folders = homeFolders({ SCRUBJAY_HOME: "/data/jay", XDG_CONFIG_HOME: "/elsewhere" }, "/home/anna");
  expect(folders).toEqual({
    config: "/data/jay/config",
    state: "/data/jay/state",
    cache: "/data/jay/cache",
    run: "/data/jay/run",
  });
});

test("without it the XDG folders hold, and their defaults where values are unset, empty or relative", () => {
  // XDG Base Directory Specification: relative values are invalid and ignored; the state default is of its 0.8.
  const defaults = {
    config: "/home/anna/.config/scrubjay",
    state: "/home/anna/.local/state/scrubjay",
    cache: "/home/anna/.cache/scrubjay",
    run: "/home/anna/.local/state/scrubjay/run",
  };
  expect(homeFolders({}, "/home/anna")).toEqual(defaults);
  const bad = {
    SCRUBJAY_HOME: "",
    XDG_CONFIG_HOME: "",
    XDG_STATE_HOME: "./state",
    XDG_CACHE_HOME: "cache",
    XDG_RUNTIME_DIR: "run/1000",
  };
  expect(homeFolders(bad, "/home/anna")).toEqual(defaults);
  const good = {
    XDG_CONFIG_HOME: "/c",
    XDG_STATE_HOME: "/s",
    XDG_CACHE_HOME: "/k",
    XDG_RUNTIME_DIR: "/run/user/1000",
  };
  expect(homeFolders(good, "/home/anna")).toEqual({
    config: "/c/scrubjay",
    state: "/s/scrubjay",
    cache: "/k/scrubjay",
    run: "/run/user/1000/scrubjay",
  });
});

const profileText = (trip: string, code: string, from: string, to: string): string =>
  `# mine\ntrip: ${trip}\ncode: ${code}\nfrom: ${from}\nto: ${to}\nzone: UTC\ngoal: { copies: 1 }\ndrives:\n  - { name: Blue, role: primary }\n`;

async function add(trip: string, code: string, from: string, to: string): Promise<AddedTrip> {
  const text = profileText(trip, code, from, to);
  const { profile } = readProfile(text);
  if (profile === undefined) throw new Error("the test's profile is faulty");
  return addTripFile(root, text, profile);
}

test("no folder yet means no trips", async () => {
  expect(await listTripFiles(absolutePath(join(root, "none")))).toEqual([]);
});

test("a trip is kept as it was written, for its user only, under an id that names it", async () => {
  const added = await add("Kestrel Cliffs", "KC", "2027-06-03", "2027-06-14");
  expect(added.isNew).toBe(true);
  expect(added.id).toMatch(/^kc-20270603-[0-9a-f]{4}$/);
  expect(await readFile(added.file, "utf8")).toBe(
    profileText("Kestrel Cliffs", "KC", "2027-06-03", "2027-06-14"),
  );
  expect((await stat(added.file)).mode & 0o777).toBe(0o600);
  const listed = await listTripFiles(root);
  expect(listed).toMatchObject([{ id: added.id, profile: { trip: "Kestrel Cliffs" }, faults: [] }]);
});

test("a trip described again keeps its id; another trip gets one of its own", async () => {
  const first = await add("Kestrel Cliffs", "KC", "2027-06-03", "2027-06-14");
  const again = await add("Kestrel Cliffs", "KC", "2027-06-03", "2027-06-14");
  expect(again).toMatchObject({ id: first.id, isNew: false, changed: false, before: undefined });
  const moved = await add("KESTREL cliffs", "KX", "2027-06-05", "2027-06-20");
  expect(moved).toMatchObject({ id: first.id, isNew: false, changed: true, before: "Kestrel Cliffs" });
  const renamed = await add("Kestrel Crags", "kx", "2027-06-05", "2027-06-20");
  expect(renamed).toMatchObject({ id: first.id, isNew: false, changed: true, before: "KESTREL cliffs" });
  const other = await add("Kestrel Crags", "KX", "2028-06-04", "2028-06-21");
  expect(other.isNew).toBe(true);
  expect((await listTripFiles(root)).map((trip) => trip.id)).toEqual([first.id, other.id]);
  expect((await readdir(join(root, "trips"))).sort()).toEqual(
    [`${first.id}.yaml`, `${other.id}.yaml`].sort(),
  );
});

test("a trip with another's code in days that overlap is refused, whatever its name, and changes nothing", async () => {
  const first = await add("Kestrel Cliffs", "KC", "2027-06-03", "2027-06-14");
  const refusal = { exit: 78, message: "kc is the code of Kestrel Cliffs in these days already." };
  await expect(add("Tern Bay", "kc", "2027-06-14", "2027-06-20")).rejects.toMatchObject(refusal);
  const bay = await add("Tern Bay", "KC", "2027-06-15", "2027-06-20");
  expect(bay.isNew).toBe(true);
  // An update may not take the code either.
  await expect(add("Tern Bay", "kc", "2027-06-13", "2027-06-20")).rejects.toMatchObject(refusal);
  const files = await listTripFiles(root);
  expect(files.map((trip) => [trip.id, trip.profile?.from])).toEqual([
    [first.id, "2027-06-03"],
    [bay.id, "2027-06-15"],
  ]);
});

test("a code without plain letters still makes a plain id", async () => {
  expect((await add("A", "写", "2027-06-03", "2027-06-14")).id).toMatch(/^trip-20270603-[0-9a-f]{4}$/);
});

test("a faulty file is listed with its faults and hides no other", async () => {
  const added = await add("Kestrel Cliffs", "KC", "2027-06-03", "2027-06-14");
  const folder = join(root, "trips");
  await writeFile(join(folder, "broken.yaml"), "trip: [\n");
  await mkdir(join(folder, "folder.yaml"));
  await writeFile(join(folder, "huge.yaml"), Buffer.alloc(3_000_000, 0x61));
  await writeFile(join(folder, "bytes.yaml"), Buffer.from([0xff, 0xfe, 0, 0x80]));
  await writeFile(join(folder, ".hidden.yaml"), "");
  await writeFile(join(folder, "notes.txt"), "");
  const trips = await listTripFiles(root);
  expect(trips.map((trip) => trip.id)).toEqual([added.id, "broken", "bytes", "folder", "huge"]);
  expect(trips[2]?.faults).toMatchObject([{ line: 1, column: 1, what: "this is not a text file in UTF-8" }]);
  // Cut in the middle of a character: too long is what is wrong with it.
  await writeFile(join(folder, "huge.yaml"), `a${"ä".repeat(1_000_000)}`);
  expect((await listTripFiles(root)).at(-1)?.faults).toMatchObject([
    { what: "this file is longer than any profile" },
  ]);
  for (const trip of trips.slice(1)) {
    expect(trip.profile).toBeUndefined();
    expect(trip.faults.length).toBeGreaterThan(0);
  }
});

test("the run file is for the user only and is found again", async () => {
  const run = absolutePath(join(root, "run"));
  const content = { port: 4711, token: "ab".repeat(32), pid: 123 };
  await writeRunFile(run, content);
  expect(await readRunFile(run)).toEqual(content);
  expect((await stat(join(run, "daemon.json"))).mode & 0o777).toBe(0o600);
  expect((await stat(run)).mode & 0o777).toBe(0o700);
  await removeRunFile(run, 999);
  expect(await readRunFile(run)).toEqual(content);
  await removeRunFile(run, 123);
  expect(await readRunFile(run)).toBeUndefined();
});

test("a run file that isn't ours is none", async () => {
  for (const text of [
    "",
    "{",
    "null",
    "[]",
    '{"port":0}',
    '{"port":80,"token":"x","pid":1}',
    '{"port":"80"}',
  ]) {
    await writeFile(join(root, "daemon.json"), text);
    expect(await readRunFile(root), text).toBeUndefined();
  }
  await chmod(join(root, "daemon.json"), 0o600);
});
