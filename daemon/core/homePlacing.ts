/**
 * Where each file of a trip goes in an archive, given what stands there: what is there already is recognised by
 * content, an earlier version of ours gives way, and beside anything else the trip's own file gets a number, all files
 * of its frame the same one.
 *
 * Invariants: no two files get one place; a place where something else stands is never given.
 */

import {
  baseName,
  type ContentHash,
  extensionOf,
  folderOf,
  nameKey,
  type RelativePath,
} from "../../shared/identity.ts";
import type { Bytes } from "../../shared/units.ts";
import { bytesOf, finishPart } from "./safeName.ts";

/** A file that is to stand in the archive. */
export interface HomeItem {
  /** Where it wants to stand, below the trip's folder. */
  readonly path: RelativePath;
  readonly hash: ContentHash;
  readonly size: Bytes;
  /** Files of one group get the same number. */
  readonly group: HomeGroup;
  /** A work file: earlier versions give way to it, and it is of use beside its frame only. */
  readonly work: boolean;
}

export interface HomeGroup {
  /** What the paths of all its files begin with; a number goes behind it. */
  readonly stem: RelativePath;
  /** All its files stand under one number or none does: a catalogue's. */
  readonly together: boolean;
}

/** A file that stands in the archive. */
export interface Standing {
  readonly path: RelativePath;
  /** undefined where nothing expected can be equal to it. */
  readonly hash: ContentHash | undefined;
  readonly size: Bytes;
  /** `earlier`: a version of ours that a newer one may follow; `damaged`: ours, and no program wrote what it is now. */
  readonly ours: "earlier" | "damaged" | undefined;
}

export type Placement =
  | { readonly what: "there"; readonly path: RelativePath }
  | {
      readonly what: "put";
      readonly path: RelativePath;
      /** What stands there gives way, and is kept. */
      readonly instead: "earlier" | "damaged" | undefined;
    };

/** A place for every item, in their order. */
export function placeAll(items: readonly HomeItem[], standing: readonly Standing[]): readonly Placement[] {
  return new Placing(items, standing).all();
}

class Placing {
  readonly #items: readonly HomeItem[];
  readonly #byKey = new Map<string, Standing>();
  readonly #byContent = new Map<string, Standing[]>();
  /** By name: who wants it first. */
  readonly #wanted = new Map<string, HomeItem>();
  /** Names that are given, and files of the archive that are some item already. */
  readonly #given = new Set<string>();
  readonly #placed = new Map<HomeItem, Placement>();

  constructor(items: readonly HomeItem[], standing: readonly Standing[]) {
    this.#items = items;
    for (const each of standing) {
      this.#byKey.set(nameKey(each.path), each);
      if (each.hash === undefined || each.size === 0) continue;
      const key = contentKey(each.hash, each.size);
      const same = this.#byContent.get(key);
      if (same === undefined) this.#byContent.set(key, [each]);
      else same.push(each);
    }
    for (const item of items)
      if (!this.#wanted.has(nameKey(item.path))) this.#wanted.set(nameKey(item.path), item);
  }

  all(): readonly Placement[] {
    for (const item of this.#items) if (!item.group.together) this.#whereItWants(item);
    const groups = groupsOf(this.#items);
    for (const members of groups) if (members[0]?.group.together !== true) this.#underOtherNames(members);
    for (const members of groups) this.#number(members);
    return this.#items.map((item) => {
      const placement = this.#placed.get(item);
      if (placement === undefined) throw new Error("every file is placed");
      return placement;
    });
  }

  #whereItWants(item: HomeItem): void {
    if (this.#isAt(item, item.path)) this.#take(item, { what: "there", path: item.path });
  }

  /** Under a number of its group, or anywhere for what needs nothing beside it. */
  #underOtherNames(members: readonly HomeItem[]): void {
    for (const item of members) {
      if (this.#placed.has(item) || item.size === 0) continue;
      // A version that once went beside another one takes the name when it is to be had, unless its frame has a number.
      if (item.work && !this.#isNumbered(members) && this.#at(item, item.path) !== undefined) continue;
      const same = this.#byContent.get(contentKey(item.hash, item.size)) ?? [];
      const free = same.filter(({ path }) => !this.#given.has(nameKey(path)));
      const found =
        free.find(({ path }) => !item.work && !this.#isWantedByOther(item, path)) ??
        free.find(({ path }) => numberOf(item, path) !== undefined);
      if (found !== undefined) this.#take(item, { what: "there", path: found.path });
    }
  }

  /** Whether an original of the group stands under a number. */
  #isNumbered(members: readonly HomeItem[]): boolean {
    return members.some((item) => {
      const placement = item.work ? undefined : this.#placed.get(item);
      return placement !== undefined && (numberOf(item, placement.path) ?? 1) > 1;
    });
  }

  /** A file that another item wants to stand under its own name with the same content is left to that one. */
  #isWantedByOther(item: HomeItem, path: RelativePath): boolean {
    const other = this.#wanted.get(nameKey(path));
    return other !== undefined && other !== item && other.hash === item.hash && other.size === item.size;
  }

  /** The lowest number under which all that isn't there yet can stand; the one that others of the group have first. */
  #number(members: readonly HomeItem[]): void {
    const open = members.filter((item) => !this.#placed.has(item));
    if (open.length === 0) return;
    const used = members.flatMap((item) => {
      const placement = this.#placed.get(item);
      return (placement && numberOf(item, placement.path)) ?? [];
    });
    for (const nth of [...new Set(used)].sort((a, b) => a - b)) if (this.#tryNumber(open, nth)) return;
    for (let nth = 1; ; nth += 1) if (this.#tryNumber(open, nth)) return;
  }

  #tryNumber(open: readonly HomeItem[], nth: number): boolean {
    const paths = open.map(({ path, group }) => numbered(path, group.stem, nth));
    const [first, second] = open;
    if (first !== undefined && second !== undefined && new Set(paths.map(nameKey)).size < paths.length) {
      // Two of a group want one name: each goes on alone.
      for (const item of open) this.#number([item]);
      return true;
    }
    const placements: Placement[] = [];
    for (const [index, item] of open.entries()) {
      const placement = this.#at(item, paths[index] ?? item.path);
      if (placement === undefined) return false;
      placements.push(placement);
    }
    for (const [index, item] of open.entries()) {
      const placement = placements[index];
      if (placement !== undefined) this.#take(item, placement);
    }
    return true;
  }

  #at(item: HomeItem, path: RelativePath): Placement | undefined {
    const key = nameKey(path);
    if (this.#given.has(key)) return undefined;
    const other = this.#wanted.get(key);
    if (other !== undefined && other !== item) return undefined;
    if (this.#isAt(item, path)) return { what: "there", path };
    const there = this.#byKey.get(key);
    if (there === undefined) return { what: "put", path, instead: undefined };
    if (there.ours === "damaged" || (there.ours === "earlier" && item.work))
      return { what: "put", path: there.path, instead: there.ours };
    return undefined;
  }

  #isAt({ hash, size }: HomeItem, path: RelativePath): boolean {
    const key = nameKey(path);
    const there = this.#byKey.get(key);
    return there?.hash === hash && there.size === size && !this.#given.has(key);
  }

  #take(item: HomeItem, placement: Placement): void {
    this.#given.add(nameKey(placement.path));
    this.#placed.set(item, placement);
  }
}

function groupsOf(items: readonly HomeItem[]): readonly (readonly HomeItem[])[] {
  const groups = new Map<string, HomeItem[]>();
  for (const item of items) {
    const key = nameKey(item.group.stem);
    const members = groups.get(key);
    if (members === undefined) groups.set(key, [item]);
    else members.push(item);
  }
  return [...groups.values()];
}

const contentKey = (hash: ContentHash, size: Bytes): string => `${hash} ${size}`;

/** The number under which an item stands at a path; undefined where it is no such path. */
function numberOf({ path, group }: HomeItem, at: RelativePath): number | undefined {
  if (nameKey(at) === nameKey(path)) return 1;
  const found = /-(\d{1,6})(?:\.|\/|$)/g;
  for (const [, digits] of at.matchAll(found)) {
    const nth = Number(digits);
    if (nth > 1 && nameKey(numbered(path, group.stem, nth)) === nameKey(at)) return nth;
  }
  return undefined;
}

/** `a/b.NEF.xmp` with the stem `a/b` and 2 is `a/b-2.NEF.xmp`; where the name has no room for it, its middle gives way. */
export function numbered(path: RelativePath, stem: RelativePath, nth: number): RelativePath {
  if (nth === 1) return path;
  const rest = path.slice(stem.length);
  const slash = rest.indexOf("/");
  const ending = `-${nth}${slash < 0 ? rest : rest.slice(0, slash)}`;
  const folder = folderOf(stem);
  const name = finishPart(baseName(stem), Math.max(16, 255 - bytesOf(ending)));
  const part = `${name}${ending}${slash < 0 ? "" : rest.slice(slash)}`;
  return (folder === "" ? part : `${folder}/${part}`) as RelativePath;
}

/** A file's path without its extension. */
export function stemOf(path: RelativePath): RelativePath {
  return path.slice(0, path.length - extensionOf(path).length) as RelativePath;
}

/**
 * The stem of the frame that a work file belongs to (`b.xmp`, `b.NEF.xmp`, `b-changed.NEF` belong to `b`); undefined
 * where no frame is beside it.
 * @param stems of the frames, by name key
 */
export function frameBeside(
  path: RelativePath,
  stems: ReadonlyMap<string, RelativePath>,
): RelativePath | undefined {
  for (let stem = stemOf(path); ; stem = stemOf(stem)) {
    const plain = stem.replace(/-changed$/, "");
    const found = stems.get(nameKey(stem)) ?? stems.get(nameKey(plain));
    // The stem as the work file's own name has it, so that a number goes behind it.
    if (found !== undefined) return path.slice(0, found.length) as RelativePath;
    if (extensionOf(stem) === "") return undefined;
  }
}
