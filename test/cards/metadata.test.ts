/**
 * Reading what cameras wrote. The story: whatever a card holds, the answer is this file's own words or none; the
 * zone of the computer never enters; no name and no damage makes it ask for something else, hang or fail.
 *
 * Debian's exiftool (a build of its own, of another version) is the second opinion. Real headers of many makers are
 * tried where the folder named in SCRUBJAY_SAMPLES, or `../shared/samples` beside the checkout, exists.
 */

import { spawnSync } from "node:child_process";
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { afterAll, beforeAll, expect, test, vi } from "vitest";
import { ExiftoolMetadata } from "../../daemon/platform/common/exiftoolMetadata.ts";
import type { CameraFacts } from "../../shared/camera.ts";
import { absolutePath } from "../../shared/identity.ts";
import { count, millis } from "../../shared/units.ts";
import { type CardFile, generateCard, tinyCard } from "./generate/card.ts";
import type { ShotFacts } from "./generate/exif.ts";
import { cameraJpeg, encodeJpeg } from "./generate/jpeg.ts";

const samples = process.env["SCRUBJAY_SAMPLES"] ?? resolve(import.meta.dirname, "../../../shared/samples");
const secondOpinion = "/usr/bin/exiftool";
const hasSecondOpinion = existsSync(secondOpinion);

// Painting pictures and another process take their time on a busy machine. ms
vi.setConfig({ testTimeout: 60_000, hookTimeout: 60_000 });

let place: string;
let files: readonly CardFile[];
let reader: ExiftoolMetadata;
const zoneBefore = process.env["TZ"];

beforeAll(() => {
  // As far from UTC as zones go: any leak of the computer's zone shows.
  process.env["TZ"] = "Pacific/Kiritimati";
  place = mkdtempSync(join(tmpdir(), "scrubjay-metadata-"));
  files = generateCard(join(place, "card"), tinyCard);
  reader = new ExiftoolMetadata({ processes: count(2), timeout: millis(20_000), launcher: [] });
});
afterAll(async () => {
  await reader.close();
  rmSync(place, { recursive: true });
  if (zoneBefore === undefined) delete process.env["TZ"];
  else process.env["TZ"] = zoneBefore;
});

const read = (paths: readonly string[]): Promise<readonly (CameraFacts | undefined)[]> =>
  reader.read(paths.map(absolutePath));
const readOne = async (path: string): Promise<CameraFacts | undefined> => (await read([path]))[0];
const ending = (extension: string): CardFile[] => files.filter((file) => file.path.endsWith(extension));
const onCard = (file: CardFile): string => join(place, "card", file.path);

const shot: ShotFacts = {
  make: "Aldine",
  model: "Aldine R2",
  serial: "0012.50",
  orientation: 1,
  dateTime: "2027:06:03 21:00:00",
  subSec: "05",
  uniqueId: "0".repeat(32),
  width: 8,
  height: 8,
  iso: 100,
  shutter: 100,
};
const grey = encodeJpeg({ width: 8, height: 8, data: new Uint8Array(256).fill(128) }, 80);
const jpegSaying = (part: Partial<ShotFacts>): Buffer => cameraJpeg(grey, grey, { ...shot, ...part });

function put(name: string, content: Uint8Array): string {
  mkdirSync(join(place, "made"), { recursive: true });
  const path = join(place, "made", name);
  writeFileSync(path, content);
  return path;
}

test("raw and JPEG say body and moment by the body's own clock", async () => {
  const pairs = [...ending(".DNG"), ...ending(".JPG")];
  const facts = await read(pairs.map(onCard));
  // The R2 runs 3:20 slow in UTC+1, the M1 shows UTC+2.
  const clocks: Record<string, number> = { "4410072": 3600_000 - 200_000, "4410913": 7200_000 };
  pairs.forEach((file, index) => {
    const serial = file.taken?.serial ?? "";
    const wall = new Date((file.taken?.instant ?? 0) + (clocks[serial] ?? 0)).toISOString();
    expect(facts[index], file.path).toEqual({
      make: "Aldine",
      model: serial === "4410072" ? "Aldine R2" : "Aldine M1",
      serial,
      dateTimeOriginal: `${wall.slice(0, 10).replaceAll("-", ":")} ${wall.slice(11, 19)}`,
      subSecOriginal: wall.slice(20, 22),
    });
  });
});

test("a film's header time is UTC, whatever the computer's zone", async () => {
  // ISO/IEC 14496-12, 8.2.2: seconds since 1904 in UTC. It was taken at 02:25 in UTC+1.
  const facts = await read(ending(".MOV").map(onCard));
  expect(facts).toEqual([{ make: "Aldine", model: "Aldine M1", mediaCreateDate: "2027:06:04 01:25:00" }]);
});

test("texts stay as they were written: fractions, zeros, blanks and nonsense", async () => {
  const says = async (part: Partial<ShotFacts>): Promise<CameraFacts | undefined> =>
    readOne(put("says.jpg", jpegSaying(part)));
  expect(await says({})).toEqual({
    make: "Aldine",
    model: "Aldine R2",
    serial: "0012.50",
    dateTimeOriginal: "2027:06:03 21:00:00",
    // Exif 2.32: a decimal fraction, so the zero in front counts.
    subSecOriginal: "05",
  });
  expect((await says({ offset: "+02:00" }))?.offsetOriginal).toBe("+02:00");
  // Exif 2.2: blanks in place of digits mean unknown. The others occur in real files.
  for (const dateTime of [
    "    :  :     :  :  ",
    "0000:00:00 00:00:00",
    "2027:02:31 21:00:00",
    "Sunday, 11am",
  ]) {
    expect((await says({ dateTime }))?.dateTimeOriginal?.trimEnd()).toBe(dateTime.trimEnd());
  }
  expect((await says({ dateTime: " ".repeat(19) }))?.dateTimeOriginal).toBeUndefined();
});

test("names that could be options, arguments or commands are read as names or not at all", async () => {
  const names = [
    ...[
      "-ver.jpg",
      "-execute",
      "#comment.jpg",
      "#[CSTR]x.jpg",
      "@args",
      " lead.jpg",
      "trail.jpg ",
      "$HOME.jpg",
      "*.jpg",
    ],
    ...[
      "'quote\".jpg",
      "Fjällräven ☃.jpg",
      "é.jpg",
      "a;touch evil;.jpg",
      "`touch evil`",
      "touch evil|",
      "|touch evil",
    ],
    ...[
      "new\nline.jpg",
      "-a\n-execute\n",
      "ret\rurn.jpg",
      "tab\t.jpg",
      "bell\u0007.jpg",
      "{ready}.jpg",
      "%f.jpg",
    ],
  ];
  const paths = names.map((name, index) => put(name, jpegSaying({ serial: `N${index}` })));
  const facts = await read(paths);
  names.forEach((name, index) => {
    const unanswered = /[\n\r\t\u0007]/.test(name);
    expect(facts[index]?.serial, JSON.stringify(name)).toBe(unanswered ? undefined : `N${index}`);
  });
  // The word that ends an answer, as a file's own word: its neighbours keep theirs.
  const ready = "{ready}\n{ready}";
  const [odd, ...others] = await read([put("odd.jpg", jpegSaying({ model: ready })), ...paths.slice(0, 4)]);
  expect(odd?.model).toBe(ready);
  expect(others.map((each) => each?.serial)).toEqual(["N0", "N1", "N2", "N3"]);
  expect(readdirSync(join(place, "made")).filter((name) => name === "evil")).toEqual([]);
  expect(existsSync("evil")).toBe(false);
});

test("a name that isn't UTF-8 is never taken for its neighbour", async () => {
  // Such a byte arrives as a lone surrogate and would be sent as U+FFFD: here that file exists.
  put("bad\ufffd.jpg", jpegSaying({ serial: "neighbour" }));
  expect(await readOne(join(place, "made", "bad\udcff.jpg"))).toBeUndefined();
});

test("what isn't a picture has no facts, and its neighbours keep theirs", async () => {
  symlinkSync(join(place, "nowhere"), join(place, "dangling.jpg"));
  const good = ending(".DNG").slice(0, 1).map(onCard);
  const [folder, gone, empty, notes, link, relative, picture] = await read([
    join(place, "card", "DCIM", "100ALDIN"),
    join(place, "gone.jpg"),
    put("empty.jpg", new Uint8Array(0)),
    put("notes.txt", Buffer.from("nothing of a camera\n")),
    join(place, "dangling.jpg"),
    "card/DCIM/100ALDIN/ALD_0421.DNG",
    ...good,
  ]);
  expect([folder, gone, empty, notes, link, relative]).toEqual(Array.from({ length: 6 }, () => undefined));
  expect(picture?.model).toBe("Aldine R2");
});

test("a file cut anywhere says what it can or nothing, and nothing false", async () => {
  // Cuts at every sixteenth: truncation as in T.81, TIFF 6.0, 14496-12 and RIFF.
  const whole = [".DNG", ".JPG", ".MOV", ".WAV"].flatMap((extension) => ending(extension).slice(0, 1));
  for (const file of whole) {
    const content = readFileSync(onCard(file));
    const cuts = Array.from({ length: 16 }, (_, n) =>
      put(`cut${n}${file.path.slice(-4)}`, content.subarray(0, Math.floor((content.length * n) / 16))),
    );
    const [full, ...parts] = await read([onCard(file), ...cuts]);
    expect(parts).toHaveLength(16);
    for (const part of parts) expect({ ...full, ...part }).toEqual(full ?? {});
  }
});

test.skipIf(process.platform === "win32")(
  "a file that never answers costs only itself (needs mkfifo)",
  async () => {
    const pipe = join(place, "pipe.jpg");
    expect(spawnSync("mkfifo", [pipe]).status).toBe(0);
    const impatient = new ExiftoolMetadata({ processes: count(1), timeout: millis(2_000), launcher: [] });
    const good = ending(".JPG").map(onCard);
    const facts = await impatient.read([pipe, ...good].map(absolutePath));
    await impatient.close();
    expect(facts[0]).toBeUndefined();
    expect(facts.slice(1).map((each) => each?.make)).toEqual(good.map(() => "Aldine"));
  },
);

test.skipIf(process.platform !== "linux")(
  "closing ends its processes and answers nothing more (needs /proc)",
  async () => {
    const mine = (): string[] =>
      readdirSync("/proc").filter((id) => {
        if (!/^\d+$/.test(id)) return false;
        try {
          const [, parent] = /\) \S (\d+)/.exec(readFileSync(`/proc/${id}/stat`, "latin1")) ?? [];
          return (
            parent === String(process.pid) &&
            readFileSync(`/proc/${id}/cmdline`, "latin1").includes("-stay_open")
          );
        } catch {
          return false; // It ended while we looked.
        }
      });
    const before = new Set(mine());
    const other = new ExiftoolMetadata({ processes: count(2), timeout: millis(20_000), launcher: [] });
    const paths = ending(".DNG").map(onCard).map(absolutePath);
    await other.read(paths);
    expect(mine().filter((id) => !before.has(id)).length).toBeGreaterThan(0);
    await other.close();
    expect(mine().filter((id) => !before.has(id))).toEqual([]);
    expect(await other.read(paths)).toEqual(paths.map(() => undefined));
  },
);

test.skipIf(!hasSecondOpinion)(
  "another build of exiftool sees the same (needs /usr/bin/exiftool)",
  async () => {
    const paths = files.filter((file) => file.taken).map(onCard);
    await expectSameAsSecondOpinion(paths);
  },
);

test.skipIf(!hasSecondOpinion || !existsSync(samples))(
  "another build of exiftool sees the same in real headers (needs /usr/bin/exiftool and the samples)",
  async () => {
    const paths = readdirSync(samples).map((name) => join(samples, name));
    expect(paths.length).toBeGreaterThan(10);
    await expectSameAsSecondOpinion(paths);
  },
);

test.skipIf(!existsSync(samples))(
  "serials of real bodies are those on the body (needs the samples)",
  async () => {
    const serial = async (name: string): Promise<string | undefined> =>
      (await readOne(join(samples, name)))?.serial;
    // As ExifTool's own test suite has them for these files.
    expect(await serial("jpeg-02.jpg")).toBe("0560018150");
    expect(await serial("raw-01.nef")).toBe("12345678");
    expect(await serial("raw-03.cr3")).toBe("613040000565");
    expect(await serial("video-02.avi")).toBe("3430417");
    // AVCHD carries the offset behind the time.
    const avchd = await readOne(join(samples, "video-03.mts"));
    expect([avchd?.dateTimeOriginal, avchd?.offsetOriginal]).toEqual(["2008:12:31 23:16:24", "+01:00"]);
  },
);

/** Times, model and header time as the other build prints them. */
async function expectSameAsSecondOpinion(paths: readonly string[]): Promise<void> {
  const facts = await read(paths);
  const asked = ["-DateTimeOriginal", "-SubSecTimeOriginal", "-Model", "-QuickTime:CreateDate"];
  const other = spawnSync(secondOpinion, ["-json", ...asked, ...paths], {
    encoding: "utf8",
    env: { TZ: "UTC", LANG: "C.UTF-8" },
  });
  const answers: Record<string, unknown>[] = JSON.parse(other.stdout);
  for (const [index, path] of paths.entries()) {
    const answer = answers.find((each) => each["SourceFile"] === path) ?? {};
    const said = (tag: string): string | undefined =>
      answer[tag] === undefined ? undefined : String(answer[tag]).trim();
    const seen = facts[index];
    const shown = [seen?.dateTimeOriginal, seen?.subSecOriginal, seen?.model, seen?.mediaCreateDate];
    expect(shown, path).toEqual([
      said("DateTimeOriginal")?.slice(0, 19),
      said("SubSecTimeOriginal"),
      said("Model"),
      said("CreateDate")?.slice(0, 19),
    ]);
  }
}
