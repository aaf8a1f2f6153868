/**
 * Making hostile text harmless. Names on cards and drives are written by others: they may hold line ends, escape
 * sequences, marks that turn the reading direction, or bytes that are no text at all. Whatever a person reads goes
 * through `printable` first. Not its job: HTML, where the page's own escaping applies to the result.
 */

/** Control, format, private, surrogate and unassigned code points, line and paragraph separators: never shown raw. */
const invisible = /[\p{Cc}\p{Cf}\p{Co}\p{Cs}\p{Cn}\p{Zl}\p{Zp}]/gu;

/** A name as an argument in a command that is shown: as it is, or quoted for a POSIX shell. */
export function asArgument(name: string): string {
  const shown = printable(name);
  return /^[\p{L}\p{N}_.@%+/-]+$/u.test(shown) && !shown.startsWith("-")
    ? shown
    : `'${shown.replaceAll("'", "'\\''")}'`;
}

/** The text with everything invisible or steering written as `\u{…}`, and shortened in its middle past `longest`. */
export function printable(text: string, longest = 200): string {
  const shown = text.replace(invisible, (char) => `\\u{${(char.codePointAt(0) ?? 0).toString(16)}}`);
  if (shown.length <= longest) return shown;
  const half = Math.floor((longest - 1) / 2);
  return `${shown.slice(0, half)}…${shown.slice(-half)}`;
}

/** A card's name within a sentence: `Card 7` is `card 7`. A drive keeps its own, whatever it is called. */
export function inSentence(name: string): string {
  return name.replace(/^Card (?=\d|“|[0-9a-f]{6}$)/, "card ");
}
