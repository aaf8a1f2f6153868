/**
 * Exif as a camera writes it (CIPA DC-008, Exif 2.32): the fields of IFD 0 and of the Exif IFD, for JPEG and raw alike.
 */

import { buildTiff, type Field } from "./tiff.ts";

export interface ShotFacts {
  readonly make: string;
  readonly model: string;
  readonly serial: string;
  /** 1 to 8. */
  readonly orientation: number;
  /** `YYYY:MM:DD HH:MM:SS` by the body's own clock. */
  readonly dateTime: string;
  /** Decimal fraction of the second. */
  readonly subSec: string;
  /** `+HH:MM`; most bodies don't know theirs. */
  readonly offset?: string;
  /** 32 hex digits, another for each picture. */
  readonly uniqueId: string;
  readonly width: number;
  readonly height: number;
  readonly iso: number;
  /** 1/x s. */
  readonly shutter: number;
}

/** Fields of IFD 0, the Exif IFD among them. */
export function exifFields(shot: ShotFacts): readonly Field[] {
  return [
    { tag: 0x010f, type: "ascii", text: shot.make },
    { tag: 0x0110, type: "ascii", text: shot.model },
    { tag: 0x0112, type: "short", values: [shot.orientation] },
    { tag: 0x0132, type: "ascii", text: shot.dateTime },
    { tag: 0x8769, type: "ifd", fields: exifIfd(shot) },
  ];
}

/** The content of a JPEG's APP1 segment: `Exif`, two zeros, a TIFF whose IFD 1 holds the thumbnail. */
export function exifBlock(shot: ShotFacts, thumbnail: Uint8Array): Buffer {
  const ifd0: Field[] = [
    ...exifFields(shot),
    ...resolution,
    // Chroma sites are centred.
    { tag: 0x0213, type: "short", values: [1] },
  ];
  const ifd1: Field[] = [
    ...resolution,
    { tag: 0x0103, type: "short", values: [6] },
    { tag: 0x0201, type: "data", data: thumbnail },
    { tag: 0x0202, type: "long", values: [thumbnail.length] },
  ];
  return Buffer.concat([Buffer.from("Exif\0\0", "latin1"), buildTiff([ifd0, ifd1])]);
}

/** 72 by 72 dots an inch: what Exif has a JPEG say when it means nothing. */
const resolution: readonly Field[] = [
  { tag: 0x011a, type: "rational", values: [72, 1] },
  { tag: 0x011b, type: "rational", values: [72, 1] },
  { tag: 0x0128, type: "short", values: [2] },
];

function exifIfd(shot: ShotFacts): Field[] {
  const offset = shot.offset;
  return [
    { tag: 0x829a, type: "rational", values: [1, shot.shutter] },
    { tag: 0x829d, type: "rational", values: [56, 10] },
    { tag: 0x8827, type: "short", values: [shot.iso] },
    { tag: 0x9000, type: "undefined", values: [...Buffer.from("0232", "latin1")] },
    { tag: 0x9003, type: "ascii", text: shot.dateTime },
    { tag: 0x9004, type: "ascii", text: shot.dateTime },
    ...(offset === undefined
      ? []
      : [0x9010, 0x9011, 0x9012].map((tag): Field => ({ tag, type: "ascii", text: offset }))),
    { tag: 0x9101, type: "undefined", values: [1, 2, 3, 0] },
    { tag: 0x9291, type: "ascii", text: shot.subSec },
    { tag: 0x9292, type: "ascii", text: shot.subSec },
    { tag: 0x920a, type: "rational", values: [400, 1] },
    { tag: 0xa000, type: "undefined", values: [...Buffer.from("0100", "latin1")] },
    { tag: 0xa001, type: "short", values: [1] },
    { tag: 0xa002, type: "long", values: [shot.width] },
    { tag: 0xa003, type: "long", values: [shot.height] },
    { tag: 0xa420, type: "ascii", text: shot.uniqueId },
    { tag: 0xa431, type: "ascii", text: shot.serial },
  ];
}
