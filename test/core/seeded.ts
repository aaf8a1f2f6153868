/**
 * A small seeded generator for property tests: the same seed gives the same cases, so a failure can be replayed from
 * the seed in its message. Not for anything but tests.
 */

export interface Seeded {
  /** A whole number from 0 to `below` - 1. */
  below(below: number): number;
  pick<T>(from: readonly T[]): T;
}

/** Mulberry32: 32 bits of state, good enough to wander through cases. */
export function seeded(seed: number): Seeded {
  let state = seed >>> 0;
  const next = (): number => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return (mixed ^ (mixed >>> 14)) >>> 0;
  };
  return {
    below: (below) => next() % below,
    pick: (from) => {
      const picked = from[next() % from.length];
      if (picked === undefined) throw new Error("nothing to pick from");
      return picked;
    },
  };
}

/** Text of up to `most` pieces that file systems, screens and parsers stumble over, mixed with plain ones. */
export function hostileText(random: Seeded, most: number): string {
  let text = "";
  for (let left = random.below(most + 1); left > 0; left -= 1) {
    text += random.below(3) === 0 ? random.pick(plainPieces) : random.pick(hostilePieces);
  }
  return text;
}

const plainPieces = [..."abcXYZ019_-", "é", "é", "ß", "写", "🐦", "ᾂ"];
const hostilePieces = [
  ..."\"*/:<>?\\|%. '~{}\n\r\t\0\u0085\u2028\u202e\u200d\ufeff",
  "..",
  "%3A",
  "%3",
  "%2f",
  "con",
  "NUL",
  "com¹",
  ".jpg",
  "\udc80",
  "\udcff",
  "\ud800",
  "\udfff",
];
