/**
 * A changed YAML document back as text, as close to the earlier text as it goes: lines that mean what they meant are
 * written as they were, with their blanks and their aligned comments.
 *
 * Invariant: what is returned reads as the document does.
 */

import { type Document, parseDocument } from "yaml";

export function parse(text: string): Document {
  return parseDocument(text, { version: "1.2", logLevel: "silent" });
}

/** @param before the text that the document was read from, lines ended by LF */
export function written(document: Document, before: string): string {
  const plain = document.toString({
    lineWidth: 0,
    indent: indentOf(before),
    indentSeq: !/^[\w-]+:[^\n]*\n(?:[ \t]*(?:#[^\n]*)?\n)*- /m.test(before),
  });
  const restored = restoreLines(plain, before);
  const read = parse(restored);
  const same = read.errors.length === 0 && JSON.stringify(read.toJS()) === JSON.stringify(document.toJS());
  return same ? restored : plain;
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
