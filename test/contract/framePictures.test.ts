/**
 * Pictures of frames out of real files, by the real reader and the real decoding process (as built): upright whatever
 * the camera wrote, from raws by what is embedded in them; and files made to do harm cost nothing but their own picture.
 */

import { execFileSync } from "node:child_process";
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
import { deflateSync } from "node:zlib";
import sharp from "sharp";
import { afterAll, beforeAll, expect, test, vi } from "vitest";
import {
  FramePictures,
  type FramePicturesOptions,
  toTry,
} from "../../daemon/platform/common/framePictures.ts";
import { PictureChild } from "../../daemon/platform/common/pictureChild.ts";
import type { PictureRequest } from "../../daemon/platform/common/pictureWorker.ts";
import type { PictureSize } from "../../daemon/ports/pictures.ts";
import { absolutePath } from "../../shared/identity.ts";
import { bytes, count, millis } from "../../shared/units.ts";
import { generateCard, tinyCard } from "../cards/generate/card.ts";

const worker = resolve(import.meta.dirname, "../../dist/daemon/platform/common/pictureWorker.js");
const samples = process.env["SCRUBJAY_SAMPLES"] ?? resolve(import.meta.dirname, "../../../shared/samples");

const secondOpinion = "/usr/bin/exiftool";

// Two processes are started on a busy machine. ms
vi.setConfig({ testTimeout: 60_000, hookTimeout: 60_000 });

let place: string;
let pictures: FramePictures;
const embeddedFolder = (): string => join(place, "own", "embedded");

const makerWith = (others: Partial<FramePicturesOptions> = {}): FramePictures =>
  new FramePictures({
    processes: count(1),
    timeout: millis(20_000),
    launcher: [],
    worker,
    folder: embeddedFolder(),
    sides: { sheet: 320, large: 2048 },
    bytesMax: bytes(96_000_000),
    pixelsMax: 160_000_000,
    ...others,
  });
beforeAll(() => {
  place = mkdtempSync(join(tmpdir(), "scrubjay-pictures-"));
  pictures = makerWith();
});
afterAll(async () => {
  await pictures.close();
  rmSync(place, { recursive: true });
});

const never = new AbortController().signal;
const make = (names: readonly string[], size: PictureSize = "sheet") =>
  pictures.make(
    names.map((name) => absolutePath(resolve(place, name))),
    size,
    never,
  );

async function made(names: readonly string[], size: PictureSize = "sheet") {
  const answer = await make(names, size);
  if (!answer.made) throw new Error(answer.why);
  return { jpeg: answer.jpeg, facts: await sharp(answer.jpeg).metadata() };
}

const script = (name: string, text: string): string => {
  writeFileSync(join(place, name), text);
  return join(place, name);
};

const asked = (name: string, others: Partial<PictureRequest> = {}): PictureRequest => ({
  path: Buffer.from(join(place, name)),
  bytesMax: 96_000_000,
  side: 320,
  orientation: 1,
  pixelsMax: 1_000_000,
  ...others,
});

type Corner = "red" | "green" | "blue" | "white";

/** Red and green above, blue and white below. */
function quarters(width: number, height: number): Buffer {
  const data = Buffer.alloc(width * height * 3);
  for (let y = 0; y < height; y += 1)
    for (let x = 0; x < width; x += 1) {
      const left = x < width / 2;
      const top = y < height / 2;
      const colour = top ? (left ? [255, 0, 0] : [0, 255, 0]) : left ? [0, 0, 255] : [255, 255, 255];
      data.set(colour, (y * width + x) * 3);
    }
  return data;
}

async function corners(jpeg: Uint8Array): Promise<readonly Corner[]> {
  const { data, info } = await sharp(jpeg).raw().toBuffer({ resolveWithObject: true });
  const at = (x: number, y: number): Corner => {
    const [r = 0, g = 0, b = 0] = data.subarray((y * info.width + x) * 3);
    if (r > 200 && g > 200 && b > 200) return "white";
    return r > 200 ? "red" : g > 200 ? "green" : "blue";
  };
  const [right, bottom] = [info.width - 4, info.height - 4];
  return [at(3, 3), at(right, 3), at(3, bottom), at(right, bottom)];
}

/** Exif 2.32, tag 274: where the stored picture's row 0 and column 0 are seen. */
const seen: readonly (readonly [string, string])[] = [
  ["top", "left"],
  ["top", "right"],
  ["bottom", "right"],
  ["bottom", "left"],
  ["left", "top"],
  ["right", "top"],
  ["right", "bottom"],
  ["left", "bottom"],
];
const opposite: Readonly<Record<string, string>> = {
  top: "bottom",
  bottom: "top",
  left: "right",
  right: "left",
};

for (const [nth, [row0, column0]] of seen.entries()) {
  test(`orientation ${nth + 1} of the file comes upright, in small and without metadata`, async () => {
    const [width, height] = [640, 480];
    const raw = { width, height, channels: 3 as const };
    const name = `orientation-${nth + 1}.jpg`;
    const jpeg = await sharp(quarters(width, height), { raw })
      .jpeg()
      .withMetadata({ orientation: nth + 1 })
      .toBuffer();
    writeFileSync(join(place, name), jpeg);
    const { jpeg: small, facts } = await made([name]);
    // What is stored at a row and a column is seen at the corner of the two sides.
    const stored: readonly (readonly [Corner, string, string])[] = [
      ["red", row0, column0],
      ["green", row0, opposite[column0] ?? ""],
      ["blue", opposite[row0] ?? "", column0],
      ["white", opposite[row0] ?? "", opposite[column0] ?? ""],
    ];
    const expected = (["top left", "top right", "bottom left", "bottom right"] as const).map((corner) => {
      const sides = corner.split(" ");
      return stored.find(([, a, b]) => sides.includes(a) && sides.includes(b))?.[0];
    });
    expect(await corners(small)).toEqual(expected);
    const turned = nth + 1 >= 5;
    expect([facts.width, facts.height]).toEqual(turned ? [240, 320] : [320, 240]);
    expect(facts).toMatchObject({ format: "jpeg", space: "srgb" });
    // Nothing of the original's metadata goes along.
    expect([facts.exif, facts.icc, facts.xmp, facts.orientation]).toEqual([
      undefined,
      undefined,
      undefined,
      undefined,
    ]);
  });
}

test.skipIf(!existsSync(secondOpinion))(
  "an embedded preview is turned as the file around it says",
  async () => {
    const preview = await sharp(quarters(400, 300), { raw: { width: 400, height: 300, channels: 3 } })
      .jpeg()
      .toBuffer();
    // A comment (ITU-T T.81, B.2.4.5) makes it larger than a thumbnail; of itself it says nothing of being turned.
    const comment = Buffer.alloc(16_000, 0x20);
    comment.set([0xff, 0xfe], 0);
    comment.writeUInt16BE(comment.length - 2, 2);
    const padded = Buffer.concat([preview.subarray(0, 2), comment, preview.subarray(2)]);
    writeFileSync(join(place, "preview.jpg"), padded);
    // The picture itself is of one colour, so that it can be told which of both was taken.
    const plain = await sharp({ create: { width: 1200, height: 900, channels: 3, background: "#0000ff" } })
      .jpeg({ quality: 100 })
      .toBuffer();
    writeFileSync(join(place, "turned.jpg"), Buffer.concat([plain, Buffer.alloc(50_000)]));
    execFileSync(secondOpinion, [
      ...["-q", "-overwrite_original", "-n", "-IFD0:Orientation=6"],
      ...[`-ThumbnailImage<=${join(place, "preview.jpg")}`, join(place, "turned.jpg")],
    ]);
    const { jpeg, facts } = await made(["turned.jpg"]);
    expect([facts.width, facts.height]).toEqual([240, 320]);
    // Row 0 is seen at the right, column 0 at the top: a quarter clockwise.
    expect(await corners(jpeg)).toEqual(["blue", "red", "white", "green"]);
  },
);

test("raws give their embedded picture, and a raw with only an uncompressed one gives that", async () => {
  const files = generateCard(join(place, "card"), tinyCard);
  const raws = files.filter(({ path }) => /\.(DNG|NEF|RAW)$/i.test(path)).slice(0, 2);
  expect(raws.length).toBeGreaterThan(0);
  for (const raw of raws) {
    const { facts } = await made([join(place, "card", raw.path)]);
    expect(Math.max(facts.width, facts.height), raw.path).toBeGreaterThan(100);
  }
});

test("the large picture comes from whichever of the frame's files has the largest, the small from the first", async () => {
  const raw = { width: 400, height: 300, channels: 3 as const };
  const small = sharp(quarters(400, 300), { raw });
  writeFileSync(join(place, "small.png"), await small.png().toBuffer());
  const large = await sharp(quarters(3000, 2000), { raw: { width: 3000, height: 2000, channels: 3 } })
    .jpeg()
    .toBuffer();
  writeFileSync(join(place, "large.jpg"), large);
  const { facts } = await made(["small.png", "large.jpg"], "large");
  expect([facts.width, facts.height]).toEqual([2048, 1365]);
  const sheet = await made(["small.png", "large.jpg"]);
  expect([sheet.facts.width, sheet.facts.height]).toEqual([320, 240]);
});

/** A PNG (ISO/IEC 15948) of a single colour that is small and says it is huge. */
function hugePng(side: number, compressed: Buffer): Buffer {
  const crcOf = (part: Buffer): number => {
    let crc = 0xffffffff;
    for (const byte of part) {
      crc ^= byte;
      for (let bit = 0; bit < 8; bit += 1) crc = (crc >>> 1) ^ (crc & 1 ? 0xedb88320 : 0);
    }
    return (crc ^ 0xffffffff) >>> 0;
  };
  const chunk = (type: string, data: Buffer): Buffer => {
    const body = Buffer.concat([Buffer.from(type), data]);
    const ends = Buffer.alloc(8);
    ends.writeUInt32BE(data.length, 0);
    ends.writeUInt32BE(crcOf(body), 4);
    return Buffer.concat([ends.subarray(0, 4), body, ends.subarray(4)]);
  };
  const head = Buffer.alloc(13);
  head.writeUInt32BE(side, 0);
  head.writeUInt32BE(side, 4);
  head.set([8, 2, 0, 0, 0], 8);
  const signature = Buffer.from("89504e470d0a1a0a", "hex");
  return Buffer.concat([
    signature,
    chunk("IHDR", head),
    chunk("IDAT", compressed),
    chunk("IEND", Buffer.alloc(0)),
  ]);
}

test("hostile files have no picture, say why, and the next file has one all the same", async () => {
  const good = await sharp(quarters(640, 480), { raw: { width: 640, height: 480, channels: 3 } })
    .jpeg()
    .toBuffer();
  const sizes = Buffer.from(good);
  // SOF0 (ITU-T T.81, B.2.2): height and width at their greatest.
  const frame = sizes.indexOf(Buffer.from("ffc0", "hex"));
  sizes.writeUInt16BE(65_500, frame + 5);
  sizes.writeUInt16BE(65_500, frame + 7);
  const hostile: Readonly<Record<string, Buffer>> = {
    "nothing.jpg": Buffer.alloc(0),
    "head.jpg": good.subarray(0, 20),
    "sizes.jpg": sizes,
    "bomb.png": hugePng(100_000, deflateSync(Buffer.alloc(200_000_000))),
    "drawing.jpg": Buffer.from('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"></svg>'),
    "text.NEF": Buffer.from("no picture at all"),
    "zeros.NEF": Buffer.alloc(100_000),
  };
  for (const [name, content] of Object.entries(hostile)) {
    writeFileSync(join(place, name), content);
    const answer = await make([name]);
    expect(answer.made, name).toBe(false);
    if (!answer.made) expect(answer.why, name).not.toBe("");
  }
  execFileSync("mkfifo", [join(place, "pipe.jpg")]);
  expect((await make(["pipe.jpg", "missing.jpg"])).made).toBe(false);
  writeFileSync(join(place, "good.jpg"), good);
  expect((await make(["bomb.png", "sizes.jpg", "good.jpg"])).made).toBe(true);
});

test("what is left of a picture that is cut short is shown", async () => {
  const whole = await sharp(quarters(640, 480), { raw: { width: 640, height: 480, channels: 3 } })
    .jpeg()
    .toBuffer();
  writeFileSync(join(place, "cut.jpg"), whole.subarray(0, Math.floor(whole.length * 0.6)));
  expect((await corners((await made(["cut.jpg"])).jpeg)).slice(0, 2)).toEqual(["red", "green"]);
});

test("a decoding process that dies or hangs costs one answer, and the next one has another process", async () => {
  const good = await sharp(quarters(64, 48), { raw: { width: 64, height: 48, channels: 3 } })
    .jpeg()
    .toBuffer();
  writeFileSync(join(place, "small.jpg"), good);
  const request = asked("small.jpg", { side: 32 });
  const limit = millis(20_000);
  const dying = new PictureChild({
    worker: script("dying.mjs", 'process.on("message", () => process.kill(process.pid, "SIGSEGV"));'),
    timeout: millis(20_000),
  });
  expect(await dying.decode(request, limit, never)).toMatchObject({ decoded: false });
  expect(await dying.decode(request, limit, never)).toMatchObject({ decoded: false });
  await dying.close();
  const hanging = new PictureChild({
    worker: script("hanging.mjs", 'process.on("message", () => { for (;;); });'),
    timeout: millis(300),
  });
  expect(await hanging.decode(request, limit, never)).toMatchObject({
    decoded: false,
    why: expect.stringContaining("long"),
  });
  await hanging.close();
  const real = new PictureChild({ worker, timeout: millis(20_000) });
  expect(await real.decode(request, limit, never)).toMatchObject({ decoded: true, side: 64 });
  expect(await real.decode({ ...request, bytesMax: good.length - 1 }, limit, never)).toMatchObject({
    decoded: false,
  });
  expect(await real.decode(request, limit, never)).toMatchObject({ decoded: true });
  await real.close();
});

test("the decoding process ends with the daemon, also when that is killed", async () => {
  const parent = join(place, "parent.mjs");
  writeFileSync(
    parent,
    `import { fork } from "node:child_process";
     const child = fork(${JSON.stringify(worker)}, [], { serialization: "advanced" });
     process.stdout.write(String(child.pid));
     setTimeout(() => process.kill(process.pid, "SIGKILL"), 1500);`,
  );
  let told = "";
  try {
    execFileSync(process.execPath, [parent], { encoding: "utf8", stdio: ["ignore", "pipe", "ignore"] });
  } catch (error) {
    told = String((error as { stdout?: unknown }).stdout);
  }
  const pid = Number(told);
  expect(pid).toBeGreaterThan(0);
  await vi.waitFor(() => expect(() => process.kill(pid, 0)).toThrow(), { timeout: 10_000 });
});

test.skipIf(!existsSync(samples))(
  "headers of real cameras give a picture or none, and never an error",
  async () => {
    const names = readdirSync(samples).filter((name) => !/\.(md|wav)$/i.test(name));
    expect(names.length).toBeGreaterThan(0);
    let some = 0;
    for (const name of names) {
      const answer = await make([join(samples, name)]);
      if (!answer.made) continue;
      some += 1;
      const { width, height } = await sharp(answer.jpeg).metadata();
      expect(Math.max(width, height), name).toBeLessThanOrEqual(320);
      expect(readFileSync(join(samples, name)).length).toBeGreaterThan(0);
    }
    expect(some).toBeGreaterThan(0);
  },
);

test("how a frame was exposed is told in words", async () => {
  const card = join(place, "exposed");
  const [raw] = generateCard(card, tinyCard).filter(({ path }) => /\.JPG$/i.test(path));
  const facts = await pictures.exposure(absolutePath(join(card, raw?.path ?? "")));
  expect(facts.map(({ name }) => name)).toContain("Size");
  expect(await pictures.exposure(absolutePath(join(place, "text.NEF")))).toEqual([]);
});

test("of hundreds of pictures in one file a few are tried, those that will do first: others wait for theirs", () => {
  const chain = Array.from({ length: 299 }, (_, nth) => ({
    tag: `IFD${nth}:PreviewImage`,
    bytes: 20_000 + nth,
  }));
  expect(toTry(chain, "sheet").map(({ bytes: size }) => size)).toEqual([20_000, 20_001, 20_002, 20_003]);
  expect(toTry(chain, "large").map(({ bytes: size }) => size)).toEqual([20_298, 20_297, 20_296, 20_295]);
  const usual = [
    { tag: "IFD1:ThumbnailImage", bytes: 9_000 },
    { tag: "SubIFD:PreviewImage", bytes: 120_000 },
    { tag: "SubIFD1:JpgFromRaw", bytes: 4_000_000 },
  ];
  expect(toTry(usual, "sheet").map(({ tag }) => tag)).toEqual([
    "SubIFD:PreviewImage",
    "SubIFD1:JpgFromRaw",
    "IFD1:ThumbnailImage",
  ]);
});

/** A TIFF (6.0, section 2) whose directories all say that this is their picture (tags 513 and 514). */
function manyOf(picture: Buffer, directories: number): Buffer {
  const each = 2 + 4 * 12 + 4;
  const at = 8 + directories * each;
  const head = Buffer.alloc(at);
  head.write("II*\0\x08\0\0\0", "latin1");
  for (let nth = 0; nth < directories; nth += 1) {
    const from = 8 + nth * each;
    head.writeUInt16LE(4, from);
    const entries = [
      [254, 1],
      [259, 6],
      [513, at],
      [514, picture.length],
    ] as const;
    for (const [entry, [tag, value]] of entries.entries()) {
      const start = from + 2 + entry * 12;
      head.writeUInt16LE(tag, start);
      head.writeUInt16LE(4, start + 2);
      head.writeUInt32LE(1, start + 4);
      head.writeUInt32LE(value, start + 8);
    }
    head.writeUInt32LE(nth + 1 < directories ? from + each : 0, from + each - 4);
  }
  return Buffer.concat([head, picture]);
}

/** A decoding process that writes down each request's size on the channel, its file's mode and content's length. */
const noting = (name: string, then: string): string =>
  script(
    `${name}.mjs`,
    `import { appendFileSync, statSync } from "node:fs";
     import { serialize } from "node:v8";
     process.on("message", (request) => {
       const facts = statSync(Buffer.from(request.path));
       const line = { sent: serialize(request).length, mode: facts.mode & 0o777, size: facts.size, pid: process.pid };
       appendFileSync(${JSON.stringify(join(place, `${name}.log`))}, JSON.stringify(line) + "\\n");
       ${then}
     });`,
  );
interface Noted {
  readonly sent: number;
  readonly mode: number;
  readonly size: number;
  readonly pid: number;
}
const notedBy = (name: string): readonly Noted[] => {
  const file = join(place, `${name}.log`);
  if (!existsSync(file)) return [];
  const lines = readFileSync(file, "utf8").trim().split("\n");
  return lines.map((line) => JSON.parse(line) as Noted);
};
const refusing = 'process.send({ decoded: false, why: "for the test" });';

test("what a file holds never comes over the channel: the decoding process gets a file, which is gone afterwards", async () => {
  const picture = Buffer.alloc(3_000_000);
  picture.write("\xff\xd8\xff\xe0", "latin1");
  writeFileSync(join(place, "many.nef"), manyOf(picture, 23));
  mkdirSync(embeddedFolder(), { recursive: true });
  const left = join(embeddedFolder(), `${"0".repeat(32)}.embedded`);
  writeFileSync(left, "of an earlier run");
  const maker = makerWith({ worker: noting("telling", refusing) });
  expect(await maker.make([absolutePath(join(place, "many.nef"))], "sheet", never)).toMatchObject({
    made: false,
  });
  await maker.close();
  const noted = notedBy("telling");
  // So many of 24 are tried: the file itself among them or not.
  expect(noted.length).toBe(4);
  for (const { sent } of noted) expect(sent).toBeLessThan(10_000);
  const takenOut = noted.filter(({ size }) => size === picture.length);
  expect(takenOut.length).toBeGreaterThanOrEqual(3);
  for (const { mode } of takenOut) expect(mode).toBe(0o600);
  expect(readdirSync(embeddedFolder())).toEqual([]);
  // A name that ExifTool would take for codes: it writes nowhere else.
  const before = readdirSync(place);
  const coded = makerWith({ worker: noting("coded", refusing), folder: join(place, "%f") });
  await coded.make([absolutePath(join(place, "many.nef"))], "sheet", never);
  await coded.close();
  const after = readdirSync(place).filter((name) => !before.includes(name));
  for (const name of after) expect(["%f", "coded.mjs", "coded.log"]).toContain(name);
});

test("one limit holds for all pictures of a frame: after one that hangs no other is tried", async () => {
  const picture = Buffer.alloc(20_000);
  picture.write("\xff\xd8\xff\xe0", "latin1");
  writeFileSync(join(place, "slow.nef"), manyOf(picture, 5));
  const maker = makerWith({ worker: noting("hanging-too", ""), timeout: millis(4_000) });
  const answer = await maker.make([absolutePath(join(place, "slow.nef"))], "sheet", never);
  await maker.close();
  expect(answer).toEqual({ made: false, why: "decoding it takes too long" });
  expect(notedBy("hanging-too").length).toBe(1);
});

test("a drive that leaves has no file held open: the decoding process has ended before that is answered", async () => {
  const leaving = new AbortController();
  const maker = makerWith({ worker: noting("held", "") });
  writeFileSync(join(place, "held.jpg"), Buffer.from("ffd8ffe0ffd9", "hex"));
  const answer = maker.make([absolutePath(join(place, "held.jpg"))], "sheet", leaving.signal);
  await vi.waitFor(() => expect(notedBy("held").length).toBe(1), { timeout: 20_000 });
  leaving.abort();
  expect(await answer).toEqual({ made: false, why: "it was broken off" });
  expect(() => process.kill(notedBy("held")[0]?.pid ?? 0, 0)).toThrow();
  await maker.close();
});

test("the decoding process opens no link and no pipe, and nothing is taken out into a folder that is a link", async () => {
  const good = await sharp(quarters(64, 48), { raw: { width: 64, height: 48, channels: 3 } })
    .jpeg()
    .toBuffer();
  writeFileSync(join(place, "target.jpg"), good);
  symlinkSync(join(place, "target.jpg"), join(place, "link.jpg"));
  execFileSync("mkfifo", [join(place, "decoded-pipe.jpg")]);
  const child = new PictureChild({ worker, timeout: millis(20_000) });
  const decode = (name: string) => child.decode(asked(name), millis(20_000), never);
  expect(await decode("target.jpg")).toMatchObject({ decoded: true });
  expect(await decode("link.jpg")).toMatchObject({ decoded: false });
  expect(await decode("decoded-pipe.jpg")).toMatchObject({ decoded: false });
  await child.close();
  expect((await make(["link.jpg"])).made).toBe(false);
  mkdirSync(join(place, "elsewhere"));
  symlinkSync(join(place, "elsewhere"), join(place, "linked"));
  writeFileSync(join(place, "one.nef"), manyOf(Buffer.concat([good, Buffer.alloc(20_000)]), 2));
  const maker = makerWith({ folder: join(place, "linked"), worker: noting("unasked", refusing) });
  await maker.make([absolutePath(join(place, "one.nef"))], "sheet", never);
  await maker.close();
  expect(notedBy("unasked").filter(({ size }) => size === good.length + 20_000)).toEqual([]);
});

test("what takes more than four bytes a pixel while it is decoded may have fewer pixels", async () => {
  const raw = { width: 100, height: 100, channels: 4 as const };
  const deep = await sharp(Buffer.alloc(40_000, 200), { raw })
    .toColourspace("rgb16")
    .png({ progressive: true })
    .toBuffer();
  const flat = () => sharp(Buffer.alloc(40_000, 200), { raw });
  writeFileSync(join(place, "deep.png"), deep);
  writeFileSync(join(place, "flat.png"), await flat().png().toBuffer());
  writeFileSync(join(place, "whole.jpg"), await flat().jpeg({ progressive: true }).toBuffer());
  writeFileSync(join(place, "coded.avif"), await flat().avif({ effort: 0 }).toBuffer());
  writeFileSync(join(place, "lines.jpg"), await flat().jpeg().toBuffer());
  const child = new PictureChild({ worker, timeout: millis(20_000) });
  const decode = (name: string) => child.decode(asked(name, { pixelsMax: 10_000 }), millis(20_000), never);
  for (const name of ["flat.png", "lines.jpg"])
    expect(await decode(name), name).toMatchObject({ decoded: true });
  for (const name of ["deep.png", "whole.jpg", "coded.avif"])
    expect(await decode(name), name).toEqual({ decoded: false, why: "decoding it takes too much memory" });
  await child.close();
});
