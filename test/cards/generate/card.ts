/**
 * Writes a memory card of the invented maker Aldine into a folder: an evening and a night at Kestrel Cliffs with two
 * bodies that count alike. The same options give the same bytes. For the demo and for tests; shares no code with the
 * daemon, so that the daemon can't agree with its own mistakes.
 */

import { mkdirSync, utimesSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import type { ShotFacts } from "./exif.ts";
import { cameraJpeg, encodeJpeg } from "./jpeg.ts";
import { film } from "./mov.ts";
import { seeded } from "./random.ts";
import { cameraRaw, type Mosaic, mosaicOf, rgbOf } from "./raw.ts";
import { lieDown, type Picture, paintScene, shrink } from "./scene.ts";
import { voiceMemo } from "./wav.ts";

export interface CardOptions {
  readonly seed: number;
  /** Raw and JPEG, for each of the two bodies. */
  readonly pairsPerBody: number;
  /** Pixels of the long and the short side; even. */
  readonly long: number;
  readonly short: number;
  /** Kinds of light each body meets: 1 to 4. Each costs one picture to paint and encode. */
  readonly lights: number;
  /** Single pictures of the film. */
  readonly filmPictures: number;
  /** `2027-06-03`: the evening the card begins; it ends at 02:30 the next morning. */
  readonly evening: string;
  /** File number of each body's first frame. */
  readonly firstNumber: number;
}

/** About 200 files, 300 MB; 6 s on one core. */
export const demoCard: CardOptions = {
  seed: 20_270_603,
  pairsPerBody: 48,
  long: 1440,
  short: 960,
  lights: 3,
  filmPictures: 24,
  evening: "2027-06-03",
  firstNumber: 421,
};

/** 21 files, about 2 MB. */
export const tinyCard: CardOptions = {
  ...demoCard,
  pairsPerBody: 4,
  long: 360,
  short: 240,
  lights: 1,
  filmPictures: 6,
};

/** The next evening, counted on from where the first card ended. */
export function nextEvening(options: CardOptions): CardOptions {
  return {
    ...options,
    seed: options.seed + 1,
    evening: dayAfter(options.evening),
    firstNumber: options.firstNumber + options.pairsPerBody + 1,
  };
}

export interface CardFile {
  /** Below the card's root. */
  readonly path: string;
  readonly bytes: number;
  readonly role: "frame" | "companion" | "extra" | "leaving";
  /** Frame files: when it was truly taken, ms since the epoch, and by which serial ("" where the file can't say). */
  readonly taken?: { readonly instant: number; readonly serial: string };
}

/** Writes the card. @param folder made if missing. @returns every file it wrote. */
export function generateCard(folder: string, options: CardOptions): readonly CardFile[] {
  const files: CardFile[] = [];
  const write = (file: Omit<CardFile, "bytes">, content: Uint8Array, modified: number): void => {
    const path = join(folder, file.path);
    mkdirSync(dirname(path), { recursive: true });
    writeFileSync(path, content);
    // FAT counts in steps of 2 s (File Times, Microsoft).
    const seconds = Math.floor(modified / 2000) * 2;
    utimesSync(path, seconds, seconds);
    files.push({ ...file, bytes: content.length });
  };
  for (const [index, body] of bodies.entries()) writeBody(write, options, body, index);
  const begin = Date.parse(`${options.evening}T18:00:00+01:00`);
  write(
    { path: "DCIM/ALDINE.IDX", role: "extra" },
    Buffer.from(`ALDINE INDEX ${options.seed}\r\n`.repeat(64)),
    begin,
  );
  // Digital Print Order Format: a card's print order stands under this name.
  write({ path: "MISC/AUTPRINT.MRK", role: "extra" }, Buffer.from(printOrder), begin);
  write({ path: ".Trashes/501/scrap.txt", role: "leaving" }, Buffer.from("left by a computer\n"), begin);
  return files;
}

/**
 * The demo's trip profile.
 * @param drives names in the order primary, secondary, further.
 */
export function profileText(options: {
  readonly drives: readonly string[];
  readonly copies: number;
  readonly archive?: string;
}): string {
  const roles = ["primary", "secondary", "further"];
  const places = ["on me", "room safe", "car"];
  return [
    "trip: Kestrel Cliffs            # also the folder's name on every drive",
    "code: KC                        # short, for file names",
    "from: 2027-06-03                # first and last day, both included",
    "to: 2027-06-14",
    "zone: Atlantic/Faroe            # IANA time zone of the days",
    'day-starts: "04:00"             # a night shoot belongs to the evening before',
    `goal: { copies: ${options.copies}, places: ${Math.min(2, options.copies)} }`,
    "drives:",
    ...options.drives.map(
      (name, index) =>
        `  - { name: ${name}, role: ${roles[index] ?? "further"}, place: ${places[index] ?? "home"} }`,
    ),
    "bodies:",
    '  - { serial: "4410072", letter: A, clock: "+00:03:20" }      # what to add to this body\'s clock',
    '  - { serial: "4410913", letter: B, zone: Europe/Copenhagen } # its clock shows this zone',
    'folders: "{trip}/{day}"         # where',
    'names: "{code}-{day:yyyyMMdd}-{body}{number}"',
    ...(options.archive === undefined
      ? []
      : [`archive: { folder: ${options.archive}, tree: "{taken:yyyy}/{trip}" }`]),
    "",
  ].join("\n");
}

interface Body {
  readonly model: string;
  readonly serial: string;
  readonly folder: string;
  /** What this body's clock shows minus UTC. ms */
  readonly clock: number;
}

const minute = 60_000;

/**
 * In June Atlantic/Faroe is UTC+1 and Europe/Copenhagen UTC+2 (tz database). The R2 runs 3 min 20 s slow; the M1 still
 * shows home. Both count alike and write the same base names.
 */
const bodies: readonly Body[] = [
  {
    model: "Aldine R2",
    serial: "4410072",
    folder: "DCIM/100ALDIN",
    clock: 60 * minute - 200_000,
  },
  { model: "Aldine M1", serial: "4410913", folder: "DCIM/101ALDIM", clock: 120 * minute },
];

const printOrder = '[HDR]\r\nGEN REV = 01.10\r\nGEN CRT = "ALDINE R2"\r\n';

type Write = (file: Omit<CardFile, "bytes">, content: Uint8Array, modified: number) => void;

/** What all shots in one light share: painted and encoded once. */
interface Light {
  readonly mosaic: Mosaic;
  readonly jpeg: Buffer;
  readonly thumbnail: Buffer;
  readonly preview: Picture;
  readonly rgb: Uint8Array;
  readonly orientation: number;
}

function writeBody(write: Write, options: CardOptions, body: Body, index: number): void {
  const random = seeded(options.seed * 7 + index);
  const lights = Array.from({ length: options.lights }, (_, n) => paintLight(options, index, n));
  const moments = shootingTimes(options, random);
  let number = options.firstNumber;
  for (const [shotIndex, instant] of moments.entries()) {
    const light = lights[Math.floor((shotIndex / moments.length) * lights.length)];
    if (light === undefined) throw new Error("a card has at least one light");
    const shot = shotFacts(body, light, instant, random);
    const base = `${body.folder}/ALD_${String(number).padStart(4, "0")}`;
    const modified = asReadInTripZone(body, instant);
    const taken = { instant, serial: body.serial };
    const raw = cameraRaw(light.mosaic, light.preview, light.rgb, shot, Math.floor(random() * 2 ** 31));
    write({ path: `${base}.DNG`, role: "frame", taken }, raw, modified);
    write(
      { path: `${base}.JPG`, role: "frame", taken },
      cameraJpeg(light.jpeg, light.thumbnail, shot),
      modified,
    );
    if (index === 0 && shotIndex === 2) {
      write({ path: `${base}.WAV`, role: "companion", taken }, voiceMemo(2, 700), modified + 20_000);
    }
    number += 1;
  }
  if (index === bodies.length - 1) writeFilm(write, options, body, number);
}

/** No field of a film says which body made it: its model must do. */
function writeFilm(write: Write, options: CardOptions, body: Body, number: number): void {
  const width = options.long >= 960 ? 480 : 240;
  const height = Math.round((width * options.short) / options.long / 2) * 2;
  const instant = Date.parse(`${dayAfter(options.evening)}T02:25:00+01:00`);
  // Painted small and few: what moves is the birds.
  const pictures = Array.from({ length: options.filmPictures }, (_, n) =>
    encodeJpeg(
      paintScene({
        width,
        height,
        seed: options.seed + 77,
        light: 0.8,
        flight: n / options.filmPictures,
      }),
      80,
    ),
  );
  const created = Math.floor(instant / 1000);
  const facts = { width, height, framesPerSecond: 12, created, make: "Aldine", model: body.model };
  const path = `${body.folder}/ALD_${String(number).padStart(4, "0")}.MOV`;
  write(
    { path, role: "frame", taken: { instant, serial: "" } },
    film(pictures, facts),
    asReadInTripZone(body, instant),
  );
}

function paintLight(options: CardOptions, index: number, n: number): Light {
  const upright = n === 1;
  const seed = options.seed + index * 13 + n * 101;
  const light = options.lights === 1 ? 0.4 : n / (options.lights - 1);
  const [width, height] = upright ? [options.short, options.long] : [options.long, options.short];
  const painted = paintScene({ width, height, seed, light });
  const picture = upright ? lieDown(painted) : painted;
  const preview = shrink(picture, Math.max(1, Math.round(options.long / 240)));
  return {
    mosaic: mosaicOf(picture),
    jpeg: encodeJpeg(picture, 88),
    thumbnail: encodeJpeg(shrink(picture, Math.max(1, Math.round(options.long / 160))), 70),
    preview,
    rgb: rgbOf(preview),
    orientation: upright ? 6 : 1,
  };
}

/** From 18:10 through midnight to 02:20, in bursts, in the order of the counter; ms since the epoch. */
function shootingTimes(options: CardOptions, random: () => number): number[] {
  const from = Date.parse(`${options.evening}T18:10:00+01:00`);
  const to = Date.parse(`${dayAfter(options.evening)}T02:20:00+01:00`);
  const bursts = Math.max(2, Math.ceil(options.pairsPerBody / 4));
  const times = Array.from({ length: options.pairsPerBody }, (_, n) => {
    const burst = Math.floor((n * bursts) / options.pairsPerBody);
    const within = n - Math.ceil((burst * options.pairsPerBody) / bursts);
    return from + ((to - from) * burst) / (bursts - 1 || 1) + within * 180;
  });
  return times.map((time) => Math.round(time + random() * 150));
}

function shotFacts(body: Body, light: Light, instant: number, random: () => number): ShotFacts {
  const wall = new Date(instant + body.clock).toISOString();
  return {
    make: "Aldine",
    model: body.model,
    serial: body.serial,
    orientation: light.orientation,
    dateTime: `${wall.slice(0, 10).replaceAll("-", ":")} ${wall.slice(11, 19)}`,
    subSec: wall.slice(20, 22),
    uniqueId: Array.from({ length: 32 }, () => Math.floor(random() * 16).toString(16)).join(""),
    width: light.mosaic.width,
    height: light.mosaic.height,
    iso: [200, 400, 800, 1600][Math.floor(random() * 4)] ?? 200,
    shutter: [125, 250, 500, 1000][Math.floor(random() * 4)] ?? 250,
  };
}

/** A body writes its wall clock; FAT knows no zone, so a laptop in the trip's zone (UTC+1) reads it as its own. */
function asReadInTripZone(body: Body, instant: number): number {
  return instant + body.clock - 60 * minute;
}

function dayAfter(day: string): string {
  return new Date(Date.parse(`${day}T00:00:00Z`) + 24 * 60 * minute).toISOString().slice(0, 10);
}
