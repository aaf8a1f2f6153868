/**
 * Whether a file from a camera is cut short or broken in its structure. A check asks for the bytes it wants to see and
 * is given them, so that it needs to know nothing of where the file stands.
 *
 * Invariants: a check ends for any bytes whatever, after a bounded number of wants, and never throws. It says a file is
 * damaged only where no whole file looks so: a camera that writes oddly is given the benefit of the doubt. It finds
 * truncation and gross damage, never a flipped bit inside image data; only a hash finds that.
 * Not its job: reading, and what follows from damage.
 */

import { extensionOf } from "../../../shared/identity.ts";
import { type Bytes, bytes } from "../../../shared/units.ts";
import { isoMediaProbe } from "./isoMedia.ts";
import { jpegProbe } from "./jpeg.ts";
import { rafProbe } from "./raf.ts";
import { fourCharacters, GaveUp } from "./reading.ts";
import { riffProbe } from "./riff.ts";
import { tiffProbe } from "./tiff.ts";

/** A range of the file, at least 1 byte and at most 1 MiB, inside the file's size. */
export interface Want {
  readonly at: Bytes;
  readonly length: Bytes;
}

/**
 * Yields what it wants to see and is given the bytes there, fewer where the file ends. They must stay as they are until
 * the next want is answered, so two buffers in turn are enough. Returns undefined when nothing
 * is known to be wrong, else what is wrong: a part of a sentence that begins with `it` or `its`, without a full stop.
 */
export type Probe = Generator<Want, string | undefined, Uint8Array>;

/**
 * The check for a file of this name, to be called with the file's size; undefined where files of this kind aren't
 * checked. What the file's first bytes say counts more than its extension.
 */
export function probeFor(path: string): ((size: Bytes) => Probe) | undefined {
  const extension = extensionOf(path).slice(1).toLowerCase();
  const expected = families.get(extension);
  if (expected === undefined) return undefined;
  return (size) => bounded(check(size, expected, extension));
}

type Family = "jpeg" | "tiff" | "isoMedia" | "riff" | "raf";

/** Extensions as in `fileKinds.ts`; raw formats that are neither TIFF nor ISO media aren't known well enough. */
const families: ReadonlyMap<string, Family> = new Map(
  (
    [
      ["jpeg", "jpg jpeg jpe mpo insp thm"],
      ["tiff", "tif tiff dng nef nrw arw srf sr2 cr2 pef 3fr fff iiq erf dcr k25 kdc mef mos"],
      ["tiff", "rwl rw2 orf ori srw gpr"],
      ["isoMedia", "mp4 mov m4v heic heif hif avif cr3 3gp 3g2 insv 360 crm"],
      ["riff", "wav avi"],
      ["raf", "raf"],
    ] as const
  ).flatMap(([family, extensions]) =>
    extensions.split(" ").map((extension): [string, Family] => [extension, family]),
  ),
);

const probes: { readonly [F in Family]: (size: Bytes, extension: string) => Probe } = {
  jpeg: jpegProbe,
  tiff: tiffProbe,
  isoMedia: isoMediaProbe,
  riff: riffProbe,
  raf: rafProbe,
};

function* check(size: Bytes, expected: Family, extension: string): Probe {
  if (size === 0) return "it is empty";
  const head = yield { at: bytes(0), length: bytes(Math.min(size, 16)) };
  return yield* probes[familyOf(head) ?? expected](size, extension);
}

/** By the first bytes; undefined where they are nobody's for sure. */
function familyOf(head: Uint8Array): Family | undefined {
  if (head[0] === 0xff && head[1] === 0xd8 && head[2] === 0xff) return "jpeg";
  const magic = fourCharacters(head, 0);
  // TIFF 6.0 section 2; 43 is BigTIFF; the others are raws that have a TIFF's structure.
  if (/^(II[*+]\0|MM\0[*+]|II(RO|RS|U\0)|MMOR)$/.test(magic)) return "tiff";
  if (/^(RIFF|RIFX|RF64|BW64)$/.test(magic)) return "riff";
  if (magic === "FUJI") return "raf";
  return fourCharacters(head, 4) === "ftyp" ? "isoMedia" : undefined;
}

/** What hostile bytes ask for beyond the bound in `reading.ts` is refused: then nothing is known to be wrong. */
function* bounded(probe: Probe): Probe {
  try {
    return yield* probe;
  } catch (error) {
    if (error instanceof GaveUp) return undefined;
    throw error;
  }
}
