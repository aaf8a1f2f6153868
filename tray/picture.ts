/**
 * The icon as a file's content, for hosts that take no raw pixels: PNG (W3C Portable Network Graphics, third edition) and
 * ICO with a PNG in it, as Windows reads it.
 */

import { crc32, deflateSync } from "node:zlib";
import type { Pixmap } from "./icon.ts";

/** PNG with eight bits each of red, green, blue and alpha. */
export function pngOf({ size, argb }: Pixmap): Buffer {
  const rows = Buffer.alloc(size * (1 + 4 * size)); // Each row begins with its filter, 0: none.
  for (let pixel = 0; pixel < size * size; pixel += 1) {
    const at = 4 * pixel + Math.floor(pixel / size) + 1;
    rows.set(argb.subarray(4 * pixel + 1, 4 * pixel + 4), at);
    rows.set(argb.subarray(4 * pixel, 4 * pixel + 1), at + 3);
  }
  const header = Buffer.alloc(13);
  header.writeUInt32BE(size, 0);
  header.writeUInt32BE(size, 4);
  header.set([8, 6], 8); // Eight bits a sample; colour type 6: truecolour with alpha.
  return Buffer.concat([
    Buffer.from("\x89PNG\r\n\x1a\n", "latin1"),
    chunk("IHDR", header),
    chunk("IDAT", deflateSync(rows)),
    chunk("IEND", Buffer.alloc(0)),
  ]);
}

/** ICO (from memory: a directory of one entry, then the picture). Sizes up to 255. */
export function icoOf(pixmap: Pixmap): Buffer {
  const png = pngOf(pixmap);
  const head = Buffer.alloc(22);
  head.writeUInt16LE(1, 2); // An icon,
  head.writeUInt16LE(1, 4); // one of them.
  head.set([pixmap.size, pixmap.size], 6);
  head.writeUInt16LE(1, 10); // One plane,
  head.writeUInt16LE(32, 12); // 32 bits a pixel.
  head.writeUInt32LE(png.length, 14);
  head.writeUInt32LE(head.length, 18);
  return Buffer.concat([head, png]);
}

function chunk(type: string, data: Buffer): Buffer {
  const body = Buffer.concat([Buffer.from(type, "latin1"), data]);
  const framed = Buffer.alloc(body.length + 8);
  framed.writeUInt32BE(data.length, 0);
  framed.set(body, 4);
  framed.writeUInt32BE(crc32(body), body.length + 4);
  return framed;
}
