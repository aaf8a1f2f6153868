/**
 * RAF, a raw format with a header of its own: pairs of offset and length (big-endian, 4 bytes each) from byte 84 on, for
 * the JPEG inside, the settings and the sensor's data, the latter two twice in bodies with two kinds of photosites.
 *
 * The places are those in ExifTool's description, confirmed on a real file whose parts meet and end with the file. The
 * header ends where the JPEG begins, and short headers lack the later pairs.
 */

import type { Bytes } from "../../../shared/units.ts";
import type { Probe } from "./probe.ts";
import { emptyEnd, endIsEmpty, Reading, u32 } from "./reading.ts";

export function* rafProbe(size: Bytes): Probe {
  const file = new Reading(size);
  const head = yield* file.bytes(0, 0x88);
  if (!String.fromCharCode(...head.subarray(0, 15)).startsWith("FUJIFILMCCD-RAW")) {
    return "it doesn't begin as a RAF";
  }
  if (head.length < 0x6c) return "it ends within its header";
  const headEnd = Math.min(u32(head, 0x54, false), head.length);
  for (const at of [0x54, 0x5c, 0x64, 0x78, 0x80]) {
    if (at > 0x54 && at + 8 > headEnd) continue;
    if (u32(head, at, false) + u32(head, at + 4, false) > file.size) {
      return "it ends before its picture data does";
    }
  }
  return (yield* endIsEmpty(file)) ? emptyEnd : undefined;
}
