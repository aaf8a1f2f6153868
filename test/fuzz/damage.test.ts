/**
 * How much damage is found, held to what each format's structure allows. Structure says nothing of samples and packed
 * pixels, so what isn't asserted here isn't promised. `npm run damage` prints the whole table.
 */

import { beforeAll, expect, test } from "vitest";
import { type DamageFound, findDamage, tableOf, type Way } from "./damageTable.ts";
import { probeRealHeaders, samplesFolder } from "./realHeaders.ts";
import { encoders, type Kind, type WholeFile, wholeFiles } from "./wholeFiles.ts";

const seed = 1;
let files: readonly WholeFile[];
beforeAll(() => {
  files = wholeFiles({ seed, rounds: 2 });
});

const films: readonly Kind[] = ["film, index last", "film, index first"];
const promises: readonly (readonly [Way, readonly Kind[]])[] = [
  ["cut short", ["JPEG", "TIFF", ...films, "WAV"]],
  ["zeros to the end", ["JPEG", "TIFF", ...films]],
  ["a sixteenth missing", ["TIFF", ...films, "WAV"]],
  // Where the last sixteenth itself is overwritten an end of image may stand in it by chance, once in 250 times.
  ["a sixteenth random", ["JPEG"]],
];

/** Every promise is kept for these files, and none of them is called damaged as it is. */
function expectPromises(found: readonly DamageFound[]): void {
  expect(found.flatMap((each) => each.falsePositives)).toEqual([]);
  for (const [way, kinds] of promises) {
    for (const { kind, byWay } of found.filter((each) => kinds.includes(each.kind))) {
      expect(byWay[way].missed, `${kind}, ${way}`).toEqual([]);
    }
  }
}

test("generated files: damage at every sixteenth is found wherever structure can show it", () => {
  const generated = files.filter(({ name }) => /^(generated|first)/.test(name));
  expect(generated).toHaveLength(10);
  const found = findDamage(generated, seed);
  expectPromises(found);
  for (const { kind, byWay } of found) {
    expect(byWay["cut short"].tried, kind).toBe(32);
    expect(byWay["a sixteenth random"].tried, kind).toBe(32);
  }
  // The check of the check: a sound's samples are anything, so here nearly all must be missed.
  expect(found.find(({ kind }) => kind === "WAV")?.byWay["a sixteenth random"].missed).toHaveLength(30);
  expect(tableOf(found)).toMatch(/^JPEG +2 +32 \/ 32 +32 \/ 32 /m);
});

test.skipIf(!encoders["libjpeg-turbo-progs"])(
  "another encoder's JPEGs: progressive, with restarts, grey, arithmetic (needs libjpeg-turbo-progs)",
  () => {
    const theirs = files.filter(({ name }) => name.startsWith("cjpeg"));
    expect(theirs).toHaveLength(14);
    expectPromises(findDamage(theirs, seed));
  },
);

test.skipIf(!encoders["libtiff-tools"])(
  "another encoder's TIFFs: both byte orders, BigTIFF, strips and tiles, packed or not (needs libtiff-tools)",
  () => {
    const theirs = files.filter(({ name }) => name.startsWith("tiffcp"));
    expect(theirs).toHaveLength(14);
    expectPromises(findDamage(theirs, seed));
  },
);

const samples = samplesFolder(new URL("../..", import.meta.url).pathname);

test.skipIf(samples === undefined)(
  "real headers of many makers: no maker's way is damage, and every cut is (needs the samples)",
  () => {
    const found = probeRealHeaders(samples ?? "");
    expect(found.length).toBeGreaterThan(10);
    for (const { name, cutsFound } of found) expect(cutsFound, name).toBe(16);
    // Their offsets were set right when image data was cut off, but for this one: it says that it has 117 MB.
    expect(found.filter(({ wrong }) => wrong !== undefined).map(({ name }) => name)).toEqual([
      "video-02.avi",
    ]);
  },
);
