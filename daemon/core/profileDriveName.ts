/**
 * Another drive in a trip's profile: its name changes where the profile lists the drive, and nothing else does, so that
 * comments, quotes and layout stay as the photographer wrote them.
 *
 * Not its job: whether the result is a valid profile (`profile.ts`).
 */

import { isMap, isScalar, isSeq, type Scalar } from "yaml";
import { nameKey } from "../../shared/identity.ts";
import { parse } from "./yamlText.ts";

/**
 * The profile's text with one drive called otherwise. Undefined if it lists no drive of that name, or can't be changed
 * without doubt.
 */
export function renameDrive(text: string, oldName: string, newName: string): string | undefined {
  const names = driveNames(text);
  const index = names.findIndex(({ name }) => nameKey(name) === nameKey(oldName));
  const found = names[index];
  if (found === undefined) return undefined;
  const wanted = names.map(({ name }, at) => (at === index ? newName : name));
  const written = text.slice(found.start, found.end);
  // A value over several lines takes its line's end with it.
  const end = /\r?\n$/.exec(written)?.[0] ?? "";
  for (const form of formsOf(found.type, newName)) {
    const changed = text.slice(0, found.start) + form + end + text.slice(found.end);
    // Reading it again is the proof: `a, b` or `12` without quotes would be something else.
    const read = driveNames(changed).map(({ name }) => name);
    if (read.length === wanted.length && read.every((name, at) => name === wanted[at])) return changed;
  }
  return undefined;
}

interface ListedName {
  readonly name: string;
  readonly type: Scalar["type"];
  /** Offsets in the text, quotes included. */
  readonly start: number;
  readonly end: number;
}

/** The names of the drives in their order; none where the YAML is faulty. */
function driveNames(text: string): readonly ListedName[] {
  const document = parse(text);
  const drives = isMap(document.contents) ? document.contents.get("drives", true) : undefined;
  if (document.errors.length > 0 || !isSeq(drives)) return [];
  return drives.items.flatMap((item) => {
    const name = isMap(item) ? item.get("name", true) : undefined;
    if (!isScalar(name) || typeof name.value !== "string" || name.range == null) return [];
    return { name: name.value, type: name.type, start: name.range[0], end: name.range[1] };
  });
}

/** How the name may be written: as the earlier one was, else in double quotes, which hold any text (YAML 1.2.2, 7.3.1). */
function formsOf(type: Scalar["type"], name: string): readonly string[] {
  const doubled = JSON.stringify(name);
  if (type === "PLAIN") return [name, doubled];
  if (type === "QUOTE_SINGLE") return [`'${name.replaceAll("'", "''")}'`, doubled];
  return [doubled];
}
