/**
 * Comments of YAML nodes that are taken away or replaced: they move to what stands next to them, so that none is lost.
 *
 * Not its job: how the nodes are written (`yamlText.ts`).
 */

import { isMap, isPair, isScalar, isSeq, type Pair, type YAMLMap, type YAMLSeq } from "yaml";

/** Anything of the tree that can have comments. */
interface Commented {
  commentBefore?: string | null | undefined;
  comment?: string | null | undefined;
}

export function keyOf(pair: Pair): string | undefined {
  return isScalar(pair.key) && typeof pair.key.value === "string" ? pair.key.value : undefined;
}

/** Two comments, one above the other; null for none. */
export function append(first: string | null | undefined, second: string | null | undefined): string | null {
  const both = [first, second].filter((each) => each != null);
  return both.length === 0 ? null : both.join("\n");
}

/** Moves the comments inside a value before its key; the one beside the value stays with it. */
export function move(value: unknown, pair: Pair): void {
  const inside = isMap(value) || isSeq(value) ? commentsInside(value) : [];
  if (inside.length === 0 || !isScalar(pair.key)) return;
  pair.key.commentBefore = append(pair.key.commentBefore, inside.join("\n"));
}

/** Takes a key out of its map; all its comments go before the next key, or to the map's end. */
export function removePair(map: YAMLMap, pair: Pair): void {
  const at = map.items.indexOf(pair);
  const own = allComments(pair).join("\n");
  const blank = isScalar(pair.key) && pair.key.spaceBefore === true;
  map.items.splice(at, 1);
  const next = map.items[at]?.key;
  if (isScalar(next)) {
    if (blank) next.spaceBefore = true;
    if (own !== "") next.commentBefore = append(own, next.commentBefore);
  } else if (own !== "") map.comment = append(map.comment, own);
}

/** Takes an entry out of its list; the comment above it stays, what stands in it or beside it goes with it. */
export function removeEntry(list: YAMLSeq, at: number): void {
  const above = (list.items[at] as Commented | null)?.commentBefore;
  list.items.splice(at, 1);
  if (above == null) return;
  const next = list.items[at] as Commented | null | undefined;
  if (next == null) list.comment = append(above, list.comment);
  else next.commentBefore = append(above, next.commentBefore);
}

function allComments(node: unknown): string[] {
  if (isPair(node)) return [...allComments(node.key), ...allComments(node.value)];
  if (!isScalar(node) && !isMap(node) && !isSeq(node)) return [];
  const { commentBefore, comment } = node as Commented;
  const inside = isMap(node) || isSeq(node) ? node.items.flatMap(allComments) : [];
  return [commentBefore, ...inside, comment].filter((each) => each != null);
}

function commentsInside(node: YAMLMap | YAMLSeq): string[] {
  const before = node.commentBefore;
  return [...(before == null ? [] : [before]), ...node.items.flatMap(allComments)];
}
