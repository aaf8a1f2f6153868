/**
 * Columns that stand straight in a terminal, and paragraphs that fit one. Widths follow Unicode's East Asian Width and
 * combining marks in the simple way that terminals do.
 */

const segments = new Intl.Segmenter("en", { granularity: "grapheme" });
/** Mostly UAX #11 `W` and `F`, by block. */
const wide =
  /[\u1100-\u115f\u2e80-\u303e\u3041-\ua4cf\uac00-\ud7a3\uf900-\ufaff\ufe30-\ufe6f\uff00-\uff60\uffe0-\uffe6\u{20000}-\u{3fffd}]|\p{Emoji_Presentation}/u;
const invisible = /^[\p{Mn}\p{Me}\p{Cf}]+$/u;

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

/** The text in lines of at most `width` columns, broken at blanks; the first begins with `first`, the others with `rest`. */
export function paragraph(text: string, width: number, first = "", rest = first): string {
  const lines: string[] = [];
  let line = first;
  let empty = true;
  for (const word of text.split(" ")) {
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
