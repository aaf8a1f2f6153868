/**
 * The menu as `com.canonical.dbusmenu` (libdbusmenu's interface file, 2009): a tree of numbered items that the host
 * fetches, and clicks that name a number.
 *
 * Invariants: a number means one choice for good, so that a click which comes late never does something else; nothing
 * a caller sends is believed. Not its job: the bus (`linux.ts`).
 */

import { DBusError, interface as service, Variant } from "@particle/dbus-next";
import type { Choice, MenuEntry } from "../menuModel.ts";

type Properties = Record<string, Variant>;
/** `(ia{sv}av)` */
type Layout = [number, Properties, Variant<Layout>[]];

interface Item {
  readonly id: number;
  readonly properties: Properties;
  readonly choice: Choice | undefined;
  readonly children: readonly Item[];
}

const rootId = 0;

export class DbusMenu extends service.Interface {
  #items = new Map<number, Item>([[rootId, root([])]]);
  #shape = "";
  #revision = 1;
  readonly #ids = new Map<string, number>();
  readonly #choose: (choice: Choice) => void;

  constructor(choose: (choice: Choice) => void) {
    super("com.canonical.dbusmenu");
    this.#choose = choose;
  }

  /** Shows these entries from now on, and tells the host what changed. */
  show(entries: readonly MenuEntry[]): void {
    const before = this.#items;
    const items = new Map<number, Item>();
    const top = root(this.#itemsOf(entries, "", items));
    items.set(rootId, top);
    this.#items = items;
    const shape = shapeOf(top);
    if (shape !== this.#shape) {
      this.#shape = shape;
      this.#revision += 1;
      this.LayoutUpdated(this.#revision, rootId);
      return;
    }
    const changed = [...items.values()]
      .filter(({ id, properties }) => labelOf(properties) !== labelOf(before.get(id)?.properties))
      .map(({ id, properties }) => [id, properties] as const);
    if (changed.length > 0) this.ItemsPropertiesUpdated(changed, []);
  }

  #itemsOf(entries: readonly MenuEntry[], within: string, all: Map<number, Item>): readonly Item[] {
    return entries.map((entry, index) => {
      const key = entry.entry === "choice" ? JSON.stringify(entry.choice) : `${entry.entry} ${index}`;
      const id = this.#idOf(`${within}/${key}`);
      const children = entry.entry === "group" ? this.#itemsOf(entry.entries, `${within}/${key}`, all) : [];
      const choice = entry.entry === "choice" ? entry.choice : undefined;
      const item = { id, properties: propertiesOf(entry), choice, children };
      all.set(id, item);
      return item;
    });
  }

  #idOf(key: string): number {
    const known = this.#ids.get(key);
    if (known !== undefined) return known;
    const id = this.#ids.size + 1;
    this.#ids.set(key, id);
    return id;
  }

  // --- what the host reads and calls -----------------------------------------------------------------------------

  // With 3 and above hosts send clicks in groups; both ways are answered.
  get Version(): number {
    return 3;
  }
  get TextDirection(): string {
    return "ltr";
  }
  get Status(): string {
    return "normal";
  }
  get IconThemePath(): readonly string[] {
    return [];
  }

  GetLayout(parent: number, depth: number, names: readonly string[]): [number, Layout] {
    return [this.#revision, layoutOf(this.#item(parent), depth, names)];
  }

  /** No numbers means all; those that are unknown are left out. */
  GetGroupProperties(ids: readonly number[], names: readonly string[]): readonly [number, Properties][] {
    const wanted = ids.length === 0 ? [...this.#items.keys()] : ids;
    return wanted
      .map((id) => this.#items.get(id))
      .filter((item) => item !== undefined)
      .map(({ id, properties }) => [id, only(properties, names)]);
  }

  GetProperty(id: number, name: string): Variant {
    const { properties } = this.#item(id);
    const value = Object.hasOwn(properties, name) ? properties[name] : undefined;
    if (value === undefined) throw invalid("This item has no such property.");
    return value;
  }

  Event(id: number, event: string): void {
    this.#item(id);
    this.#event(id, event);
  }

  /** @returns the numbers that are unknown. */
  EventGroup(events: readonly (readonly [number, string, Variant, number])[]): readonly number[] {
    for (const [id, event] of events) this.#event(id, event);
    return this.#unknown(events.map(([id]) => id));
  }

  /** Nothing is made only when it is opened. */
  AboutToShow(id: number): boolean {
    this.#item(id);
    return false;
  }

  /** @returns the numbers that need to be fetched anew, and those that are unknown. */
  AboutToShowGroup(ids: readonly number[]): [readonly number[], readonly number[]] {
    return [[], this.#unknown(ids)];
  }

  LayoutUpdated(revision: number, parent: number): [number, number] {
    return [revision, parent];
  }

  ItemsPropertiesUpdated(
    changed: readonly (readonly [number, Properties])[],
    removed: readonly (readonly [number, readonly string[]])[],
  ): unknown {
    return [changed, removed];
  }

  #event(id: number, event: string): void {
    const choice = this.#items.get(id)?.choice;
    if (event === "clicked" && choice !== undefined) this.#choose(choice);
  }

  #unknown(ids: readonly number[]): readonly number[] {
    return ids.filter((id) => !this.#items.has(id));
  }

  #item(id: number): Item {
    const item = this.#items.get(id);
    if (item === undefined) throw invalid("There is no such item.");
    return item;
  }
}

DbusMenu.configureMembers({
  properties: {
    Version: { signature: "u", access: "read" },
    TextDirection: { signature: "s", access: "read" },
    Status: { signature: "s", access: "read" },
    IconThemePath: { signature: "as", access: "read" },
  },
  methods: {
    GetLayout: { inSignature: "iias", outSignature: "u(ia{sv}av)" },
    GetGroupProperties: { inSignature: "aias", outSignature: "a(ia{sv})" },
    GetProperty: { inSignature: "is", outSignature: "v" },
    Event: { inSignature: "isvu", outSignature: "" },
    EventGroup: { inSignature: "a(isvu)", outSignature: "ai" },
    AboutToShow: { inSignature: "i", outSignature: "b" },
    AboutToShowGroup: { inSignature: "ai", outSignature: "aiai" },
  },
  signals: {
    LayoutUpdated: { signature: "ui" },
    ItemsPropertiesUpdated: { signature: "a(ia{sv})a(ias)" },
  },
});

function root(children: readonly Item[]): Item {
  return { id: rootId, properties: submenu, choice: undefined, children };
}

const submenu: Properties = { "children-display": new Variant("s", "submenu") };

/** Only what isn't the default (enabled, visible, standard). */
function propertiesOf(entry: MenuEntry): Properties {
  if (entry.entry === "line") return { type: new Variant("s", "separator") };
  // A single underscore marks the access key, two of them are one.
  const label = { label: new Variant("s", entry.text.replaceAll("_", "__")) };
  switch (entry.entry) {
    case "text":
      return { ...label, enabled: new Variant("b", false) };
    case "choice":
      return label;
    case "group":
      return { ...label, ...submenu };
  }
}

function labelOf(properties: Properties | undefined): unknown {
  return properties?.["label"]?.value;
}

/** Numbers and nesting: where they are the same, only labels can differ. */
function shapeOf(item: Item): string {
  return `${item.id}(${item.children.map(shapeOf).join(" ")})`;
}

/** @param depth how many generations of children; -1: all */
function layoutOf(item: Item, depth: number, names: readonly string[]): Layout {
  const children = depth === 0 ? [] : item.children;
  return [
    item.id,
    only(item.properties, names),
    children.map((child) => new Variant("(ia{sv}av)", layoutOf(child, depth - 1, names))),
  ];
}

/** No names means all. */
function only(properties: Properties, names: readonly string[]): Properties {
  if (names.length === 0) return properties;
  return Object.fromEntries(Object.entries(properties).filter(([name]) => names.includes(name)));
}

function invalid(text: string): DBusError {
  return new DBusError("org.freedesktop.DBus.Error.InvalidArgs", text);
}
