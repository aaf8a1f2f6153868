/** The seed code in a terminal: shape first, always with a number or word beside it. */

export interface Seeds {
  readonly owed: string;
  readonly written: string;
  readonly verified: string;
  /** Verified, but perhaps from a cache. */
  readonly unsure: string;
  readonly damaged: string;
  /** Not plugged in: the last known state. */
  readonly away: string;
  /** What stands between parts of a line, and what leads from a card to drives. */
  readonly dot: string;
  readonly arrow: string;
}

const unicode: Seeds = {
  owed: "○",
  written: "◐",
  verified: "●",
  unsure: "◉",
  damaged: "◖!",
  away: "◌",
  dot: "·",
  arrow: "→",
};
const ascii: Seeds = {
  owed: "o",
  written: "c",
  verified: "#",
  unsure: "@",
  damaged: "!",
  away: ".",
  dot: "-",
  arrow: "->",
};

export const seedsFor = (writesUnicode: boolean): Seeds => (writesUnicode ? unicode : ascii);
