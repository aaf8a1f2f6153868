/**
 * Reading a YAML 1.2 document node by node with the place of everything: each fault gets its line and column, and no
 * fault hides the next one.
 *
 * Invariants: hostile text in a message is printable; an alias is refused where it stands, never followed, so a
 * document can't grow by being read. Not its job: what the keys mean (`profile.ts`).
 */

import { isAlias, isMap, isScalar, isSeq, LineCounter, type Node, parseDocument, type Scalar } from "yaml";
import { printable } from "../../shared/text.ts";
import type { ProfileFault } from "../../shared/trip.ts";
import { nearest } from "./nearest.ts";

/** Collects faults by offset. */
export interface Faults {
  error(at: number, key: string, what: string, allowed: string): void;
  warning(at: number, key: string, what: string, allowed: string): void;
  /** In the order of the document. */
  list(): readonly ProfileFault[];
}

/** A key with its value. `key` is its path such as `drives[1].role`. */
export interface Field {
  readonly key: string;
  readonly keyAt: number;
  /** Where to point when the value is wrong: the value, or the key when there is none. */
  readonly at: number;
  /** null: the key stands there without a value. */
  readonly node: Node | null;
}

export interface YamlSource {
  readonly root: Node | null;
  /** A syntax fault was found: what is missing may only have been misread. */
  readonly broken: boolean;
  readonly faults: Faults;
  readonly text: string;
}

/** Syntax faults that are named; those after them follow from the first ones. */
const mostSyntaxFaults = 20;

/** Parses the document; syntax faults and doubled keys are in `faults` already. */
export function readYaml(text: string): YamlSource {
  const lines = new LineCounter();
  const faults = collector(lines);
  const document = parseDocument(text, {
    version: "1.2",
    lineCounter: lines,
    prettyErrors: false,
    uniqueKeys: true,
    logLevel: "error",
  });
  let broken = false;
  for (const error of document.errors.slice(0, mostSyntaxFaults)) {
    const [what, allowed] = explain(error.code, error.message);
    if (error.code !== "DUPLICATE_KEY") broken = true;
    faults.error(error.pos[0], "", what, allowed);
  }
  for (const warning of document.warnings) {
    faults.warning(
      warning.pos[0],
      "",
      `YAML: ${printable(warning.message)}`,
      "YAML 1.2 without tags or directives",
    );
  }
  return { root: document.contents, broken, faults, text };
}

/**
 * The fields of a map by their key. Unknown keys are faults that name the nearest known one; a node that is no map is
 * a fault and gives undefined.
 */
export function readMap(
  node: Node | null,
  at: number,
  path: string,
  known: readonly string[],
  faults: Faults,
): ReadonlyMap<string, Field> | undefined {
  if (!isMap(node)) {
    faults.error(
      at,
      path,
      `${describe(node)} stands where keys with values are meant`,
      `the keys ${known.join(", ")}`,
    );
    return undefined;
  }
  const fields = new Map<string, Field>();
  for (const pair of node.items) {
    const keyNode = pair.key;
    const keyAt = offsetOf(keyNode, at);
    const name = isScalar(keyNode) && typeof keyNode.value === "string" ? keyNode.value : undefined;
    if (name === undefined) {
      faults.error(keyAt, path, "this key is no plain word", known.join(", "));
      continue;
    }
    const key = path === "" ? name : `${path}.${name}`;
    if (!known.includes(name)) {
      const near = nearest(name, known);
      const hint = near === undefined ? "" : `; did you mean '${near}'?`;
      faults.error(keyAt, printable(key), `unknown key '${printable(name)}'${hint}`, known.join(", "));
      continue;
    }
    if (fields.has(name)) continue; // The parser has already pointed at the second one.
    const value = pair.value as Node | null;
    const empty = value === null || (isScalar(value) && value.value === null && value.source === "");
    fields.set(name, { key, keyAt, at: empty ? keyAt : offsetOf(value, keyAt), node: empty ? null : value });
  }
  return fields;
}

/** Whether a list stands there, where a single value may stand too. */
export const isListed = (field: Field): boolean => isSeq(field.node);

/** The items of a list as fields; a node that is no list is a fault and gives undefined. */
export function readList(field: Field, what: string, faults: Faults): readonly Field[] | undefined {
  if (!isSeq(field.node)) {
    faults.error(field.at, field.key, `${describe(field.node)} stands where a list is meant`, what);
    return undefined;
  }
  return field.node.items.map((item, index) => {
    const node = item as Node | null;
    const at = offsetOf(node, field.at);
    return { key: `${field.key}[${index}]`, keyAt: at, at, node };
  });
}

/** A text; numbers, dates and the like that YAML made of an unquoted word are faults that ask for quotes. */
export function readText(field: Field, allowed: string, faults: Faults): string | undefined {
  const scalar = readScalar(field, allowed, faults);
  if (scalar === undefined) return undefined;
  if (typeof scalar.value === "string") return scalar.value;
  const source = printable(scalar.source ?? String(scalar.value), 60);
  faults.error(
    field.at,
    field.key,
    `${describe(scalar)} stands where a text is meant`,
    `in quotes: "${source}"`,
  );
  return undefined;
}

/** A whole number. */
export function readWhole(field: Field, least: number, most: number, faults: Faults): number | undefined {
  const allowed = `a whole number from ${least} to ${most}`;
  const scalar = readScalar(field, allowed, faults);
  if (scalar === undefined) return undefined;
  const value = scalar.value;
  if (typeof value === "number" && Number.isInteger(value) && value >= least && value <= most) return value;
  faults.error(field.at, field.key, `${describe(scalar)} is not a number that fits here`, allowed);
  return undefined;
}

export function readBoolean(field: Field, faults: Faults): boolean | undefined {
  const scalar = readScalar(field, "true or false", faults);
  if (scalar === undefined) return undefined;
  if (typeof scalar.value === "boolean") return scalar.value;
  faults.error(field.at, field.key, `${describe(scalar)} is neither true nor false`, "true or false");
  return undefined;
}

/** A single value; a missing one, a list, a map or an alias is a fault. */
export function readScalar(field: Field, allowed: string, faults: Faults): Scalar | undefined {
  if (field.node === null || (isScalar(field.node) && field.node.value === null)) {
    faults.error(field.at, field.key, "there is no value", allowed);
    return undefined;
  }
  if (isScalar(field.node)) return field.node;
  faults.error(field.at, field.key, `${describe(field.node)} stands where a single value is meant`, allowed);
  return undefined;
}

/**
 * Where the character at `at` of a scalar's value stands in the document; the scalar's start if it is written with
 * escapes or over several lines.
 */
export function offsetInside(field: Field, text: string, at: number): number {
  const node = field.node;
  if (!isScalar(node) || typeof node.value !== "string" || node.range == null) return field.at;
  const quote = node.type === "QUOTE_DOUBLE" || node.type === "QUOTE_SINGLE" ? 1 : 0;
  const start = node.range[0] + quote;
  return text.startsWith(node.value, start) ? start + at : node.range[0];
}

function collector(lines: LineCounter): Faults {
  const found: { at: number; fault: ProfileFault }[] = [];
  const add = (
    severity: ProfileFault["severity"],
    at: number,
    key: string,
    what: string,
    allowed: string,
  ) => {
    const place = lines.linePos(at);
    const fault = {
      severity,
      line: Math.max(1, place.line),
      column: Math.max(1, place.col),
      key,
      what,
      allowed,
    };
    found.push({ at, fault });
  };
  return {
    error: (at, key, what, allowed) => add("error", at, key, what, allowed),
    warning: (at, key, what, allowed) => add("warning", at, key, what, allowed),
    list: () => [...found].sort((a, b) => a.at - b.at).map((each) => each.fault),
  };
}

function offsetOf(node: unknown, otherwise: number): number {
  const range = (node as Node | null)?.range;
  return range == null ? otherwise : range[0];
}

/** What stands there, in a few words. */
function describe(node: unknown): string {
  if (isAlias(node)) return "an alias";
  if (isMap(node)) return "a map";
  if (isSeq(node)) return "a list";
  if (!isScalar(node) || node.value === null) return "nothing";
  const source = printable(node.source ?? String(node.value), 60);
  if (typeof node.value === "string") return `'${source}'`;
  if (typeof node.value === "boolean") return `the truth value ${source}`;
  return `the number ${source}`;
}

function explain(code: string, message: string): readonly [string, string] {
  switch (code) {
    case "TAB_AS_INDENT":
      return ["a tab stands where the line is indented", "blanks"];
    case "DUPLICATE_KEY":
      return ["this key stands here a second time", "each key once"];
    case "MULTIPLE_DOCS":
      return ["a second document begins here", "one trip in a file"];
    default:
      return [`YAML: ${printable(message)}`, "YAML 1.2"];
  }
}
