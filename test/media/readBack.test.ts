/**
 * A bit that turns on the medium after the file was written and flushed, while the cache still holds the right bytes:
 * only a read-back that really comes from the medium can see it. ext4 on a loop device; the bit is turned in the
 * image, below the file system.
 */

import {
  closeSync,
  mkdirSync,
  openSync,
  readdirSync,
  readFileSync,
  renameSync,
  utimesSync,
  writeFileSync,
  writeSync,
} from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { drivesJson, statusJson } from "../../daemon/engine/board.ts";
import { cardsJson } from "../../daemon/engine/cardBoard.ts";
import { introduceDrive } from "../../daemon/engine/introduce.ts";
import { absolutePath } from "../../shared/identity.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Bench, makeBench } from "../engine/bench.ts";
import { FaultyFiles } from "../engine/faultyFiles.ts";
import { filesBelow, sha256Below, xxhsumAgrees } from "../support/generalTools.ts";
import { canUseLoopVolumes, type LoopVolume, makeVolume, whyNoLoopVolumes } from "../support/loopVolume.ts";

const needs = `(${whyNoLoopVolumes})`;
const onMedia = test.skipIf(!canUseLoopVolumes());

let bench: Bench;
let drives: LoopVolume[] = [];
afterEach(async () => {
  // Unmounted first, so that removing the bench's folder reaches no drive.
  for (const drive of drives) drive.remove();
  drives = [];
  await bench.end();
});

const marker = Buffer.from("a mark that stands nowhere else ");
const picture = Buffer.concat([Buffer.alloc(100_000, 0x2a), marker, Buffer.alloc(200_000, 0x2a)]);
const names = ["ALD_0001.PNG", "ALD_0002.PNG"];

/** What a normal read of the file said right after each turned bit. */
let cachedReads: Buffer[] = [];

/**
 * Blue and Slate on ext4; on Blue the first picture's bytes are turned on the medium at its first `times` read-backs.
 */
async function copyWithTurnedBits(times: number): Promise<void> {
  cachedReads = [];
  let image = "";
  let turned = 0;
  bench = await makeBench((ports) => ({
    ...ports,
    files: new FaultyFiles(ports.files, {
      before: (operation, path) => {
        if (operation !== "openToVerify" || !path.includes("/Blue/.scrubjay/incoming/")) return;
        const content = readFileSync(path);
        if (turned >= times || !content.includes(marker)) return;
        turned += 1;
        expect(turnAfter(image, marker), "the flushed bytes are on the medium").toBeGreaterThan(0);
        cachedReads.push(readFileSync(path));
      },
    }),
  }));
  for (const name of ["Blue", "Slate"]) {
    const at = join(bench.practice, name);
    const drive = makeVolume({ fs: "ext4", sizeBytes: 32_000_000, label: name, at });
    drives.push(drive);
    if (name === "Blue") image = drive.image;
    await introduceDrive(bench.engine.ports, bench.engine.presence, absolutePath(at), name);
  }
  bench.trip(profileText({ drives: ["Blue", "Slate"], copies: 2 }));
  await bench.idle();

  const folder = join(bench.aside, "CARD/DCIM/100ALDIN");
  mkdirSync(folder, { recursive: true });
  for (const [index, name] of names.entries()) {
    const path = join(folder, name);
    writeFileSync(path, index === 0 ? picture : "another");
    utimesSync(path, new Date("2027-06-05T12:00:00Z"), new Date("2027-06-05T12:00:00Z"));
  }
  renameSync(join(bench.aside, "CARD"), join(bench.practice, "CARD"));
  await bench.idle();

  // Otherwise this test would pass with a read-back that goes through the cache.
  expect(turned).toBe(times);
  for (const read of cachedReads) expect(read.equals(picture), "a normal read sees nothing of it").toBe(true);
}

/** Sets the byte after each `needle` in the image to one that the picture doesn't hold. @returns how many. */
function turnAfter(image: string, needle: Buffer): number {
  const content = readFileSync(image);
  const descriptor = openSync(image, "r+");
  let many = 0;
  for (let at = content.indexOf(needle); at >= 0; at = content.indexOf(needle, at + 1)) {
    writeSync(descriptor, Buffer.of(0x2b), 0, 1, at + needle.length);
    many += 1;
  }
  closeSync(descriptor);
  return many;
}

const tripOf = (drive: string) => join(bench.practice, drive, "Kestrel Cliffs");
const dayOf = (drive: string) => readdirSync(join(tripOf(drive), "2027-06-05")).sort();
const card = () => cardsJson(bench.engine)[0];

onMedia(
  `a bit turned on the medium before the read-back is found, and the copy is made again ${needs}`,
  async () => {
    await copyWithTurnedBits(1);
    expect(card()?.clear).toBe(true);
    expect(statusJson(bench.engine).alerts).toEqual([]);
    expect(filesBelow(join(bench.practice, "Blue/.scrubjay/incoming"))).toEqual([]);

    // From the medium, by general tools (sha256sum, xxhsum): what stands there is right.
    for (const drive of drives) {
      drive.unmount();
      drive.mount();
    }
    const blue = new Map(sha256Below(tripOf("Blue")));
    const slate = new Map(sha256Below(tripOf("Slate")));
    for (const tree of [blue, slate]) tree.delete("checksums.xxh64");
    expect(blue).toEqual(slate);
    expect([...blue.values()].sort()).toEqual([...sha256Below(join(bench.practice, "CARD")).values()].sort());
    expect(xxhsumAgrees(tripOf("Blue"))).toBe(2);
  },
);

onMedia(
  `bits that turn each time: nothing of it is published, it is said, and the other drive has all ${needs}`,
  async () => {
    await copyWithTurnedBits(2);
    expect(dayOf("Blue")).toEqual(["KC-20270605-X0002.PNG"]);
    expect(dayOf("Slate")).toEqual(["KC-20270605-X0001.PNG", "KC-20270605-X0002.PNG"]);
    expect(filesBelow(join(bench.practice, "Blue/.scrubjay/incoming"))).toEqual([]);
    expect(card()).toMatchObject({ clear: false, lackingTotal: 1 });
    const owed = drivesJson(bench.engine).map((drive) => [
      drive.name,
      drive.owed.files,
      drive.readBack.direct,
    ]);
    expect(owed).toEqual([
      ["Blue", 1, 1],
      ["Slate", 0, 2],
    ]);
    const [alert, ...more] = statusJson(bench.engine).alerts;
    expect(more).toEqual([]);
    expect(alert?.code).toBe("copy-differs");
    expect(alert?.happened).toContain("Blue");
    expect(alert?.happened).toContain("2027-06-05/KC-20270605-X0001.PNG");
    expect([alert?.safe, alert?.next]).not.toContain("");
  },
);
