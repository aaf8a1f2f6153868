/**
 * Templates for folders and names: literal text and `{field}` or `{field:pattern}`, braces as in RFC 6570 level 1,
 * date patterns as in Unicode TR35.
 *
 * Invariants: a value never adds a folder, leaves its folder, or makes an illegal name, whatever it holds; what
 * `expand` returns is legal on every drive and need not be cleaned again (only the extension must be, by `safePart`,
 * and the whole fitted by `fitPath`).
 * Not its job: what a template may be used for (`profile.ts`), clashes that happen at run time.
 */

import { type DatePattern, formatDate, literalsOf, parseDatePattern } from "./datePattern.ts";
import { encodeCharacters, finishPart } from "./safeName.ts";

export interface TemplateValues {
  readonly trip: string;
  readonly code: string;
  /** The shooting day, `YYYY-MM-DD`. */
  readonly day: string;
  /** The moment in the trip's zone, as `Taken.local`. */
  readonly taken: string;
  /** The body's letter. */
  readonly body: string;
  readonly serial: string;
  readonly model: string;
  /** DCF file number, four digits; "" for a file that has none. */
  readonly number: string;
  /** Base name on the card, without extension. */
  readonly original: string;
  /** Running number within the day, from 1. */
  readonly count: number;
  readonly card: string;
}

export type TemplateField = keyof TemplateValues;

export type TemplatePiece =
  | { readonly kind: "text"; readonly text: string }
  | { readonly kind: "field"; readonly field: TemplateField; readonly pattern: FieldPattern };

export type FieldPattern =
  | { readonly kind: "none" }
  | { readonly kind: "digits"; readonly width: number }
  | { readonly kind: "date"; readonly pattern: DatePattern };

export interface Template {
  readonly pieces: readonly TemplatePiece[];
}

export interface TemplateFault {
  readonly ok: false;
  /** Offset into the template, UTF-16 units from 0. */
  readonly at: number;
  readonly what: string;
  readonly allowed: string;
}

export const templateFields: readonly TemplateField[] = [
  "trip",
  "code",
  "day",
  "taken",
  "body",
  "serial",
  "model",
  "number",
  "original",
  "count",
  "card",
];

/** The template, or its first fault and where it stands. */
export function parseTemplate(
  text: string,
): { readonly ok: true; readonly template: Template } | TemplateFault {
  const pieces: TemplatePiece[] = [];
  let at = 0;
  while (at < text.length) {
    const open = text.indexOf("{", at);
    const end = open < 0 ? text.length : open;
    if (end > at) {
      const literal = text.slice(at, end);
      const fault = faultOfLiteral(literal, at);
      if (fault !== undefined) return fault;
      pieces.push({ kind: "text", text: literal });
    }
    if (open < 0) break;
    const close = text.indexOf("}", open);
    const inner = text.slice(open + 1, close < 0 ? text.length : close);
    if (close < 0 || inner.includes("{")) {
      return {
        ok: false,
        at: open,
        what: "this brace is never closed",
        allowed: "{field} or {field:pattern}",
      };
    }
    const field = parseField(inner, open + 1);
    if (!("kind" in field)) return field;
    pieces.push(field);
    at = close + 1;
  }
  return { ok: true, template: { pieces } };
}

/** The template with values filled in: one part, or several where the template itself has `/`. */
export function expand(template: Template, values: TemplateValues): string {
  let filled = "";
  for (const piece of template.pieces) {
    filled += piece.kind === "text" ? piece.text : encodeCharacters(fill(piece.field, piece.pattern, values));
  }
  return filled
    .split("/")
    .map((part) => finishPart(part))
    .join("/");
}

/** Whether the template uses this field. */
export function uses(template: Template, field: TemplateField): boolean {
  return template.pieces.some((piece) => piece.kind === "field" && piece.field === field);
}

function fill(field: TemplateField, pattern: FieldPattern, values: TemplateValues): string {
  const value = values[field];
  switch (pattern.kind) {
    case "date":
      return formatDate(pattern.pattern, String(value));
    case "digits":
      return value === ""
        ? ""
        : String(value)
            .replace(/^0+(?=\d)/, "")
            .padStart(pattern.width, "0");
    case "none":
      return String(value);
  }
}

function parseField(inner: string, start: number): TemplatePiece | TemplateFault {
  const colon = inner.indexOf(":");
  const name = colon < 0 ? inner : inner.slice(0, colon);
  const field = templateFields.find((known) => known === name);
  if (field === undefined) {
    return { ok: false, at: start, what: `'${name}' is not a field`, allowed: templateFields.join(", ") };
  }
  const written = colon < 0 ? undefined : inner.slice(colon + 1);
  const patternAt = start + colon + 1;
  switch (field) {
    case "day":
      return dateField(field, written ?? "yyyy-MM-dd", "date", patternAt);
    case "taken":
      return dateField(field, written ?? "yyyyMMdd-HHmmss", "date and time", patternAt);
    case "count":
    case "number":
      if (written === undefined) return { kind: "field", field, pattern: { kind: "none" } };
      if (/^0{1,9}$/.test(written))
        return { kind: "field", field, pattern: { kind: "digits", width: written.length } };
      return {
        ok: false,
        at: patternAt,
        what: `'${written}' is not a pattern for a number`,
        allowed: "zeros, one for each digit, such as 0000",
      };
    default:
      if (written === undefined) return { kind: "field", field, pattern: { kind: "none" } };
      return {
        ok: false,
        at: patternAt,
        what: `{${field}} takes no pattern`,
        allowed: `{${field}}; patterns go with day, taken, number and count`,
      };
  }
}

function dateField(
  field: TemplateField,
  written: string,
  has: "date" | "date and time",
  at: number,
): TemplatePiece | TemplateFault {
  const parsed = parseDatePattern(written, has);
  if (!parsed.ok) return { ...parsed, at: at + parsed.at };
  const bad = [...literalsOf(parsed.pattern)].find((char) => encodeCharacters(char) !== char);
  if (bad !== undefined) {
    const allowed = bad === "/" ? "a pattern for each folder, such as {taken:yyyy}/{taken:MM}" : namesHold;
    return {
      ok: false,
      at: at + Math.max(0, written.indexOf(bad)),
      what: `a date can't hold '${bad}' in a name`,
      allowed,
    };
  }
  return { kind: "field", field, pattern: { kind: "date", pattern: parsed.pattern } };
}

const namesHold = 'any character but " * : < > ? \\ | and controls, which some drives refuse';

function faultOfLiteral(literal: string, start: number): TemplateFault | undefined {
  let at = start;
  for (const char of literal) {
    if (char === "}")
      return { ok: false, at, what: "this brace was never opened", allowed: "{field} or {field:pattern}" };
    if (char !== "/" && encodeCharacters(char) !== char) {
      return { ok: false, at, what: `names can't hold '${char}'`, allowed: namesHold };
    }
    at += char.length;
  }
  return undefined;
}
