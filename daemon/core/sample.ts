/**
 * Which frames to look at before a card is formatted: about a dozen of a day that cover every card, every body and
 * every hour, and beside them frames spread evenly over the day. The same frames give the same choice. Not its job:
 * what somebody sees in them.
 */

export interface SampleFrame {
  readonly id: string;
  /** What people call the cards it was read from; may be empty. */
  readonly cards: readonly string[];
  /** Letter of the body; "" when unknown. */
  readonly letter: string;
  /** Hour of the day in the trip's zone, 0 to 23; undefined when unknown. */
  readonly hour: number | undefined;
}

export interface Chosen {
  readonly id: string;
  /** What it stands for: `card 7`, `body A`, `22 h`; `in between` for one that only fills up. */
  readonly stands: readonly string[];
}

export interface Sample {
  /** In the day's order. */
  readonly frames: readonly Chosen[];
  /** How many cards, bodies and hours of the day are among them. */
  readonly covers: { readonly cards: number; readonly bodies: number; readonly hours: number };
}

/** frames. What somebody looks at in a minute. */
const usual = 12;
/** frames. More only where cards, bodies and hours are so many. */
const most = 24;

/** @param frames the day's, in order */
export function sampleOf(frames: readonly SampleFrame[]): Sample {
  const kinds = frames.map(kindsOf);
  const open = new Set(kinds.flat().map(([key]) => key));
  const chosen = new Set<number>();
  while (open.size > 0 && chosen.size < most) {
    const next = coversMost(kinds, open, chosen);
    if (next === undefined) break;
    chosen.add(next);
    for (const [key] of kinds[next] ?? []) open.delete(key);
  }
  while (chosen.size < Math.min(usual, frames.length)) chosen.add(farthest(frames.length, chosen));
  const firsts = new Set<string>();
  const inOrder = [...chosen].sort((a, b) => a - b);
  const picked = inOrder.map((at): Chosen => {
    const stands = (kinds[at] ?? []).filter(([key]) => !firsts.has(key));
    for (const [key] of stands) firsts.add(key);
    const words = stands.map(([, word]) => word);
    return { id: frames[at]?.id ?? "", stands: words.length === 0 ? ["in between"] : words };
  });
  const covered = (kind: string): number => [...firsts].filter((key) => key.startsWith(`${kind} `)).length;
  return {
    frames: picked,
    covers: { cards: covered("card"), bodies: covered("body"), hours: covered("hour") },
  };
}

/** What a frame can stand for: a key and its words. */
function kindsOf({ cards, letter, hour }: SampleFrame): readonly (readonly [string, string])[] {
  return [
    ...[...new Set(cards)].map((card) => [`card ${card}`, card] as const),
    ...(letter === "" ? [] : [[`body ${letter}`, `body ${letter}`] as const]),
    ...(hour === undefined ? [] : [[`hour ${hour}`, `${hour} h`] as const]),
  ];
}

/** Of those that cover most of what is open, the one in the middle: first and last frames are often trials. */
function coversMost(
  kinds: readonly (readonly (readonly [string, string])[])[],
  open: ReadonlySet<string>,
  chosen: ReadonlySet<number>,
): number | undefined {
  let best = 0;
  let equals: number[] = [];
  kinds.forEach((each, at) => {
    if (chosen.has(at)) return;
    const covers = each.filter(([key]) => open.has(key)).length;
    if (covers > best) {
      best = covers;
      equals = [];
    }
    if (covers === best && covers > 0) equals.push(at);
  });
  return equals[Math.floor(equals.length / 2)];
}

/** The place that is farthest from every chosen one; the earliest of several. */
function farthest(length: number, chosen: ReadonlySet<number>): number {
  const marks = [...chosen].sort((a, b) => a - b);
  if (marks.length === 0) return Math.floor(length / 2);
  const ends = [0, length - 1].filter((at) => !chosen.has(at));
  const middles = marks.slice(1).map((right, nth) => Math.floor(((marks[nth] ?? 0) + right) / 2));
  const distance = (at: number): number => Math.min(...marks.map((mark) => Math.abs(mark - at)));
  let best = -1;
  let farthestYet = 0;
  for (const at of [...ends, ...middles].sort((a, b) => a - b)) {
    if (distance(at) <= farthestYet) continue;
    farthestYet = distance(at);
    best = at;
  }
  return best;
}
