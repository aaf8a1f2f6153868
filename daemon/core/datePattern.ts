/**
 * Date patterns as in Unicode TR35 part 4 (Date Format Patterns), the numeric part of them: what sorts and is the
 * same in every language. A letter stands for a field, its repetition for the width; other characters are
 * themselves; letters meant literally stand in single quotes, '' is one quote.
 *
 * Not its job: names of months and days, eras, weeks, zones: those letters are faults here.
 */

export interface PatternFault {
  readonly ok: false;
  /** Offset into the pattern, from 0. */
  readonly at: number;
  readonly what: string;
  readonly allowed: string;
}

type Unit = "year" | "month" | "day" | "dayOfYear" | "hour" | "minute" | "second" | "fraction";

type Piece =
  | { readonly kind: "text"; readonly text: string }
  | { readonly kind: "unit"; readonly unit: Unit; readonly width: number };

export interface DatePattern {
  readonly pieces: readonly Piece[];
}

const units: Readonly<
  Record<string, { readonly unit: Unit; readonly widths: readonly number[]; readonly date: boolean }>
> = {
  y: { unit: "year", widths: [1, 2, 4], date: true },
  M: { unit: "month", widths: [1, 2], date: true },
  d: { unit: "day", widths: [1, 2], date: true },
  D: { unit: "dayOfYear", widths: [1, 3], date: true },
  H: { unit: "hour", widths: [1, 2], date: false },
  m: { unit: "minute", widths: [1, 2], date: false },
  s: { unit: "second", widths: [1, 2], date: false },
  S: { unit: "fraction", widths: [1, 2, 3], date: false },
};

const dateLetters = "y yy yyyy (year), M MM (month), d dd (day), D DDD (day of the year)";
const timeLetters = "H HH (hour), m mm (minute), s ss (second), S SS SSS (fraction)";

/**
 * @param has whether the value has a time of day; without one, letters of time are faults
 */
export function parseDatePattern(
  text: string,
  has: "date" | "date and time",
): { readonly ok: true; readonly pattern: DatePattern } | PatternFault {
  const allowed =
    has === "date" ? dateLetters : `${dateLetters}, ${timeLetters}; other letters in single quotes`;
  const pieces: Piece[] = [];
  let at = 0;
  while (at < text.length) {
    const char = text.charAt(at);
    if (char === "'") {
      const quoted = readQuoted(text, at);
      if (quoted === undefined) {
        return {
          ok: false,
          at,
          what: "this single quote is never closed",
          allowed: "'text', or '' for one quote",
        };
      }
      pieces.push({ kind: "text", text: quoted.text });
      at = quoted.end;
      continue;
    }
    if (!/[A-Za-z]/.test(char)) {
      pieces.push({ kind: "text", text: char });
      at += 1;
      continue;
    }
    let end = at + 1;
    while (text.charAt(end) === char) end += 1;
    const letters = text.slice(at, end);
    const known = units[char];
    if (known === undefined || !known.widths.includes(letters.length)) {
      return { ok: false, at, what: `'${letters}' is not a date field`, allowed };
    }
    if (has === "date" && !known.date) {
      return {
        ok: false,
        at,
        what: `'${letters}' asks a day for its time`,
        allowed: `${allowed}; for times use {taken}`,
      };
    }
    pieces.push({ kind: "unit", unit: known.unit, width: letters.length });
    at = end;
  }
  if (!pieces.some((piece) => piece.kind === "unit")) {
    return { ok: false, at: 0, what: "this pattern has no date field", allowed };
  }
  return { ok: true, pattern: { pieces } };
}

/**
 * The moment in this form.
 * @param local `YYYY-MM-DD` or `YYYY-MM-DDTHH:mm:ss.SSS`, civil time
 */
export function formatDate(pattern: DatePattern, local: string): string {
  return pattern.pieces
    .map((piece) => (piece.kind === "text" ? piece.text : formatUnit(piece.unit, piece.width, local)))
    .join("");
}

/** The pattern's literal text, for judging what it would put into a name. */
export function literalsOf(pattern: DatePattern): string {
  return pattern.pieces.map((piece) => (piece.kind === "text" ? piece.text : "")).join("");
}

function formatUnit(unit: Unit, width: number, local: string): string {
  const year = local.slice(0, 4);
  const padded = (digits: string): string => String(Number(digits)).padStart(width, "0");
  switch (unit) {
    case "year":
      // TR35: yy is the last two digits; any other width pads.
      return width === 2 ? year.slice(-2) : padded(year);
    case "month":
      return padded(local.slice(5, 7));
    case "day":
      return padded(local.slice(8, 10));
    case "dayOfYear":
      return padded(String(dayOfYear(Number(year), Number(local.slice(5, 7)), Number(local.slice(8, 10)))));
    case "hour":
      return padded(local.slice(11, 13));
    case "minute":
      return padded(local.slice(14, 16));
    case "second":
      return padded(local.slice(17, 19));
    case "fraction":
      // TR35: fractions are cut, not rounded.
      return local.slice(20).padEnd(width, "0").slice(0, width);
  }
}

function dayOfYear(year: number, month: number, day: number): number {
  const leap = (year % 4 === 0 && year % 100 !== 0) || year % 400 === 0;
  const lengths = [31, leap ? 29 : 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
  return lengths.slice(0, month - 1).reduce((sum, length) => sum + length, day);
}

/** From the quote at `start`: its text and the offset after its end. */
function readQuoted(text: string, start: number): { text: string; end: number } | undefined {
  if (text.charAt(start + 1) === "'") return { text: "'", end: start + 2 };
  let result = "";
  let at = start + 1;
  while (at < text.length) {
    if (text.charAt(at) !== "'") {
      result += text.charAt(at);
      at += 1;
    } else if (text.charAt(at + 1) === "'") {
      result += "'";
      at += 2;
    } else {
      return { text: result, end: at + 1 };
    }
  }
  return undefined;
}
