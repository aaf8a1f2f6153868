/**
 * A short film: ISO base media (ISO/IEC 14496-12) of brand `qt  ` with one Motion-JPEG track, as QuickTime's sample
 * description `jpeg` has it. `moov` stands behind `mdat`, as cameras write it.
 */

export interface FilmFacts {
  readonly width: number;
  readonly height: number;
  readonly framesPerSecond: number;
  /** Seconds since 1970-01-01T00:00:00Z: the header holds UTC (14496-12, 8.2.2). */
  readonly created: number;
  readonly make: string;
  readonly model: string;
}

/** From 1904-01-01, where these headers count from, to 1970-01-01. s */
const epochShift = 2_082_844_800;
const timescale = 600;

export function film(pictures: readonly Buffer[], facts: FilmFacts): Buffer {
  const ftyp = box("ftyp", text("qt  "), u32(0x200), text("qt  "));
  const mdat = box("mdat", ...pictures);
  const ticks = Math.round(timescale / facts.framesPerSecond);
  const duration = ticks * pictures.length;
  const created = u32(facts.created + epochShift);
  const size = [u16(facts.width), u16(facts.height)];
  const matrix = [0x10000, 0, 0, 0, 0x10000, 0, 0, 0, 0x40000000].map(u32);

  const sampleEntry = box(
    "jpeg",
    ...[zeros(6), u16(1), zeros(16), ...size, u32(72 << 16), u32(72 << 16), u32(0), u16(1)],
    ...[zeros(32), u16(24), u16(0xffff)],
  );
  const sampleTable = box(
    "stbl",
    box("stsd", u32(0), u32(1), sampleEntry),
    box("stts", u32(0), u32(1), u32(pictures.length), u32(ticks)),
    box("stsc", u32(0), u32(1), u32(1), u32(pictures.length), u32(1)),
    box("stsz", u32(0), u32(0), u32(pictures.length), ...pictures.map((picture) => u32(picture.length))),
    box("stco", u32(0), u32(1), u32(ftyp.length + 8)),
  );
  const media = box(
    "mdia",
    box("mdhd", u32(0), created, created, u32(timescale), u32(duration), u16(0x7fff), u16(0)),
    box("hdlr", u32(0), text("mhlr"), text("vide"), zeros(12), zeros(1)),
    box(
      "minf",
      box("vmhd", u32(1), zeros(8)),
      box("hdlr", u32(0), text("dhlr"), text("url "), zeros(12), zeros(1)),
      box("dinf", box("dref", u32(0), u32(1), box("url ", u32(1)))),
      sampleTable,
    ),
  );
  const track = box(
    "trak",
    box(
      "tkhd",
      ...[u32(7), created, created, u32(1), u32(0), u32(duration), zeros(8), u16(0), u16(0), u16(0), u16(0)],
      ...[...matrix, u32(facts.width << 16), u32(facts.height << 16)],
    ),
    media,
  );
  const movie = box(
    "moov",
    box(
      "mvhd",
      ...[u32(0), created, created, u32(timescale), u32(duration), u32(0x10000), u16(0x100), zeros(10)],
      ...[...matrix, zeros(24), u32(2)],
    ),
    track,
    box("udta", said("\u00a9mak", facts.make), said("\u00a9mod", facts.model)),
  );
  return Buffer.concat([ftyp, mdat, movie]);
}

/** Size (the whole box, big-endian), type, content: 14496-12, 4.2. */
function box(type: string, ...content: readonly Buffer[]): Buffer {
  const size = content.reduce((sum, part) => sum + part.length, 8);
  return Buffer.concat([u32(size), text(type), ...content]);
}

/** User data text: length, language code (English), characters. */
function said(type: string, words: string): Buffer {
  return box(type, u16(words.length), u16(0), text(words));
}

const text = (value: string): Buffer => Buffer.from(value, "latin1");
const zeros = (size: number): Buffer => Buffer.alloc(size);

function u16(value: number): Buffer {
  const out = Buffer.alloc(2);
  out.writeUInt16BE(value);
  return out;
}

function u32(value: number): Buffer {
  const out = Buffer.alloc(4);
  out.writeUInt32BE(value >>> 0);
  return out;
}
