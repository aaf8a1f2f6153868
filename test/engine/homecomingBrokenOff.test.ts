/**
 * A homecoming that is broken off at any operation on the archive carries on when it is begun again: nothing is brought
 * twice, nothing is overwritten, what was verified and written down isn't read again.
 */

import { mkdirSync, readdirSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { expect, test } from "vitest";
import { beginHomecoming, homeState } from "../../daemon/engine/homecoming/request.ts";
import type { AbsolutePath } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { firstMoment, momentStep } from "../support/moments.ts";
import { comeHome, homeBench, inArchive } from "./homeBench.ts";
import { evening, filedAs, Power, until, withFaults } from "./pictures.ts";

const pictures = (...numbers: readonly number[]) =>
  Object.fromEntries(numbers.map((nth) => [filedAs(nth), `picture ${nth}`]));

/** An archive of its own with a stranger in it under the name of picture 1. */
function freshArchive(beside: string, nth: number): string {
  const folder = join(beside, `archive-${nth}`);
  const day = join(folder, "2027/Kestrel Cliffs/2027-06-05");
  mkdirSync(day, { recursive: true });
  writeFileSync(join(folder, "2027/Kestrel Cliffs", filedAs(1)), "somebody's");
  return folder;
}

const wanted = {
  [filedAs(1)]: "somebody's",
  [filedAs(1).replace(".PNG", "-2.PNG")]: "picture 1",
  ...pictures(2),
  "Notes.txt": "puffins",
};

test("the archive's disk fails at any one operation: the next homecoming brings what is lacking and nothing twice", async () => {
  let failsAt = Number.POSITIVE_INFINITY;
  let done = 0;
  let folder = "/none";
  const before = (_operation: string, path: AbsolutePath): void => {
    if (!path.startsWith(folder)) return;
    done += 1;
    if (done === failsAt) throw new FileFault("io", path);
  };
  const { bench } = await homeBench(["Blue"], withFaults({ before }));
  await evening(bench, "ONE", [1, 2]);
  writeFileSync(join(bench.practice, "Blue/Kestrel Cliffs/Notes.txt"), "puffins");
  let operations = 0;
  for (failsAt = 1; failsAt === 1 || failsAt <= operations; failsAt += momentStep) {
    folder = freshArchive(bench.folder, failsAt);
    done = 0;
    const wish = { trip: undefined, to: folder, rehearsal: false, history: false };
    const failed = await beginHomecoming(bench.engine, wish, []).then(
      () => false,
      () => true,
    );
    await bench.idle();
    const first = homeState(bench.engine, undefined).receipt;
    if (!failed && first?.complete === true) expect(first.targets[0]?.done).toBe(true);
    done = Number.NEGATIVE_INFINITY;
    const receipt = await comeHome(bench, { to: folder });
    expect([failsAt, receipt.complete, receipt.missingTotal]).toEqual([failsAt, true, 0]);
    expect([failsAt, inArchive(folder)]).toEqual([failsAt, wanted]);
    expect(readdirSync(join(folder, ".scrubjay/incoming"))).toEqual([]);
    if (failsAt > 1) continue;
    folder = freshArchive(bench.folder, 0);
    done = 0;
    failsAt = Number.POSITIVE_INFINITY;
    await comeHome(bench, { to: folder });
    operations = done;
    failsAt = firstMoment;
  }
  expect(operations).toBeGreaterThan(40);
}, 240_000);

test("a file in the archive that can't be read once, as when a connection breaks for a moment, is read again and not brought twice", async () => {
  let fails = 0;
  const before = (operation: string, path: AbsolutePath): void => {
    if (operation !== "verify" || !path.endsWith(`archive/2027/Kestrel Cliffs/${filedAs(1)}`)) return;
    fails -= 1;
    if (fails >= 0) throw new FileFault("io", path);
  };
  const { bench, archive } = await homeBench(["Blue"], withFaults({ before }));
  await evening(bench, "ONE", [1, 2]);
  const stands = join(archive, "2027/Kestrel Cliffs", filedAs(1));
  mkdirSync(dirname(stands), { recursive: true });
  writeFileSync(stands, "picture 1");
  fails = 1;
  const receipt = await comeHome(bench);
  expect(receipt.targets[0]).toMatchObject({ done: true, copied: { files: 1 }, there: { files: 1 } });
  expect(inArchive(archive)).toEqual(pictures(1, 2));
});

test("the power goes at any moment: begun again it carries on", async () => {
  const power = new Power();
  const { bench } = await homeBench(["Blue"], power.wrap);
  await evening(bench, "ONE", [1, 2]);
  writeFileSync(join(bench.practice, "Blue/Kestrel Cliffs/Notes.txt"), "puffins");
  const moments = [
    "createToWrite",
    "write",
    "finish",
    "openToVerify",
    "moveNoReplace",
    "flushFolder",
    "appendOwn .*checksums",
    "appendOwn .*journal",
    "fact archived",
    "fact home",
    "replaceOwn .*checksums",
  ];
  for (const [nth, moment] of moments.entries()) {
    const folder = freshArchive(bench.folder, nth);
    power.gone = false;
    power.goesAt = moment.startsWith("fact")
      ? new RegExp(moment)
      : new RegExp(`^${moment.replace(" .*", " .*archive-.*")}${moment.includes(" ") ? "" : " .*archive-"}`);
    const wish = { trip: undefined, to: folder, rehearsal: false, history: false };
    await beginHomecoming(bench.engine, wish, []).catch(() => undefined);
    if (moment !== "replaceOwn .*checksums") await until(() => power.gone);
    else await Promise.race([until(() => power.gone), bench.idle()]);
    power.goesAt = undefined;
    power.gone = false;
    await bench.restart(power.wrap);
    await bench.idle();
    const receipt = await comeHome(bench, { to: folder });
    expect([moment, receipt.complete]).toEqual([moment, true]);
    expect([moment, inArchive(folder)]).toEqual([moment, wanted]);
    expect(readdirSync(join(folder, ".scrubjay/incoming"))).toEqual([]);
  }
}, 120_000);

test("what was verified and written down isn't read again when it is begun anew", async () => {
  const read: string[] = [];
  const { bench, archive } = await homeBench(
    ["Blue"],
    withFaults({
      before: (operation, path) => {
        if (operation === "openToVerify" && path.endsWith(".PNG")) read.push(path);
      },
    }),
  );
  await evening(bench, "ONE", [1, 2]);
  await comeHome(bench);
  await evening(bench, "TWO", [3]);
  read.length = 0;
  const receipt = await comeHome(bench);
  expect(inArchive(archive)).toEqual(pictures(1, 2, 3));
  expect(receipt.targets[0]).toMatchObject({ copied: { files: 1 }, there: { files: 2 } });
  expect(read).toEqual([join(bench.practice, "Blue/Kestrel Cliffs", filedAs(3))]);
});
