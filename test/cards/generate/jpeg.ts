/** JPEG files as cameras write them: Exif in an APP1 segment right behind SOI (CIPA DC-008, 4.7.2). */

import { encode } from "jpeg-js";
import { exifBlock, type ShotFacts } from "./exif.ts";
import type { Picture } from "./scene.ts";

/** A baseline JPEG without any application segment. */
export function encodeJpeg(picture: Picture, quality: number): Buffer {
  const { data } = encode({ ...picture }, quality);
  // Behind SOI stands the encoder's APP0, whose length counts itself but not its marker (ITU-T T.81, B.1.1.4).
  if (data.readUInt16BE(2) !== 0xffe0) throw new Error("the encoder was expected to begin with APP0");
  return Buffer.concat([data.subarray(0, 2), data.subarray(4 + data.readUInt16BE(4))]);
}

/** The same picture with what a camera says about it. */
export function cameraJpeg(encoded: Buffer, thumbnail: Buffer, shot: ShotFacts): Buffer {
  const exif = exifBlock(shot, thumbnail);
  const head = Buffer.alloc(6);
  head.writeUInt16BE(0xffd8, 0);
  head.writeUInt16BE(0xffe1, 2);
  head.writeUInt16BE(exif.length + 2, 4);
  return Buffer.concat([head, exif, encoded.subarray(2)]);
}
