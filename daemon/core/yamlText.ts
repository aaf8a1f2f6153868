/**
 * A changed YAML document back as text, as close to the earlier text as it goes: lines that mean what they meant are
 * written as they were, with their blanks and their aligned comments.
 *
 * Invariant: what is returned reads as the document does.
 */

import { type Document, parseDocument, visit } from "yaml";
import { beyondBounds } from "./yamlBounds.ts";

/** A document with errors where the text is none, or is beyond what a parser may be given. */
export function parse(text: string): Document {
  const bounded = beyondBounds(text) === undefined ? text : unreadable;
  return parseDocument(bounded, { version: "1.2", logLevel: "silent" });
}

/** What every parser finds an error in: a list that doesn't end. */
const unreadable = "[";

/** @param before the text that the document was read from, lines ended by LF */
export function written(document: Document, before: string): string {
  const wanted = JSON.stringify(document.toJS());
  const sources = standIns(document, before);
  let plain = document.toString({
    lineWidth: 0,
    indent: indentOf(before),
    indentSeq: !/^[\w-]+:[^\n]*\n(?:[ \t]*(?:#[^\n]*)?\n)*- /m.test(before),
  });
  for (const [standIn, source] of sources) plain = plain.replace(standIn, () => source);
  const restored = restoreLines(plain, before);
  const read = parse(restored);
  const same = read.errors.length === 0 && JSON.stringify(read.toJS()) === wanted;
  return same ? restored : plain;
}

/**
 * Numbers and the like that nobody changed are written with the characters they have, since `0012` is more than 12: each
 * is a word for a moment, by which its characters are put back. @returns the words with the characters, in order
 */
function standIns(document: Document, before: string): ReadonlyMap<string, string> {
  let word = "standIn";
  while (before.includes(word)) word += "X";
  const sources = new Map<string, string>();
  visit(document, {
    Scalar: (_key, node) => {
      const { source, value } = node;
      if (source === undefined || typeof value === "string" || parse(source).toJS() !== value) return;
      const standIn = `${word}${String(sources.size).padStart(5, "0")}`;
      sources.set(standIn, source);
      node.value = standIn;
    },
  });
  return sources;
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
