/**
 * Columns that stand straight in a terminal, and paragraphs that fit one. Widths follow Unicode's East Asian Width and
 * combining marks in the simple way that terminals do.
 *
 * Invariant: no word is ever broken, and a number stays with its unit; what is wider than the line stands out of it.
 */

const segments = new Intl.Segmenter("en", { granularity: "grapheme" });
/** Mostly UAX #11 `W` and `F`, by block. */
const wide =
  /[\u1100-\u115f\u2e80-\u303e\u3041-\ua4cf\uac00-\ud7a3\uf900-\ufaff\ufe30-\ufe6f\uff00-\uff60\uffe0-\uffe6\u{20000}-\u{3fffd}]|\p{Emoji_Presentation}/u;
const invisible = /^[\p{Mn}\p{Me}\p{Cf}]+$/u;
/** Units as `shared/format.ts` writes them, with what a sentence puts behind. */
const unit = /^(?:[kMGTP]?B(?:\/s)?|s|min|h|%)[^\p{L}\p{N}]*$/u;

/** How many columns a terminal gives the text. */
export function widthOf(text: string): number {
  let width = 0;
  for (const { segment } of segments.segment(text)) {
    if (!invisible.test(segment)) width += wide.test(segment) ? 2 : 1;
  }
  return width;
}

export function padTo(text: string, width: number): string {
  return text + " ".repeat(Math.max(0, width - widthOf(text)));
}

/** Rows of cells as lines, columns two blanks apart, no blanks at the ends. */
export function table(rows: readonly (readonly string[])[], indent = ""): string {
  const columns = Math.max(0, ...rows.map((row) => row.length));
  const widths = Array.from({ length: columns }, (_, index) =>
    Math.max(...rows.map((row) => widthOf(row[index] ?? ""))),
  );
  return rows
    .map((row) =>
      `${indent}${row.map((cell, index) => padTo(cell, widths[index] ?? 0)).join("  ")}`.trimEnd(),
    )
    .map((line) => `${line}\n`)
    .join("");
}

/** The widest line of a text. */
export function widestOf(text: string): number {
  return Math.max(0, ...text.split("\n").map(widthOf));
}

/** A table with a head; where it is too wide, each row as a paragraph: `Blue: role primary, place on me`. */
export function tableOrList(
  head: readonly string[],
  rows: readonly (readonly string[])[],
  width: number,
): string {
  const whole = table([head, ...rows]);
  if (widestOf(whole) <= width) return whole;
  return rows
    .map(([name = "", ...cells]) => {
      const said = cells.flatMap((cell, index) => (cell === "" ? [] : [`${head[index + 1] ?? ""} ${cell}`]));
      return paragraph(`${name}: ${said.join(", ")}`, width, "", "  ");
    })
    .join("");
}

/** Forms with what they mean beside them, or below where that would be squeezed. */
export function meanings(rows: readonly (readonly [string, string])[], width: number): string {
  const column = Math.max(0, ...rows.map(([form]) => widthOf(form))) + 4;
  const beside = column <= width / 2;
  return rows
    .map(([form, does]) =>
      beside
        ? paragraph(does, width, padTo(`  ${form}`, column), " ".repeat(column))
        : `  ${form}\n${paragraph(does, width, "      ")}`,
    )
    .join("");
}

/**
 * The text in lines of at most `width` columns, broken at blanks; the first begins with `first`, the others with `rest`.
 * A number and its unit, and what stands between backticks, stay in one line if they fit into one.
 */
export function paragraph(text: string, width: number, first = "", rest = first): string {
  const lines: string[] = [];
  let line = first;
  let empty = true;
  for (const word of piecesOf(text, width - widthOf(rest))) {
    if (!empty && widthOf(line) + 1 + widthOf(word) > width) {
      lines.push(line);
      line = rest;
      empty = true;
    }
    line += empty ? word : ` ${word}`;
    empty = false;
  }
  lines.push(line);
  return lines.map((each) => `${each.trimEnd()}\n`).join("");
}

/** A paragraph behind a sign, all of its lines in one column. */
export function signed(sign: string, text: string, width: number): string {
  const first = ` ${padTo(sign, 3)}`;
  return paragraph(text, width, first, " ".repeat(widthOf(first)));
}

/** What a paragraph is made of: words, and rows of words that belong together and are not wider than `widest`. */
function piecesOf(text: string, widest: number): readonly string[] {
  const words = text.split(" ");
  const pieces: string[] = [];
  for (let at = 0; at < words.length; ) {
    const count = together(words, at);
    const piece = words.slice(at, at + count).join(" ");
    if (count === 1 || widthOf(piece) <= widest) {
      pieces.push(piece);
      at += count;
    } else {
      pieces.push(words[at] ?? "");
      at += 1;
    }
  }
  return pieces;
}

/** How many words from `at` on belong together. */
function together(words: readonly string[], at: number): number {
  const word = words[at] ?? "";
  if (opens(word)) {
    const end = words.findIndex((each, index) => index > at && opens(each));
    return end < 0 ? 1 : end - at + 1;
  }
  return /\d$/.test(word) && unit.test(words[at + 1] ?? "") ? 2 : 1;
}

/** An odd number of backticks: a command begins or ends here. */
function opens(word: string): boolean {
  return (word.split("`").length - 1) % 2 === 1;
}
