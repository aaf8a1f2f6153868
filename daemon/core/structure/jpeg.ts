/**
 * JPEG (ITU-T T.81, 1992, B.1.1 and Table B.1): segments from SOI on, image data from marker to marker, to the EOI.
 * Searching for EOI alone would find the thumbnail's.
 *
 * What follows EOI is legal: cameras put previews, further views and their own notes there. A further picture right
 * behind it (CIPA DC-007, MPO) is walked too. Not its job: decoding; a wrong byte that makes no marker isn't seen.
 */

import type { Bytes } from "../../../shared/units.ts";
import type { Probe } from "./probe.ts";
import { type Asking, Reading, u16, wantBytesMost } from "./reading.ts";

const cut = "it has no end of image";
const broken = "its parts don't follow one another";
const brokenData = "its image data is broken";

export function* jpegProbe(size: Bytes): Probe {
  const file = new Reading(size);
  if (!(yield* isPictureAt(file, 0))) return "it doesn't begin as a JPEG";
  let end = 0;
  do {
    const walked = yield* walkPicture(file, end);
    if (typeof walked === "string") return walked;
    end = walked;
  } while (yield* isPictureAt(file, end));
  return (yield* endsBeforeItsEnd(file, end)) ? "its image data ends too early" : undefined;
}

/** bytes. Segments are hopped over: reading on this far saves asking for each. */
const segmentsAhead = 64 * 1024;

/**
 * bytes. Fill bytes FFh may precede a marker (B.1.1.2), and zeros between segments harm no reader (common practice,
 * no source); so many of them are no JPEG any more.
 */
const fillMost = 64 * 1024;

function* isPictureAt(file: Reading, at: number): Asking<boolean> {
  const head = yield* file.bytes(at, 3);
  return head[0] === 0xff && head[1] === 0xd8 && head[2] === 0xff;
}

/** @returns where the picture's EOI ends, or what is wrong. */
function* walkPicture(file: Reading, start: number): Asking<number | string> {
  let at = start + 2;
  let frames = 0;
  let scans = 0;
  let restarts = false;
  for (;;) {
    const marker = yield* nextMarker(file, at);
    if (typeof marker === "string") return marker;
    const { code } = marker;
    at = marker.end;
    if (code === 0xd9) return scans > 0 ? at : "it holds no image data";
    if (code === 0x01) continue;
    if (!mayStand(code, scans > 0)) return scans > 0 ? brokenData : broken;

    const head = yield* file.bytes(at, 8, segmentsAhead);
    const length = u16(head, 0, false);
    if (at + Math.max(length, 2) > file.size) return cut;
    if (!hasItsLength(code, length, head)) return scans > 0 ? brokenData : broken;
    at += length;
    if (isFrameHeader(code)) {
      frames += 1;
      if (frames > 1) return brokenData;
    } else if (code === 0xdd) {
      restarts = u16(head, 2, false) > 0;
    } else if (code === 0xda) {
      if (frames === 0) return "it has no frame header";
      scans += 1;
      const next = yield* walkScan(file, at, restarts);
      if (typeof next === "string") return next;
      at = next;
    }
  }
}

/** @returns the marker's second byte and where it ends, or what is wrong. */
function* nextMarker(
  file: Reading,
  start: number,
): Asking<{ readonly code: number; readonly end: number } | string> {
  for (let at = start, marked = false; at < start + fillMost; at += 1) {
    const [byte] = yield* file.bytes(at, 1, segmentsAhead);
    if (byte === undefined) return cut;
    if (byte === 0xff) marked = true;
    else if (marked) return { code: byte, end: at + 1 };
    else if (byte !== 0) return broken;
  }
  return broken;
}

/**
 * Which markers may stand here, by Table B.1: 00h is stuffing, RST and SOI have no place between segments, 02h to BFh
 * are reserved. Once image data has begun only tables, notes and further scans may come.
 */
function mayStand(code: number, afterScan: boolean): boolean {
  if (code < 0xc0 || (code >= 0xd0 && code <= 0xd8) || code === 0xc8) return false;
  if (!afterScan) return true;
  const application = code >= 0xe0 && code <= 0xef;
  return application || (code >= 0xda && code <= 0xdd) || code === 0xc4 || code === 0xcc || code === 0xfe;
}

/** SOF0 to SOF15 without DHT, JPG and DAC. */
function isFrameHeader(code: number): boolean {
  return code >= 0xc0 && code <= 0xcf && code !== 0xc4 && code !== 0xc8 && code !== 0xcc;
}

/** The length counts itself (B.1.1.4). Frame and scan headers say how many components they list (B.2.2, B.2.3). */
function hasItsLength(code: number, length: number, head: Uint8Array): boolean {
  if (isFrameHeader(code)) return length === 8 + 3 * (head[7] ?? 0) && length > 8;
  if (code === 0xda) return length === 6 + 2 * (head[2] ?? 0) && length > 6 && length <= 14;
  if (code === 0xdd) return length === 4;
  return length >= 2;
}

/**
 * Image data: FFh 00h is a stuffed FFh; RST0 to RST7 come in turn where an interval is set (E.1.4), and each scan
 * begins with RST0. @returns where the next other marker begins, or what is wrong.
 */
function* walkScan(file: Reading, start: number, restarts: boolean): Asking<number | string> {
  let at = start;
  let turn = 0;
  for (;;) {
    const piece = yield* file.onward(at, wantBytesMost);
    if (piece.length === 0) return cut;
    let found = piece.indexOf(0xff);
    while (found >= 0 && found + 1 < piece.length) {
      const code = piece[found + 1] ?? 0;
      if (code >= 0xd0 && code <= 0xd7) {
        if (restarts && code !== 0xd0 + turn) return brokenData;
        turn = (turn + 1) & 7;
      } else if (code !== 0 && code !== 0xff) {
        return at + found;
      }
      found = piece.indexOf(0xff, found + (code === 0xff ? 1 : 2));
    }
    if (found < 0) {
      at += piece.length;
    } else {
      // The marker's second byte is in the next piece.
      at += found;
      if ((yield* file.bytes(at, 2, wantBytesMost)).length < 2) return cut;
    }
  }
}

/** bytes. Fewer behind EOI may be anything. */
const trailerLeast = 512;

/**
 * Whether the EOI that was found stands in the middle of overwritten image data: the file ends with another one, yet
 * no picture begins in between to which that belongs.
 */
function* endsBeforeItsEnd(file: Reading, end: number): Asking<boolean> {
  if (file.size - end < trailerLeast) return false;
  const last = yield* file.bytes(file.size - 2, 2);
  if (last[0] !== 0xff || last[1] !== 0xd9) return false;
  for (let at = end; at < file.size; ) {
    const piece = yield* file.bytes(at, wantBytesMost, wantBytesMost);
    if (piece.length < 3) break;
    for (let found = piece.indexOf(0xff); found >= 0; found = piece.indexOf(0xff, found + 1)) {
      if (piece[found + 1] === 0xd8 && piece[found + 2] === 0xff) return false;
    }
    // Two bytes again, for a beginning that lies across.
    at += piece.length - 2;
  }
  return true;
}
