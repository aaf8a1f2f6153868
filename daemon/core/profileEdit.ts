/**
 * Changing single values of a trip profile in its text, so that form and text are two views of one file: comments,
 * order, quotes and layout stay as the photographer wrote them.
 *
 * Invariants: only what was asked for changes in meaning, which reading the result again proves; a text stays a text
 * (`"0012"`, `"04:00"`); a comment goes only with the very line of a list that is taken away.
 * Not its job: whether the result is a valid profile (`profile.ts`), reading values for a form (`profileForm.ts`).
 */

import {
  type Document,
  isAlias,
  isMap,
  isScalar,
  isSeq,
  type Pair,
  Scalar,
  visit,
  YAMLMap,
  YAMLSeq,
} from "yaml";
import type { ProfileChangeJson } from "../../shared/tripsApi.ts";
import { rootKeys } from "./profile.ts";
import { editsKeys } from "./profileEdits.ts";
import { archiveKeys } from "./profileTemplates.ts";
import { append, keyOf, move, removeEntry, removePair } from "./yamlComments.ts";
import { meaningOf, parse, setValue, written } from "./yamlText.ts";

type Value = string | boolean | null;

/** Where a value stands: a key of the profile, perhaps an entry of its list, perhaps a key in that. */
interface Place {
  readonly key: string;
  readonly entry: number | undefined;
  readonly inside: string | undefined;
}

/** The keys inside each list or map of a profile, in the order in which they are written. */
const insideKeys: { readonly [key: string]: readonly string[] } = {
  goal: ["copies", "places"],
  drives: ["name", "role", "place"],
  bodies: ["serial", "letter", "clock", "zone", "video-time"],
  after: ["eject-card"],
  edits: editsKeys,
  archive: archiveKeys,
};
const lists: readonly string[] = ["drives", "bodies"];
/** Values that are written in quotes even where YAML wouldn't ask for it, as the example profile has them. */
const quoted: readonly string[] = ["day-starts", "serial", "clock", "folders", "names", "tree"];

/** characters, of the text once for each change: it is read again for each. Hundreds in a profile of the usual length. */
const workMost = 1_000_000;

/** Whether these are more changes than may be made at once in a text of this length. */
export function tooManyChanges(text: string, changes: readonly ProfileChangeJson[]): boolean {
  return text.length * changes.length > workMost;
}

/**
 * The text with these values changed, one after the other; undefined where the text is no sound YAML map, a key is
 * none of a profile's, or there are too many changes.
 */
export function changeProfile(text: string, changes: readonly ProfileChangeJson[]): string | undefined {
  if (tooManyChanges(text, changes)) return undefined;
  const windows = text.includes("\r\n");
  let now: string | undefined = windows ? text.replaceAll("\r\n", "\n") : text;
  for (const { key, value } of changes) {
    const place = placeOf(key);
    now = place === undefined || now === undefined ? undefined : changeOne(now, place, value);
  }
  return windows ? now?.replaceAll("\n", "\r\n") : now;
}

function placeOf(path: string): Place | undefined {
  const found = /^([a-z-]+)(?:\[(\d{1,3})\])?(?:\.([a-z-]+))?$/.exec(path);
  const key = found?.[1] ?? "";
  const entry = found?.[2] === undefined ? undefined : Number(found[2]);
  const inside = found?.[3];
  if (!rootKeys.includes(key)) return undefined;
  if (lists.includes(key) !== (entry !== undefined)) return undefined;
  if (inside !== undefined && insideKeys[key]?.includes(inside) !== true) return undefined;
  return { key, entry, inside };
}

function changeOne(text: string, place: Place, value: Value): string | undefined {
  const document = parse(text);
  if (document.errors.length > 0 || hasAlias(document)) return undefined;
  if (document.contents === null) document.contents = new YAMLMap(document.schema) as Document["contents"];
  const root = document.contents;
  if (!isMap(root)) return undefined;
  if (value === null) return remove(document, root, place) ? written(document, text) : text;
  const there = scalarAt(root, place);
  if (there !== undefined) {
    const spliced = splice(text, document, place, there, value);
    if (spliced !== undefined) return spliced;
  }
  return put(document, root, place, value) ? written(document, text) : undefined;
}

/** An alias is refused when a profile is read; here it could change more than one place. */
function hasAlias(document: Document): boolean {
  let found = false;
  visit(document, (_key, node) => {
    if (isAlias(node)) found = true;
  });
  return found;
}

// --- a value that stands there already: only its own characters change -------------------------------------------------

function scalarAt(root: YAMLMap, { key, entry, inside }: Place): Scalar | undefined {
  let node: unknown = root.get(key, true);
  if (entry !== undefined) node = isSeq(node) ? node.items[entry] : undefined;
  if (inside !== undefined) node = isMap(node) ? node.get(inside, true) : undefined;
  return isScalar(node) ? node : undefined;
}

/** Undefined where the value can't be written there without doubt. */
function splice(
  text: string,
  document: Document,
  place: Place,
  there: Scalar,
  value: string | boolean,
): string | undefined {
  const { range } = there;
  if (range == null || range[0] === range[1] || there.anchor !== undefined) return undefined;
  // Quotes around nothing only say that it is nothing.
  const bare = there.value === "" && !quoted.includes(place.inside ?? place.key);
  const type = bare ? Scalar.PLAIN : there.type;
  const before = text.slice(0, range[0]);
  // A value over several lines takes its line's end with it.
  const end = /\n$/.exec(text.slice(range[0], range[1]))?.[0] ?? "";
  const after = text.slice(range[1]);
  setValue(there, typed(place, value));
  const wanted = meaningOf(document);
  for (const form of formsOf(type, typed(place, value))) {
    const changed = `${before}${form}${end}${after}`;
    const read = parse(changed);
    if (!hasAlias(read) && meaningOf(read) === wanted) return changed;
  }
  return undefined;
}

/** How a value may be written: as the earlier one was, else in double quotes, which hold any text (YAML 1.2.2, 7.3.1). */
function formsOf(type: Scalar["type"], value: string | number | boolean): readonly string[] {
  if (typeof value !== "string") return [String(value)];
  const doubled = JSON.stringify(value);
  if (type === "PLAIN") return [value, doubled];
  if (type === "QUOTE_SINGLE") return [`'${value.replaceAll("'", "''")}'`, doubled];
  return [doubled];
}

/** A number where a number is meant and written; anything else stays the text it is, and reading finds fault with it. */
function typed({ key, inside }: Place, value: string | boolean): string | number | boolean {
  if (key === "after" && inside !== undefined) return value === true || value === "true";
  if (key === "goal" && /^\d{1,4}$/.test(String(value))) return Number(value);
  return String(value);
}

// --- a value that doesn't stand there yet ------------------------------------------------------------------------------

function put(document: Document, root: YAMLMap, place: Place, value: string | boolean): boolean {
  const { key, entry, inside } = place;
  if (inside === undefined && insideKeys[key] !== undefined) return false;
  // A switch that isn't there is off.
  if (key === "after" && value === false && !root.has(key)) return true;
  onlyOneGoal(root, key);
  const last = inside ?? key;
  const node = new Scalar(typed(place, value));
  if (quoted.includes(last) && typeof node.value === "string") node.type = "QUOTE_DOUBLE";
  if (inside === undefined) {
    setIn(document, root, key, node, rootKeys);
    return true;
  }
  const map = entry === undefined ? mapAt(document, root, key) : entryAt(document, root, key, entry);
  if (map === undefined) return false;
  setIn(document, map, inside, node, insideKeys[key] ?? []);
  return true;
}

/** `goal` and `worth` say the same: the one that comes takes the other's place. */
function onlyOneGoal(root: YAMLMap, key: string): void {
  const other = key === "goal" ? "worth" : key === "worth" ? "goal" : undefined;
  const there = root.items.find((pair) => keyOf(pair) === other);
  if (other === undefined || there === undefined) return;
  if (root.has(key)) removePair(root, there);
  else if (isScalar(there.key)) there.key.value = key;
}

function mapAt(document: Document, root: YAMLMap, key: string): YAMLMap | undefined {
  const there = root.get(key, true);
  if (isMap(there)) return there;
  const map = new YAMLMap(document.schema);
  map.flow = true;
  setIn(document, root, key, map, rootKeys);
  return map;
}

/** The entry of a list; the one after the last is made. */
function entryAt(document: Document, root: YAMLMap, key: string, entry: number): YAMLMap | undefined {
  const found: unknown = root.get(key, true);
  const list = isSeq(found) ? found : new YAMLSeq(document.schema);
  if (list !== found) setIn(document, root, key, list, rootKeys);
  const there = list.items[entry];
  if (isMap(there)) return there;
  if (entry > list.items.length) return undefined;
  const map = new YAMLMap(document.schema);
  const last = list.items.at(-1);
  map.flow = !isMap(last) || last.flow === true;
  if (list.items.length === 0) list.flow = false;
  if (there === undefined) list.items.push(map);
  else list.items[entry] = map;
  return map;
}

/** Sets a key of a map; a new one comes after those that stand before it in `order`. */
function setIn(
  document: Document,
  map: YAMLMap,
  key: string,
  value: Scalar | YAMLMap | YAMLSeq,
  order: readonly string[],
): void {
  const there = map.items.find((pair) => keyOf(pair) === key);
  if (there !== undefined) {
    move(there.value, there);
    const { comment } = (there.value ?? {}) as Partial<Scalar>;
    if (comment != null) value.comment = comment;
    there.value = value;
    return;
  }
  const earlier = new Set(order.slice(0, order.indexOf(key)));
  const at = map.items.findLastIndex((pair: Pair) => earlier.has(keyOf(pair) ?? "")) + 1;
  map.items.splice(at, 0, document.createPair(key, value));
}

// --- taking away -------------------------------------------------------------------------------------------------------

/** @returns whether anything stood there. */
function remove(document: Document, root: YAMLMap, { key, entry, inside }: Place): boolean {
  const there = root.items.find((pair) => keyOf(pair) === key);
  if (there === undefined) return false;
  if (entry === undefined && inside === undefined) {
    removeRoot(document, root, there);
    return true;
  }
  const list = there.value;
  const holder = entry === undefined ? there.value : isSeq(list) ? list.items[entry] : undefined;
  if (inside !== undefined) {
    const pair = isMap(holder) ? holder.items.find((each) => keyOf(each) === inside) : undefined;
    if (pair === undefined || !isMap(holder)) return false;
    removePair(holder, pair);
    if (entry === undefined && holder.items.length === 0) removeRoot(document, root, there);
    return true;
  }
  if (!isSeq(list) || entry === undefined || entry >= list.items.length) return false;
  removeEntry(list, entry);
  if (list.items.length > 0) return true;
  if (key === "bodies") removeRoot(document, root, there);
  else list.flow = true;
  return true;
}

/** What stood beside the last key stays at the document's end. */
function removeRoot(document: Document, root: YAMLMap, pair: Pair): void {
  removePair(root, pair);
  if (root.comment == null) return;
  document.comment = append(root.comment, document.comment);
  root.comment = null;
}
