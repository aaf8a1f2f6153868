/**
 * A changed YAML document back as text, as close to the earlier text as it goes: lines that mean what they meant are
 * written as they were, with their blanks and their aligned comments.
 *
 * Invariant: what is returned reads as the document does, to the very characters of numbers that nobody changed.
 */

import { type Document, parseDocument, type Scalar, type Tags, visit } from "yaml";
import { beyondBounds } from "./yamlBounds.ts";

/** A document with errors where the text is none, or is beyond what a parser may be given. */
export function parse(text: string): Document {
  const bounded = beyondBounds(text) === undefined ? text : unreadable;
  return parseDocument(bounded, {
    version: "1.2",
    logLevel: "silent",
    prettyErrors: false,
    customTags: (tags) => tags.map(asWritten),
  });
}

/** Numbers are written with the characters they were read from, since `0012` is more than 12. */
function asWritten(tag: Tags[number]): Tags[number] {
  if (typeof tag === "string" || tag.collection !== undefined || !numberTags.includes(tag.tag)) return tag;
  const { stringify } = tag;
  return {
    ...tag,
    stringify: (item, context, onComment, onChompKeep) =>
      item.source ?? stringify?.(item, context, onComment, onChompKeep) ?? String(item.value),
  };
}

const numberTags: readonly string[] = ["tag:yaml.org,2002:int", "tag:yaml.org,2002:float"];

/** What every parser finds an error in: a list that doesn't end. */
const unreadable = "[";

/**
 * Undefined where the document can't be written without doubt.
 * @param before the text that the document was read from, lines ended by LF
 */
export function written(document: Document, before: string): string | undefined {
  const wanted = meaningOf(document);
  const plain = document.toString({
    lineWidth: 0,
    indent: indentOf(before),
    indentSeq: !/^[\w-]+:[^\n]*\n(?:[ \t]*(?:#[^\n]*)?\n)*- /m.test(before),
  });
  return [restoreLines(plain, before), plain].find((text) => meaningOf(parse(text)) === wanted);
}

/**
 * What two documents have in common that say the same: structure, texts, and the characters of everything that is no
 * text, by which `0012` isn't `12` and a long number isn't its neighbour. Undefined where there are errors.
 */
export function meaningOf(document: Document): string | undefined {
  if (document.errors.length > 0) return undefined;
  const sources: string[] = [];
  visit(document, {
    Scalar: (_key, node) => {
      if (typeof node.value !== "string") sources.push(node.source ?? String(node.value ?? ""));
    },
  });
  return JSON.stringify([document.toJS(), sources]);
}

/** Another value in a scalar's place; the characters of the earlier one are none of it. */
export function setValue(scalar: Scalar, value: string | number | boolean): void {
  scalar.value = value;
  delete scalar.source;
}

/** Blanks of one level: those of the first line that is indented and no list's. */
function indentOf(text: string): number {
  const found = /^( {1,8})[^\s#-]/m.exec(text)?.[1];
  return found === undefined || found.length < 2 ? 2 : found.length;
}

/** Each line that differs from an earlier one by blanks alone is that one; no empty line comes between two that met. */
function restoreLines(text: string, before: string): string {
  const earlier = new Map<string, string[]>();
  for (const line of before.split("\n")) {
    const key = line.replace(/\s+/g, "");
    if (key !== "") earlier.set(key, [...(earlier.get(key) ?? []), line]);
  }
  const lines = text.split("\n").map((line) => earlier.get(line.replace(/\s+/g, ""))?.shift() ?? line);
  const met = (at: number): boolean => `\n${before}\n`.includes(`\n${lines[at - 1]}\n${lines[at + 1]}\n`);
  return lines
    .filter((line, at) => line !== "" || at === 0 || at + 1 === lines.length || !met(at))
    .join("\n");
}
