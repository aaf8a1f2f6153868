/**
 * A trip comes home to a network share: it ends complete and says that a cache may have answered; what stands on the server
 * is whole by its own reading; a share that goes in the middle, is full or isn't mounted is said in plain words, and
 * nothing half stands there under a final name.
 */

import { execFileSync } from "node:child_process";
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import Database from "better-sqlite3";
import { afterEach, describe, expect, test } from "vitest";
import type { ArchiveCheckJson, ReceiptJson } from "../../shared/homeApi.ts";
import { Computer, plainCard, until } from "../support/computer.ts";
import { filesBelow, sha256Below, sha256Of, xxhsumAgrees } from "../support/generalTools.ts";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";
import {
  canUseNetworkShare,
  makeShare,
  type NetworkShare,
  type ShareWish,
  whyNoNetworkShare,
} from "../support/networkShare.ts";

const tripBelow = "2027/Kestrel Cliffs";
/** How one server differs from another. Files alone are tried in more ways, in `test/contract/files.test.ts`. */
const manners = [
  { name: "as Debian's server is" },
  {
    name: "without hard links, with a rename put together from others, and no cache of names",
    lacks: ["posix-rename"],
    options: ["disable_hardlink", "workaround=rename", "dir_cache=no"],
  },
  {
    name: "without hard links, a rename over anything, a flush and a word of what is free",
    lacks: ["hardlink", "posix-rename", "fsync", "statvfs"],
  },
];

let computer: Computer;
const shares: NetworkShare[] = [];
afterEach(async () => {
  // Before the folder that they are mounted in is removed with everything in it.
  await computer.stop();
  for (const share of shares.splice(0)) share.remove();
  await computer.end();
});

const mountPoint = (): string => join(computer.folder, "archive");

function share(wish: Partial<ShareWish> = {}): NetworkShare {
  const made = makeShare({ at: mountPoint(), ...wish });
  shares.push(made);
  return made;
}

/** A trip on one drive, with a work file. @returns what must come home, by SHA-256 */
async function atHome(files: number, bytesEach: number): Promise<ReadonlyMap<string, string>> {
  computer = new Computer();
  mkdirSync(computer.at("Blue"));
  await computer.start();
  await computer.introduce("Blue");
  const note = join(computer.trip("Blue"), "Notes/day 1.txt");
  plainCard(computer.at("CARD"), { seed: 7, files, bytesEach });
  await computer.settled();
  mkdirSync(dirname(note), { recursive: true });
  writeFileSync(note, "puffins");
  await computer.settled();
  const sums = new Map(sha256Below(computer.trip("Blue")));
  sums.delete("checksums.xxh64");
  expect(sums.size).toBe(files + 1);
  return sums;
}

const home = (...more: readonly string[]) =>
  computer.scrubjay.run("homecoming", "KC", "--to", mountPoint(), "--json", ...more);

/** What the server has of the trip, besides our own list. */
function served({ served: folder }: NetworkShare): ReadonlyMap<string, string> {
  const trip = join(folder, tripBelow);
  if (!existsSync(trip)) return new Map();
  const sums = new Map(sha256Below(trip));
  for (const own of ["checksums.xxh64", ".scrubjay-new-checksums.xxh64"]) sums.delete(own);
  return sums;
}

function unfinished({ served: folder }: NetworkShare): readonly string[] {
  const incoming = join(folder, ".scrubjay/incoming");
  return existsSync(incoming) ? readdirSync(incoming) : [];
}

/** No trace of a program's stack, and no word of its error. */
function isPlain(...texts: readonly string[]): void {
  for (const text of texts) {
    expect(text).not.toMatch(/^\s+at .+:\d+/m);
    expect(text).not.toMatch(/\bE(IO|PERM|NOTCONN|CONNABORTED|BADMSG|NOENT)\b|FileFault/);
  }
}

const here = canUseNetworkShare();
describe.skipIf(!here)(`on a network share (${here ? "sshfs" : whyNoNetworkShare})`, () => {
  for (const { name, ...wish } of manners)
    test(`${name}: all comes home, verified through a cache, whole on the server, and nothing twice`, async () => {
      const wanted = await atHome(12, 300_000);
      const there = share(wish);
      // Somebody's own file has the name of one of the trip's.
      const [first = ""] = [...wanted.keys()];
      const own = join(there.served, tripBelow, first);
      mkdirSync(dirname(own), { recursive: true });
      writeFileSync(own, "somebody's");
      const beside = first.replace(/(\.[^.]+)$/, "-2$1");

      const { status, out, errors } = await home();
      expect([status, errors.split("\n").length], errors).toEqual([0, 2]);
      const receipt = JSON.parse(out) as ReceiptJson;
      expect(receipt).toMatchObject({ complete: true, found: { files: 12, edits: 1 } });
      const [target] = receipt.targets;
      expect(target).toMatchObject({ done: true, readBack: "cache", copied: { files: 12 } });
      expect(target?.how).toContain("perhaps from a cache");
      expect(readFileSync(target?.receipt ?? "", "utf8")).toContain("perhaps from a cache");

      // Outside sources: sha256sum of the drive and of the folder behind the share, xxhsum.
      const sums = new Map(served(there));
      expect(readFileSync(own, "utf8")).toBe("somebody's");
      expect(sums.get(beside)).toBe(wanted.get(first));
      sums.delete(beside);
      sums.set(first, wanted.get(first) ?? "");
      expect(Object.fromEntries(sums)).toEqual(Object.fromEntries(wanted));
      expect(xxhsumAgrees(join(there.served, tripBelow))).toBe(13);
      expect(unfinished(there)).toEqual([]);
      for (const folder of [mountPoint(), there.served]) {
        const checked = await computer.scrubjay.json<ArchiveCheckJson>([
          "archive",
          "check",
          join(folder, tripBelow),
        ]);
        expect(checked).toMatchObject({ files: 13, good: true, unlisted: [first] });
        if (folder === mountPoint()) expect(checked.unsure).toBe(13);
      }

      const before = inodes(there);
      const again = await home();
      expect(again.status).toBe(0);
      expect((JSON.parse(again.out) as ReceiptJson).targets[0]).toMatchObject({
        copied: { files: 0 },
        there: { files: 12 },
      });
      // By another computer that knows nothing, or a day later: everything is read there, and still nothing twice.
      await forgetWhatWasSeen();
      const later = await home();
      expect((JSON.parse(later.out) as ReceiptJson).targets[0]).toMatchObject({
        readBack: "cache",
        copied: { files: 0 },
        there: { files: 12 },
      });
      expect(inodes(there)).toEqual(before);

      // A work file that changed takes the place of its earlier version, and the list is written anew.
      const note = join(computer.trip("Blue"), "Notes/day 1.txt");
      writeFileSync(note, "puffins, and more puffins");
      await computer.settled();
      const newer = await home();
      isPlain(newer.out, newer.errors);
      expect((JSON.parse(newer.out) as ReceiptJson).targets[0]).toMatchObject({ done: true, why: "" });
      expect(sha256Of(join(there.served, tripBelow, "Notes/day 1.txt"))).toBe(sha256Of(note));
      expect(xxhsumAgrees(join(there.served, tripBelow))).toBe(13);
      const earlier = filesBelow(there.served).filter((path) => path.includes("/earlier/Notes/day 1.txt/"));
      expect(earlier.map((path) => readFileSync(join(there.served, path), "utf8"))).toEqual(["puffins"]);
      expect(readdirSync(join(there.served, tripBelow)).sort()).toEqual([
        "2027-06-05",
        "Notes",
        "checksums.xxh64",
      ]);
    });

  test("the connection breaks for a moment, again and again: nothing is half and nothing twice", async () => {
    const wanted = await atHome(40, 1_500_000);
    const there = share({ options: ["reconnect"] });
    let complete = false;
    for (let nth = 1; nth <= 4; nth += 1) {
      let ended = false;
      const asked = home().finally(() => {
        ended = true;
      });
      const before = served(there).size;
      await until("some more is there", () => ended || served(there).size >= before + 4);
      there.breakConnection();
      const { out, errors } = await asked;
      isPlain(out, errors, computer.logEnd());
      ({ complete } = JSON.parse(out) as ReceiptJson);
      for (const [path, sum] of served(there)) expect([path, sum]).toEqual([path, wanted.get(path)]);
    }
    if (!complete) ({ complete } = JSON.parse((await home()).out) as ReceiptJson);
    expect(complete).toBe(true);
    expect(Object.fromEntries(served(there))).toEqual(Object.fromEntries(wanted));
    expect(xxhsumAgrees(join(there.served, tripBelow))).toBe(wanted.size);
  });

  for (const { name, lose } of [
    { name: "its server ends", lose: (there: NetworkShare) => there.loseServer() },
    { name: "its mount breaks", lose: (there: NetworkShare) => there.loseHelper() },
  ])
    test(`the share goes in the middle, since ${name}: it is said plainly, nothing is half, and it is carried on`, async () => {
      const wanted = await atHome(40, 1_500_000);
      const there = share();
      const asked = home();
      await until("some of it is there", () => served(there).size >= 5);
      lose(there);
      const { status, out, errors } = await asked;
      const receipt = JSON.parse(out) as ReceiptJson;
      isPlain(out, errors, computer.logEnd());
      expect([status, receipt.complete, receipt.targets[0]?.done]).toEqual([1, false, false]);
      expect(receipt.targets[0]?.why).toBe(
        `${mountPoint()} is no longer connected. What was brought there stays. Connect it again, then bring it home again.`,
      );
      const stood = served(there);
      expect(stood.size).toBeLessThan(wanted.size);
      for (const [path, sum] of stood) expect([path, sum]).toEqual([path, wanted.get(path)]);

      const refused = await home();
      expect(refused.status).not.toBe(0);
      isPlain(refused.errors);
      expect(refused.errors).toContain("Nothing was written there.");
      there.unmount();
      // What is left of the share is a folder of this computer.
      expect(readdirSync(mountPoint())).toEqual([]);
      const before = inodes(there);

      there.mount();
      const { out: carried } = await home();
      const done = JSON.parse(carried) as ReceiptJson;
      expect(done.complete).toBe(true);
      expect(Object.fromEntries(served(there))).toEqual(Object.fromEntries(wanted));
      expect(xxhsumAgrees(join(there.served, tripBelow))).toBe(wanted.size);
      expect(unfinished(there)).toEqual([]);
      for (const [path, inode] of before) expect([path, inodes(there).get(path)]).toEqual([path, inode]);
    });

  test.skipIf(!canUseLoopVolumes())(
    `the server's disk is full: it is said, only whole files stand there, and with room it is carried on (${whyNoLoopVolumes})`,
    async () => {
      const wanted = await atHome(8, 1_500_000);
      const disk = computer.volume("SERVER", "ext4", 9_000_000, { at: join(computer.folder, "disk") });
      const there = share({ serves: disk.at });
      const ballast = join(disk.at, "ballast");
      writeFileSync(ballast, Buffer.alloc(2_000_000));
      const { status, out, errors } = await home();
      isPlain(out, errors);
      const { complete, targets } = JSON.parse(out) as ReceiptJson;
      expect([status, complete]).toEqual([1, false]);
      expect(targets[0]?.why).toBe(
        `${mountPoint()} is full. What was brought there stays. Free room there, then bring it home again.`,
      );
      const stood = served(there);
      expect(stood.size).toBeGreaterThan(0);
      for (const [path, sum] of stood) expect([path, sum]).toEqual([path, wanted.get(path)]);
      expect(unfinished(there)).toEqual([]);
      // A larger disk with the same files: the share's name stays.
      const larger = computer.volume("LARGER", "ext4", 40_000_000, { at: join(computer.folder, "larger") });
      rmSync(ballast);
      execFileSync("cp", ["-a", `${disk.at}/.`, larger.at]);
      there.unmount();
      disk.unmount();
      larger.unmount();
      larger.mount(disk.at);
      there.mount();
      expect((JSON.parse((await home()).out) as ReceiptJson).complete).toBe(true);
      expect(Object.fromEntries(served(there))).toEqual(Object.fromEntries(wanted));
    },
  );

  test("the share isn't mounted: refused, and nothing lands in the empty mount point", async () => {
    await atHome(2, 1_000);
    const there = share();
    expect((await home()).status).toBe(0);
    there.unmount();
    const { status, errors } = await home();
    expect(status).toBe(1);
    expect(errors).toContain(
      "the disk isn't mounted there, or it is another one. Nothing was written there.",
    );
    isPlain(errors);
    expect(readdirSync(mountPoint())).toEqual([]);
    const check = await computer.scrubjay.run("archive", "check", join(mountPoint(), tripBelow));
    expect([check.status, check.errors]).toEqual([64, expect.stringContaining("isn't there.")]);
  });
});

/** As for another computer, or a day later: what was read there before isn't believed any more. */
async function forgetWhatWasSeen(): Promise<void> {
  await computer.stop();
  const ledger = new Database(join(computer.home, "state/ledger.sqlite"));
  ledger.exec("DELETE FROM archive_seen");
  ledger.close();
  await computer.start();
}

function inodes({ served: folder }: NetworkShare): ReadonlyMap<string, number> {
  const trip = join(folder, tripBelow);
  return new Map(
    filesBelow(trip)
      .filter((path) => !/checksums\.xxh64$/.test(path))
      .map((path) => [path, statSync(join(trip, path)).ino]),
  );
}
