/**
 * The word that was probably meant: a hint for whoever mistyped a key, a zone, a command or an option.
 *
 * Not its job: acting on it. A guess is shown, never taken.
 */

/** A longer word is no slip of one. */
const longestWord = 40;

/** The known word that differs least from this one, if it is near enough to be meant. */
export function nearest(word: string, known: readonly string[]): string | undefined {
  if (word.length > longestWord) return undefined;
  let best: string | undefined;
  let bestDistance = Math.max(1, Math.floor(word.length / 3)) + 1;
  for (const candidate of known) {
    const distance = editDistance(word.toLowerCase(), candidate.toLowerCase());
    if (distance < bestDistance) {
      best = candidate;
      bestDistance = distance;
    }
  }
  return best;
}

/** Letters added, left out, changed or swapped with their neighbour, the fewest that make `b` of `a`. */
function editDistance(a: string, b: string): number {
  let before: number[] = [];
  let row = Array.from({ length: b.length + 1 }, (_, index) => index);
  for (let i = 1; i <= a.length; i += 1) {
    const next = [i];
    for (let j = 1; j <= b.length; j += 1) {
      const change = a.charAt(i - 1) === b.charAt(j - 1) ? 0 : 1;
      let least = Math.min((row[j] ?? 0) + 1, (next[j - 1] ?? 0) + 1, (row[j - 1] ?? 0) + change);
      const swapped =
        i > 1 && j > 1 && a.charAt(i - 1) === b.charAt(j - 2) && a.charAt(i - 2) === b.charAt(j - 1);
      if (swapped) least = Math.min(least, (before[j - 2] ?? 0) + 1);
      next.push(least);
    }
    before = row;
    row = next;
  }
  return row[b.length] ?? 0;
}
