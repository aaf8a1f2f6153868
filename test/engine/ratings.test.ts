/**
 * Ratings in sidecars on the primary drive, attacked: by other programs between showing and writing, by power cuts and
 * pulled drives at every step, by cards that bring sidecars of their own. At every moment the earlier version or the new
 * one stands, and nothing that anybody wrote is lost.
 */

import {
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { join } from "node:path";
import { expect, test, vi } from "vitest";
import { frameFactsJson, framesJson } from "../../daemon/engine/frames.ts";
import { framesFace } from "../../daemon/faces/framesFace.ts";
import { FileFault, UserMistake } from "../../shared/problems.ts";
import { count } from "../../shared/units.ts";
import { firstMoment, momentStep } from "../support/moments.ts";
import type { Bench, Wrap } from "./bench.ts";
import { tree } from "./bench.ts";
import type { Faults, Operation } from "./faultyFiles.ts";
import { evening, Power, tripBench, tripId, withFaults } from "./pictures.ts";

// A process that writes XMP is started on a busy machine. ms
vi.setConfig({ testTimeout: 60_000 });

const frameName = "KC-20270605-X0001";
const folderOn = (bench: Bench, drive = "Blue"): string =>
  join(bench.practice, drive, "Kestrel Cliffs/2027-06-05");
const sidecarOn = (bench: Bench, name = `${frameName}.xmp`): string => join(folderOn(bench), name);
const earlierOn = (bench: Bench): readonly string[] => {
  const folder = join(bench.practice, "Blue/.scrubjay/trips/kc-2027-06-03-test/earlier");
  return existsSync(folder) ? [...tree(folder)].map(([path, content]) => `${path}\n${content}`) : [];
};

const xmp = (rating: number, more = ""): string =>
  `<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:jay="http://kestrel.example/ns/1.0/" xmp:Rating="${rating}" jay:Perch="north ${more}"/></rdf:RDF></x:xmpmeta>`;

/** One frame on Blue (the primary) and Slate. */
async function ratingBench(wrap?: Wrap, files: Record<string, string> = {}): Promise<Bench> {
  const bench = await tripBench(["Blue", "Slate"], 2, wrap);
  await evening(bench, "CARD", { "DCIM/100ABCDE/ABCD0001.PNG": "picture 1", ...files });
  return bench;
}

const framesOf = async (bench: Bench) =>
  (await framesJson(bench.engine, tripId, undefined, count(0), count(500))).frames;

async function onlyFrame(bench: Bench): Promise<string> {
  const [frame] = await framesOf(bench);
  if (frame === undefined) throw new Error("no frame");
  return frame.id;
}

async function rate(bench: Bench, rating: number, stamp?: string) {
  const id = await onlyFrame(bench);
  const shown = stamp ?? (await frameFactsJson(bench.engine, id)).stamp;
  return framesFace(bench.engine).rate(id, rating, shown);
}

async function mistake(doing: Promise<unknown>): Promise<UserMistake> {
  const failure = await doing.then(
    () => undefined,
    (error: unknown) => error,
  );
  expect(failure).toBeInstanceOf(UserMistake);
  return failure as UserMistake;
}

const facts = async (bench: Bench) => frameFactsJson(bench.engine, await onlyFrame(bench));

test("a rating makes a sidecar beside the frame on the primary and nowhere else, and is shown", async () => {
  const bench = await ratingBench();
  expect(await facts(bench)).toMatchObject({ rating: null, sidecar: null, stamp: "", notRatable: "" });
  const rated = await rate(bench, 4);
  const path = `2027-06-05/${frameName}.xmp`;
  expect(rated).toMatchObject({ rating: 4, sidecar: { drive: "Blue", path } });
  expect(await facts(bench)).toMatchObject({ rating: 4, stamp: rated.stamp, sidecar: { path } });
  expect((await framesOf(bench))[0]).toMatchObject({ rating: 4 });
  expect(readdirSync(folderOn(bench, "Slate"))).toEqual([`${frameName}.PNG`]);
  expect(readdirSync(join(bench.practice, "Blue/.scrubjay/incoming"))).toEqual([]);
  expect(earlierOn(bench)).toEqual([]);
});

test("each rating keeps the version before it, and all that another program wrote", async () => {
  const bench = await ratingBench();
  writeFileSync(sidecarOn(bench), xmp(2));
  await rate(bench, 5);
  await rate(bench, -1);
  const now = readFileSync(sidecarOn(bench), "utf8");
  expect(now).toContain("http://kestrel.example/ns/1.0/");
  expect(now).toContain("north");
  const earlier = earlierOn(bench);
  expect(earlier).toHaveLength(2);
  expect(earlier.some((each) => each.endsWith(xmp(2)))).toBe(true);
  // contract: below the sidecar's own path, by the moment it was put away
  for (const each of earlier)
    expect(each).toMatch(/^2027-06-05\/KC-20270605-X0001\.xmp\/\d{8}T\d{6}\.\d{3}Z(-2)?\.xmp\n/);
});

test("the same rating again writes nothing", async () => {
  const bench = await ratingBench();
  writeFileSync(sidecarOn(bench), xmp(3));
  await rate(bench, 3);
  expect(readFileSync(sidecarOn(bench), "utf8")).toBe(xmp(3));
  expect(earlierOn(bench)).toEqual([]);
});

test("what another program wrote after it was shown stands, and nothing is written", async () => {
  const bench = await ratingBench();
  writeFileSync(sidecarOn(bench), xmp(2));
  const { stamp } = await facts(bench);
  writeFileSync(sidecarOn(bench), xmp(3, "theirs"));
  expect((await mistake(rate(bench, 5, stamp))).message).toContain("changed meanwhile");
  expect(readFileSync(sidecarOn(bench), "utf8")).toBe(xmp(3, "theirs"));
  rmSync(sidecarOn(bench));
  expect((await mistake(rate(bench, 5, stamp))).message).toContain("changed meanwhile");
  // One that came where none was shown.
  writeFileSync(sidecarOn(bench), xmp(1));
  expect((await mistake(rate(bench, 5, ""))).message).toContain("changed meanwhile");
  expect(readFileSync(sidecarOn(bench), "utf8")).toBe(xmp(1));
  expect(earlierOn(bench)).toEqual([]);
});

/** What is rated is moved there; the same goes on on the other drive when it is mirrored. */
const onBlue = (operation: Operation, path: string): boolean =>
  operation === "moveNoReplace" && path.includes("/Blue/");

/** Something happens at the n-th call of an operation on a path that fits, once. */
function once(fits: (operation: Operation, path: string) => boolean, happens: () => void): Faults {
  let done = false;
  return {
    before: (operation, path) => {
      if (done || !fits(operation, path)) return;
      done = true;
      happens();
    },
  };
}

test("what another program writes in the middle of it is never replaced or lost", async () => {
  const moments: readonly (readonly [string, (operation: Operation, path: string) => boolean])[] = [
    [
      "before it is put away",
      (operation, path) =>
        operation === "moveNoReplace" &&
        path.includes("/Blue/.scrubjay/trips/") &&
        path.includes("/earlier/"),
    ],
    [
      "before the new one comes",
      (operation, path) => onBlue(operation, path) && path.endsWith(`${frameName}.xmp`),
    ],
  ];
  for (const [when, fits] of moments) {
    let bench: Bench | undefined;
    let armed = false;
    const wrap = withFaults(
      once(
        (operation, path) => armed && fits(operation, path),
        () => {
          if (bench !== undefined) writeFileSync(sidecarOn(bench), xmp(1, "theirs"));
        },
      ),
    );
    bench = await ratingBench(wrap);
    writeFileSync(sidecarOn(bench), xmp(2, "shown"));
    await facts(bench);
    armed = true;
    expect((await mistake(rate(bench, 5))).message, when).toContain("changed meanwhile");
    expect(readFileSync(sidecarOn(bench), "utf8"), when).toBe(xmp(1, "theirs"));
    const shown = earlierOn(bench).filter((each) => each.endsWith(xmp(2, "shown")));
    // Overwritten by the other program itself, or put away by us.
    expect(shown.length, when).toBe(when.startsWith("before it") ? 0 : 1);
    expect(bench.engine.ports.ledger.frames.ratingIntents(bluesId(bench)), when).toEqual([]);
    expect(await facts(bench), when).toMatchObject({ rating: 1 });
  }
});

const bluesId = (bench: Bench) => {
  const blue = bench.engine.ports.ledger.drives().find(({ name }) => name === "Blue");
  if (blue === undefined) throw new Error("no Blue");
  return blue.id;
};

/** Every operation of one rating on the drive, in order, as `OPERATION PATH`. */
async function steps(earlier: boolean): Promise<number> {
  let counted = 0;
  let armed = false;
  const bench = await ratingBench(
    withFaults({
      before: () => {
        if (armed) counted += 1;
      },
    }),
  );
  if (earlier) writeFileSync(sidecarOn(bench), xmp(2));
  const { stamp } = await facts(bench);
  bench.engine.pause();
  await bench.idle();
  armed = true;
  await rate(bench, 5, stamp);
  armed = false;
  return counted;
}

for (const earlier of [true, false])
  test(`the power goes at every step of a rating ${earlier ? "over an earlier one" : "where none is"}: the earlier or the new one stands`, async () => {
    const all = await steps(earlier);
    expect(all).toBeGreaterThan(10);
    for (let nth = firstMoment; nth <= all; nth += momentStep) {
      let left = Number.POSITIVE_INFINITY;
      let gone = false;
      const bench = await ratingBench((ports) =>
        withFaults({
          before: () => {
            left -= 1;
            gone ||= left < 0;
            if (gone) throw new Error("the power is gone");
          },
        })(ports),
      );
      if (earlier) writeFileSync(sidecarOn(bench), xmp(2));
      const { stamp } = await facts(bench);
      bench.engine.pause();
      await bench.idle();
      left = nth - 1;
      await rate(bench, 5, stamp).catch(() => undefined);
      await bench.restart();
      await bench.idle();
      const there = existsSync(sidecarOn(bench)) ? readFileSync(sidecarOn(bench), "utf8") : "";
      const isEarlier = there === (earlier ? xmp(2) : "");
      const isNew = /Rating>5<|Rating="5"/.test(there) && there.trimEnd().endsWith(">");
      expect(isEarlier || isNew, `step ${nth}: ${there}`).toBe(true);
      if (earlier && isNew) expect(earlierOn(bench).some((each) => each.endsWith(xmp(2)))).toBe(true);
      expect(bench.engine.ports.ledger.frames.ratingIntents(bluesId(bench)), `step ${nth}`).toEqual([]);
      // And it can be rated again.
      await rate(bench, 1);
      expect(await facts(bench)).toMatchObject({ rating: 1 });
      await bench.engine.stop();
    }
  }, 240_000);

test("a drive that fails at every step leaves the earlier or the new one, and says what to do", async () => {
  const all = await steps(true);
  for (const [turn, code] of (["io", "no-space", "read-only"] as const).entries())
    for (let nth = firstMoment + turn * momentStep; nth <= all; nth += 3 * momentStep) {
      let left = Number.POSITIVE_INFINITY;
      const bench = await ratingBench(
        withFaults({
          before: (_operation, path) => {
            left -= 1;
            if (left === -1) throw new FileFault(code, path);
          },
        }),
      );
      writeFileSync(sidecarOn(bench), xmp(2));
      const { stamp } = await facts(bench);
      bench.engine.pause();
      await bench.idle();
      left = nth - 1;
      const failure = await rate(bench, 5, stamp).then(
        () => undefined,
        (error: unknown) => error,
      );
      if (failure !== undefined) expect(failure, `${code} ${nth}`).toBeInstanceOf(UserMistake);
      await bench.idle();
      const there = readFileSync(sidecarOn(bench), "utf8");
      expect(there === xmp(2) || /Rating>5<|Rating="5"/.test(there), `${code} ${nth}: ${there}`).toBe(true);
      await bench.engine.stop();
    }
}, 240_000);

test("a drive that is pulled in the middle has its earlier version back when it comes again", async () => {
  let bench: Bench | undefined;
  let armed = false;
  const wrap = withFaults(
    once(
      (operation, path) => armed && onBlue(operation, path) && path.endsWith(`${frameName}.xmp`),
      () => bench?.takeOut("Blue"),
    ),
  );
  bench = await ratingBench(wrap);
  writeFileSync(sidecarOn(bench), xmp(2));
  await facts(bench);
  armed = true;
  const said = await mistake(rate(bench, 5));
  expect(said.message).toMatch(/sidecar/);
  expect(existsSync(join(bench.aside, "Blue/Kestrel Cliffs/2027-06-05", `${frameName}.xmp`))).toBe(false);
  await bench.idle();
  expect(bench.engine.ports.ledger.frames.ratingIntents(bluesId(bench))).toHaveLength(1);
  bench.plugIn("Blue");
  await bench.idle();
  expect(readFileSync(sidecarOn(bench), "utf8")).toBe(xmp(2));
  expect(bench.engine.ports.ledger.frames.ratingIntents(bluesId(bench))).toEqual([]);
});

test("a card's own sidecar is read and never written; the rating stands beside it", async () => {
  const bench = await ratingBench(undefined, { "DCIM/100ABCDE/ABCD0001.XMP": xmp(3, "camera") });
  const theirs = readdirSync(folderOn(bench)).find(
    (name) => name.toLowerCase() === `${frameName}.xmp`.toLowerCase(),
  );
  expect(theirs).toBeDefined();
  expect(await facts(bench)).toMatchObject({ rating: 3, stamp: "", sidecar: null });
  const rated = await rate(bench, 5);
  expect(rated.sidecar.path).toBe(`2027-06-05/${frameName}.PNG.xmp`);
  expect(readFileSync(sidecarOn(bench, theirs), "utf8")).toBe(xmp(3, "camera"));
  expect(await facts(bench)).toMatchObject({ rating: 5 });
});

test("where only the appended form stands, that one is read and written, whatever its case", async () => {
  const bench = await ratingBench();
  writeFileSync(sidecarOn(bench, `${frameName}.PNG.XMP`), xmp(2));
  expect(await facts(bench)).toMatchObject({ rating: 2 });
  expect((await rate(bench, 4)).sidecar.path).toBe(`2027-06-05/${frameName}.PNG.XMP`);
  expect(readdirSync(folderOn(bench)).sort()).toEqual([`${frameName}.PNG`, `${frameName}.PNG.XMP`]);
});

test("raw and JPEG of one frame share one sidecar", async () => {
  const bench = await ratingBench(undefined, { "DCIM/100ABCDE/ABCD0001.JPG": "jpeg 1" });
  expect(await framesOf(bench)).toHaveLength(1);
  expect((await rate(bench, 2)).sidecar.path).toBe(`2027-06-05/${frameName}.xmp`);
});

test("sidecars that changed are seen, those that went are too, and away they are as last seen", async () => {
  const bench = await ratingBench();
  // A page waits a moment for sidecars that changed and goes on without them.
  const shows = (rating: number) =>
    vi.waitFor(async () => expect((await framesOf(bench))[0]).toMatchObject({ rating }), 10_000);
  writeFileSync(sidecarOn(bench), xmp(2));
  await shows(2);
  writeFileSync(sidecarOn(bench), xmp(4));
  utimesSync(sidecarOn(bench), 1_811_000_000, 1_811_000_000);
  await shows(4);
  bench.takeOut("Blue");
  await bench.idle();
  expect((await framesOf(bench))[0]).toMatchObject({ rating: 4, picture: "ready" });
  const away = await facts(bench);
  expect(away).toMatchObject({ rating: 4 });
  expect(away.notRatable).toContain("Plug it in");
  expect((await mistake(rate(bench, 1, away.stamp))).message).toContain("Blue");
  bench.plugIn("Blue");
  await bench.idle();
  rmSync(sidecarOn(bench));
  expect((await framesOf(bench))[0]).toMatchObject({ rating: null });
});

test("a sidecar that can't be read as XMP, a link, or a folder of its name are left as they are", async () => {
  const bench = await ratingBench();
  writeFileSync(sidecarOn(bench), "notes of mine");
  expect(await facts(bench)).toMatchObject({ rating: null });
  expect((await mistake(rate(bench, 1))).message).toContain("left as it is");
  expect(readFileSync(sidecarOn(bench), "utf8")).toBe("notes of mine");
  rmSync(sidecarOn(bench));
  writeFileSync(join(bench.folder, "elsewhere.xmp"), xmp(2));
  symlinkSync(join(bench.folder, "elsewhere.xmp"), sidecarOn(bench));
  await mistake(rate(bench, 1));
  expect(readFileSync(join(bench.folder, "elsewhere.xmp"), "utf8")).toBe(xmp(2));
  rmSync(sidecarOn(bench));
  mkdirSync(sidecarOn(bench));
  await mistake(rate(bench, 1));
  expect(readdirSync(folderOn(bench)).sort()).toEqual([`${frameName}.PNG`, `${frameName}.xmp`]);
});

test("nothing is written through a folder that became a link", async () => {
  const bench = await ratingBench();
  const { stamp } = await facts(bench);
  const elsewhere = join(bench.folder, "elsewhere");
  renameSync(folderOn(bench), elsewhere);
  symlinkSync(elsewhere, folderOn(bench));
  await mistake(rate(bench, 1, stamp));
  expect(readdirSync(elsewhere)).toEqual([`${frameName}.PNG`]);
});

test("many ratings at once are written one after the other, and each is refused or stands", async () => {
  const bench = await ratingBench();
  const { id, stamp } = await facts(bench);
  const face = framesFace(bench.engine);
  const answers = await Promise.allSettled([1, 2, 3, 4, 5].map((rating) => face.rate(id, rating, stamp)));
  expect(answers.filter(({ status }) => status === "fulfilled")).toHaveLength(1);
  expect(await facts(bench)).toMatchObject({ rating: 1 });
});

test("a rating is refused while its drive is being ejected, and an ejection waits for a rating", async () => {
  const bench = await ratingBench();
  const { stamp } = await facts(bench);
  const rating = rate(bench, 3, stamp);
  const ejected = bench.engine.eject("Blue").catch((error: unknown) => error);
  await rating.catch((error: unknown) => expect(error).toBeInstanceOf(UserMistake));
  await ejected;
  const kept = [join(bench.practice, "Blue"), join(bench.aside, "Blue")].find((root) => existsSync(root));
  const incoming = join(kept ?? "", ".scrubjay/incoming");
  expect(existsSync(incoming) ? readdirSync(incoming) : []).toEqual([]);
});

test("what the ledger intended and the power kept from the drive is undone at the next start", async () => {
  const power = new Power();
  const bench = await ratingBench(power.wrap);
  writeFileSync(sidecarOn(bench), xmp(2));
  const { stamp } = await facts(bench);
  power.goesAt = /flushFolder .*\/earlier\//;
  await rate(bench, 5, stamp).catch(() => undefined);
  expect(existsSync(sidecarOn(bench))).toBe(false);
  await bench.restart();
  await bench.idle();
  expect(readFileSync(sidecarOn(bench), "utf8")).toBe(xmp(2));
});
