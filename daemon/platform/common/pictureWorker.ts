/**
 * The child process that decodes pictures, so that a hostile one costs this process and nothing else: asked over its
 * channel for one picture at a time, upright, no larger than asked, as a JPEG without metadata. Runs behind everything
 * else, and ends when its channel closes, however the daemon ended.
 *
 * It opens no file: the bytes come with the request. Not its job: how long it may take (`pictureChild.ts`).
 */

import { constants, setPriority } from "node:os";
import sharp, { type Sharp } from "sharp";

export interface PictureRequest {
  readonly bytes: Uint8Array;
  /** Longest side, pixels. */
  readonly side: number;
  /** Exif 2.32, tag 274: 1 to 8. */
  readonly orientation: number;
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

async function decode({ bytes, side, orientation, pixelsMax }: PictureRequest): Promise<PictureAnswer> {
  const input = sharp(bytes, { limitInputPixels: pixelsMax, failOn: "none", autoOrient: false });
  const { width, height } = await input.metadata();
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
