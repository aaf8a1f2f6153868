/**
 * Another rating in the text of an XMP sidecar. Editors keep their work in sidecars, much of it in forms that only they
 * understand: nothing of it is written anew.
 *
 * Invariant: only the characters of the rating, and of the xmp:MetadataDate that stands there, differ afterwards; where
 * it isn't clear which those are, it is refused.
 */

import { elementsOf, NotUnderstood, spaceOf, type XmlElement } from "./xmpElements.ts";

export type RatedText =
  | { readonly rated: true; readonly text: string }
  /** `why` is a part of a sentence. */
  | { readonly rated: false; readonly why: string };

interface Edit {
  readonly from: number;
  readonly to: number;
  readonly text: string;
}
/** Where a property's value stands; undefined: in a form that isn't plain text. */
type ValuePlace = Pick<Edit, "from" | "to"> | undefined;

// ISO 16684-1: the xmp namespace (8.4), the RDF in x:xmpmeta (7.3); xapmeta is an older name of the same.
const xmp = "http://ns.adobe.com/xap/1.0/";
const rdf = "http://www.w3.org/1999/02/22-rdf-syntax-ns#";
const meta = "adobe:ns:meta/";

/**
 * @param text the whole sidecar, with its BOM if it has one
 * @param rating -1, or 0 to 5
 * @param now RFC 3339, for xmp:MetadataDate
 */
export function withRatingInText(text: string, rating: number, now: string): RatedText {
  try {
    return { rated: true, text: edited(text, edits(elementsOf(text), rating, now)) };
  } catch (error) {
    if (error instanceof NotUnderstood) return { rated: false, why: error.message };
    throw error;
  }
}

function edits(elements: readonly XmlElement[], rating: number, now: string): readonly Edit[] {
  const descriptions = descriptionsOf(elements);
  const inside = new Set(descriptions);
  const places = (local: string): readonly ValuePlace[] => [
    ...descriptions.flatMap(({ attributes }) =>
      attributes.filter((each) => each.space === xmp && each.local === local),
    ),
    ...elements
      .filter((each) => each.space === xmp && each.local === local)
      .filter(({ parent }) => parent !== undefined && inside.has(parent))
      .map(valuePlaceOf),
  ];
  const ratings = places("Rating");
  if (ratings.length > 1) throw new NotUnderstood("it says a rating more than once");
  const [place] = ratings;
  if (ratings.length === 1 && place === undefined)
    throw new NotUnderstood("its rating is in a form that isn't known");
  const [date, ...more] = places("MetadataDate");
  return [
    place === undefined ? added(descriptions, elements, rating) : { ...place, text: String(rating) },
    ...(date === undefined || more.length > 0 ? [] : [{ ...date, text: now }]),
  ];
}

/** The parts of the one thing that the sidecar speaks of. @throws NotUnderstood */
function descriptionsOf(elements: readonly XmlElement[]): readonly XmlElement[] {
  const [graph, ...more] = elements.filter((each) => each.space === rdf && each.local === "RDF");
  const around = graph?.parent;
  const isAtItsPlace =
    around === undefined ||
    (around.parent === undefined && around.space === meta && /^x[am]pmeta$/.test(around.local));
  if (graph === undefined || more.length > 0 || !isAtItsPlace) throw new NotUnderstood("it isn't XMP");
  const descriptions = elements.filter(({ parent }) => parent === graph);
  const isOther = ({ space, local }: XmlElement): boolean => space !== rdf || local !== "Description";
  if (descriptions.length === 0 || descriptions.some(isOther)) throw new NotUnderstood("it isn't XMP");
  if (new Set(descriptions.flatMap(subjectsOf)).size > 1)
    throw new NotUnderstood("it is about several things");
  return descriptions;
}

/** ISO 16684-1, 7.4: rdf:about, "" where it is missing; older writers leave out the prefix. */
function subjectsOf({ attributes }: XmlElement): readonly string[] {
  if (attributes.some(({ space, local }) => space === rdf && /^(ID|nodeID|parseType)$/.test(local)))
    throw new NotUnderstood("it names what it is about in a way that isn't known");
  const told = attributes.filter(({ space, local }) => local === "about" && (space === rdf || space === ""));
  return told.length === 0 ? [""] : told.map(({ value }) => value);
}

/** An attribute changes what the element's content means, or qualifies it. */
function valuePlaceOf({ attributes, text }: XmlElement): ValuePlace {
  return attributes.length === 0 ? text : undefined;
}

function added([first]: readonly XmlElement[], elements: readonly XmlElement[], rating: number): Edit {
  if (first === undefined) throw new NotUnderstood("it isn't XMP");
  const taken = new Set(elements.flatMap(({ declared }) => [...declared.keys()]));
  const bound = [...taken].find((prefix) => prefix !== "" && spaceOf(prefix, first) === xmp);
  const prefix = bound ?? freePrefix(taken);
  const declaration = bound === undefined ? ` xmlns:${prefix}="${xmp}"` : "";
  const text = `${declaration} ${prefix}:Rating="${rating}"`;
  return { from: first.nameEnd, to: first.nameEnd, text };
}

function freePrefix(taken: ReadonlySet<string>): string {
  let prefix = "xmp";
  for (let next = 2; taken.has(prefix); next += 1) prefix = `xmp${next}`;
  return prefix;
}

function edited(text: string, all: readonly Edit[]): string {
  const fromTheEnd = [...all].sort((a, b) => b.from - a.from);
  return fromTheEnd.reduce((so, edit) => so.slice(0, edit.from) + edit.text + so.slice(edit.to), text);
}
