/**
 * What happens between the evenings, with the real daemon on real file systems: bits that turn on a medium long after
 * they were verified, a source that is spoilt, a computer that is gone. ext4 and exFAT on loop devices; bits are turned
 * in the image, below the file system, where a read through the cache doesn't see them.
 */

import { closeSync, openSync, readFileSync, renameSync, rmSync, writeSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import type { DriveStatusJson, RebuildJson, ScrubJson, StatusJson } from "../../shared/api.ts";
import { generateCard, tinyCard } from "../cards/generate/card.ts";
import { Computer } from "../support/computer.ts";
import { filesBelow, sha256Below, sha256Of, xxhsumAgrees } from "../support/generalTools.ts";
import { canUseLoopVolumes, type LoopVolume, whyNoLoopVolumes } from "../support/loopVolume.ts";

const needs = `(${whyNoLoopVolumes})`;
const onMedia = test.skipIf(!canUseLoopVolumes());

let computer: Computer;
afterEach(async () => computer.end());

interface World {
  readonly card: LoopVolume;
  readonly drives: Readonly<Record<string, LoopVolume>>;
  /** SHA-256 of the card's files that count. */
  readonly onCard: readonly string[];
}

/** Blue and Slate on ext4, Rust on exFAT, the trip described; a card was copied to those named and taken out. */
async function evening(...away: readonly string[]): Promise<World> {
  computer = new Computer();
  const drives: Record<string, LoopVolume> = {};
  for (const name of ["Blue", "Slate", "Rust"])
    drives[name] = computer.volume(name, name === "Rust" ? "exfat" : "ext4", 48_000_000);
  await computer.start();
  await computer.introduce("Blue", "Slate", "Rust");
  await computer.settled();
  for (const name of away) drives[name]?.unmount();
  const card = computer.card(32_000_000, (folder) => generateCard(folder, tinyCard));
  card.mount(computer.at("CARD"));
  await computer.settled();
  const onCard = [...sha256Below(card.at)]
    .filter(([path]) => !path.startsWith(".Trashes/"))
    .map(([, sum]) => sum)
    .sort();
  card.unmount();
  await computer.settled();
  return { card, drives, onCard };
}

/** A file of the trip on this drive, the first by name with this ending, below the trip's folder. */
function aFile(drive: string, ending: string): string {
  const path = filesBelow(computer.trip(drive)).find((each) => each.endsWith(ending));
  if (path === undefined) throw new Error(`no ${ending} on ${drive}`);
  return path;
}

/** Turns one bit in the middle of a file on its medium, below the file system. */
function turnBit(volume: LoopVolume, file: string): void {
  const content = readFileSync(file);
  const piece = content.subarray(content.length >> 1, (content.length >> 1) + 64);
  const image = readFileSync(volume.image);
  const at = image.indexOf(piece);
  if (at < 0 || image.indexOf(piece, at + 1) >= 0) throw new Error("the piece stands once on the medium");
  const descriptor = openSync(volume.image, "r+");
  writeSync(descriptor, Buffer.of((image[at] ?? 0) ^ 1), 0, 1, at);
  closeSync(descriptor);
}

const tree = (drive: string) => {
  const sums = new Map(sha256Below(computer.trip(drive)));
  sums.delete("checksums.xxh64");
  return sums;
};

onMedia(
  `a bit that turned on a medium is found by a scrub past the cache, set aside and made good ${needs}`,
  async () => {
    const { drives, onCard } = await evening();
    const path = aFile("Blue", ".DNG");
    const file = join(computer.trip("Blue"), path);
    const good = sha256Of(file);
    const blue = drives["Blue"];
    if (blue === undefined) throw new Error("Blue is there");
    turnBit(blue, file);
    expect(sha256Of(file), "a read through the cache sees nothing of it").toBe(good);

    const scrubbed = await computer.scrubjay.run("scrub", "Blue", "--json");
    expect(scrubbed.status, scrubbed.errors).toBe(65);
    const said = JSON.parse(scrubbed.out) as ScrubJson;
    expect(said.findings).toMatchObject([{ drive: "Blue", path, what: "damaged", healed: true }]);

    // From the medium, by general tools.
    blue.unmount();
    await computer.settled();
    blue.mount(computer.at("Blue"));
    await computer.settled();
    expect([...tree("Blue").values()].sort()).toEqual(onCard);
    expect(xxhsumAgrees(computer.trip("Blue"))).toBe(onCard.length);
    const { trip } = await computer.status();
    const aside = join(computer.at("Blue"), `.scrubjay/trips/${trip?.id}/aside`);
    expect(filesBelow(aside)).toEqual([path]);
    expect(sha256Of(join(aside, path))).not.toBe(good);
    expect((await computer.scrubjay.run("scrub")).status).toBe(0);
    expect((await computer.status()).headline).toBe("Everything is safe.");
  },
  120_000,
);

onMedia(
  `a spoilt source isn't spread while catching up: the other drive's copy is used, and the spoilt one is made good ${needs}`,
  async () => {
    const { drives, onCard } = await evening("Rust");
    const { Blue: blue, Slate: slate, Rust: rust } = drives;
    if (blue === undefined || slate === undefined || rust === undefined) throw new Error("all are there");
    const path = aFile("Blue", ".DNG");
    turnBit(blue, join(computer.trip("Blue"), path));
    rust.mount(computer.at("Rust"));
    await computer.settled();
    for (const drive of [blue, slate, rust]) drive.unmount();
    await computer.settled();
    for (const name of ["Blue", "Slate", "Rust"]) drives[name]?.mount(computer.at(name));
    await computer.settled();
    for (const name of ["Blue", "Slate", "Rust"]) {
      expect([...tree(name).values()].sort(), name).toEqual(onCard);
      expect(xxhsumAgrees(computer.trip(name)), name).toBe(onCard.length);
    }
    expect((await computer.cardStatus()).clear).toBe(true);
  },
  120_000,
);

onMedia(
  `the computer is gone: one drive gives a new one the same board for that drive, and what it doesn't hold is named ${needs}`,
  async () => {
    const { card, drives, onCard } = await evening();
    const { Blue: blue, Slate: slate, Rust: rust } = drives;
    if (blue === undefined || slate === undefined || rust === undefined) throw new Error("all are there");
    const before = stateOf(await computer.status(), "Rust");
    const tripBefore = (await computer.status()).trip;
    for (const drive of [blue, slate, rust]) drive.unmount();
    await computer.settled();
    await computer.stop();
    renameSync(computer.home, `${computer.home} of the thief`);

    await computer.start();
    rust.mount(computer.at("Rust"));
    await computer.settled();
    expect((await computer.alert("unknown-drive"))?.text).toContain("scrubjay rebuild");
    const learnt = await computer.scrubjay.json<RebuildJson>(["rebuild", computer.at("Rust")], [0]);
    expect(learnt).toMatchObject({ torn: 0, disagreeing: 0, nowhereTotal: 0, elsewhere: [] });
    expect(stateOf(await computer.status(), "Rust")).toEqual(before);
    expect((await computer.status()).trip).toEqual(tripBefore);
    await computer.must("trip", "check", join(computer.home, "config/trips", `${tripBefore?.id}.yaml`));

    // One picture is deleted on Rust: what others hold is told apart from what is nowhere.
    rmSync(join(computer.trip("Rust"), aFile("Rust", ".JPG")));
    const more = await computer.scrubjay.json<RebuildJson>(["rebuild", computer.at("Rust")], [0]);
    expect(more.elsewhere.reduce((sum, { files }) => sum + files, 0)).toBeGreaterThanOrEqual(1);
    // The card is known without reading it whole, and gives back what is short.
    card.mount(computer.at("CARD"));
    await computer.settled();
    expect([...tree("Rust").values()].sort()).toEqual(onCard);
    blue.mount(computer.at("Blue"));
    slate.mount(computer.at("Slate"));
    await computer.settled();
    expect((await computer.status()).headline).toBe("Everything is safe.");
    expect((await computer.scrubjay.run("cards")).status).toBe(0);
  },
  120_000,
);

/** What the board says of a drive, without what passes with time. */
function stateOf(status: StatusJson, name: string): Partial<DriveStatusJson> {
  const found = status.drives.find((drive) => drive.name === name);
  if (found === undefined) throw new Error(`no drive ${name}`);
  const { lastSeen, freeBytes, ...state } = found;
  return state;
}
