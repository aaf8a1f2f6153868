/**
 * The child process that decodes pictures, so that a hostile one costs this process and nothing else: asked over its
 * channel for one file's picture at a time, upright, no larger than asked, as a JPEG without metadata. Runs behind
 * everything else, and ends when its channel closes, however the daemon ended.
 *
 * Invariants: the one file it opens is the one it is asked for, only to read, no link, and closed before anything of it
 * is decoded. Not its job: how long it may take (`pictureChild.ts`).
 */

import { constants as fileConstants } from "node:fs";
import { open } from "node:fs/promises";
import { constants, setPriority } from "node:os";
import sharp, { type Metadata, type Sharp } from "sharp";

export interface PictureRequest {
  /** The file's path, as bytes: a name may be no UTF-8. */
  readonly path: Uint8Array;
  readonly bytesMax: number;
  /** Longest side, pixels. */
  readonly side: number;
  /** Exif 2.32, tag 274: 1 to 8. */
  readonly orientation: number;
  /** Of four bytes each: what takes more a pixel while it is decoded may have fewer. */
  readonly pixelsMax: number;
}

export type PictureAnswer =
  /** `side`: the longest of what was decoded, pixels. */
  | { readonly decoded: true; readonly jpeg: Uint8Array; readonly side: number }
  /** `why` is a part of a sentence. */
  | { readonly decoded: false; readonly why: string };

// Whatever a file says it is, nothing else is read: no formats that name other files, none with rare decoders.
sharp.block({ operation: ["VipsForeignLoad"] });
sharp.unblock({
  operation: ["Jpeg", "Png", "Webp", "Tiff", "Heif", "Nsgif"].map((format) => `VipsForeignLoad${format}`),
});
sharp.cache(false);
sharp.concurrency(1);

/** bytes a sample, by the library's names for them. */
const sampleBytes: { readonly [depth: string]: number } = { uchar: 1, char: 1, ushort: 2, short: 2 };

async function decode(request: PictureRequest): Promise<PictureAnswer> {
  const { side, pixelsMax } = request;
  const bytes = await read(request);
  const input = sharp(bytes, { limitInputPixels: pixelsMax, failOn: "none", autoOrient: false });
  const facts = await input.metadata();
  const { width, height, format } = facts;
  if (width * height * pixelBytes(facts) > pixelsMax * 4)
    return { decoded: false, why: "decoding it takes too much memory" };
  // ISO/IEC 23008-12: turning it is part of decoding it.
  const orientation = format === "heif" ? 1 : request.orientation;
  const { data, info } = await input
    .resize({ width: side, height: side, fit: "inside", withoutEnlargement: true })
    .flatten({ background: "#808080" })
    .toColourspace("srgb")
    .raw()
    .toBuffer({ resolveWithObject: true });
  const raw = { width: info.width, height: info.height, channels: info.channels };
  const upright = await turned(sharp(data, { raw }), orientation);
  const jpeg = await upright.jpeg({ quality: 82, mozjpeg: false }).toBuffer();
  return { decoded: true, jpeg, side: Math.max(width, height) };
}

// O_NONBLOCK: opening a pipe of a picture's name would wait for ever.
const toRead = fileConstants.O_RDONLY | fileConstants.O_NOFOLLOW | fileConstants.O_NONBLOCK;

async function read({ path, bytesMax }: PictureRequest): Promise<Uint8Array> {
  const handle = await open(Buffer.from(path), toRead);
  try {
    const facts = await handle.stat();
    if (!facts.isFile() || facts.size > bytesMax) throw new Error("it is no file or too large");
    return await handle.readFile();
  } finally {
    await handle.close();
  }
}

/**
 * While it is decoded. A progressive JPEG is held whole as coefficients of two bytes (ITU-T T.81, annex G); AVIF
 * takes 17 bytes a pixel of three channels (measured, 6400 by 6400).
 */
function pixelBytes({ channels, depth, format, isProgressive }: Metadata): number {
  const sample = sampleBytes[depth] ?? 16;
  if (format === "heif") return channels * sample * 6;
  return channels * (format === "jpeg" && isProgressive ? 2 : sample);
}

/**
 * Exif 2.32, tag 274, by what has to be done to what is stored: 2 mirrored, 3 upside down, 4 flipped, 6 a quarter
 * clockwise, 8 counter-clockwise, 5 and 7 mirrored as well. One step at a time: the library has an order of its own.
 */
async function turned(picture: Sharp, orientation: number): Promise<Sharp> {
  const step = async (from: Sharp): Promise<Sharp> => {
    const { data, info } = await from.raw().toBuffer({ resolveWithObject: true });
    return sharp(data, { raw: { width: info.width, height: info.height, channels: info.channels } });
  };
  switch (orientation) {
    case 2:
      return step(picture.flop());
    case 3:
      return step(picture.rotate(180));
    case 4:
      return step(picture.flip());
    case 5:
      return step((await step(picture.rotate(90))).flop());
    case 6:
      return step(picture.rotate(90));
    case 7:
      return step((await step(picture.rotate(90))).flip());
    case 8:
      return step(picture.rotate(270));
    default:
      return picture;
  }
}

process.on("disconnect", () => process.exit(0));
process.on("message", (message) => {
  // Nobody else has the channel: what comes is the daemon's own request.
  void decode(message as PictureRequest)
    .catch((error: unknown): PictureAnswer => {
      const why = error instanceof Error ? (error.message.split("\n")[0] ?? "") : String(error);
      return { decoded: false, why: why.slice(0, 200) };
    })
    .then((answer) => process.send?.(answer));
});
try {
  setPriority(constants.priority.PRIORITY_LOW);
} catch {
  // A system without priorities: it works all the same.
}
