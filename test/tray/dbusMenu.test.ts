/** The menu as a host on the bus sees it: the tree, what changes, and clicks that come late or make no sense. */

import type { DBusError } from "@particle/dbus-next";
import { expect, test } from "vitest";
import type { Choice, MenuEntry } from "../../tray/menuModel.ts";
import { DbusMenu } from "../../tray/platform/dbusMenu.ts";

const choice = (text: string, made: Choice): MenuEntry => ({ entry: "choice", text, choice: made });
const eject = (name: string): MenuEntry => choice(name, { does: "eject", what: name, name });
const pause = choice("Pause", { does: "pause" });

interface Told {
  readonly menu: DbusMenu;
  readonly chosen: Choice[];
  readonly signals: string[];
}

function menuOf(...entries: readonly MenuEntry[]): Told {
  const chosen: Choice[] = [];
  const menu = new DbusMenu((made) => chosen.push(made));
  menu.show(entries);
  const signals: string[] = [];
  const { $emitter } = menu as unknown as { $emitter: NodeJS.EventEmitter };
  $emitter.on("signal", ({ name }: { name: string }) => signals.push(name));
  return { menu, chosen, signals };
}

interface Node {
  readonly id: number;
  readonly label: unknown;
  readonly children: readonly Node[];
}

function tree(menu: DbusMenu, depth = -1): Node {
  type Raw = ReturnType<DbusMenu["GetLayout"]>[1];
  const node = ([id, properties, children]: Raw): Node => ({
    id,
    label: properties["label"]?.value,
    children: children.map((child) => node(child.value)),
  });
  return node(menu.GetLayout(0, depth, [])[1]);
}

/** The number of the entry with this label. */
function idOf(menu: DbusMenu, label: string): number {
  const find = (node: Node): number | undefined =>
    node.label === label ? node.id : node.children.map(find).find((id) => id !== undefined);
  const id = find(tree(menu));
  if (id === undefined) throw new Error(`no entry ${label}`);
  return id;
}

test("the tree has the entries in order, groups with their own, to the depth that is asked for", () => {
  const { menu } = menuOf(
    { entry: "text", text: "Safe" },
    { entry: "line" },
    {
      entry: "group",
      text: "Eject",
      entries: [eject("Blue"), eject("Slate")],
    },
  );
  const top = tree(menu);
  expect(top.children.map((each) => each.label)).toEqual(["Safe", undefined, "Eject"]);
  expect(top.children[2]?.children.map((each) => each.label)).toEqual(["Blue", "Slate"]);
  expect(tree(menu, 1).children[2]?.children).toEqual([]);
  expect(tree(menu, 0).children).toEqual([]);
});

test("only what isn't the default is told: lines, disabled texts, groups", () => {
  const { menu } = menuOf({ entry: "text", text: "Safe" }, { entry: "line" }, pause, {
    entry: "group",
    text: "Eject",
    entries: [eject("Blue")],
  });
  const properties = menu
    .GetGroupProperties([], [])
    .map(([id, each]) => [
      id,
      Object.fromEntries(Object.entries(each).map(([name, { value }]) => [name, value])),
    ]);
  // Names and defaults: libdbusmenu's interface file, com.canonical.dbusmenu.
  expect(properties).toEqual([
    [1, { label: "Safe", enabled: false }],
    [2, { type: "separator" }],
    [3, { label: "Pause" }],
    [5, { label: "Blue" }],
    [4, { label: "Eject", "children-display": "submenu" }],
    [0, { "children-display": "submenu" }],
  ]);
  expect(menu.GetGroupProperties([3, 999], ["enabled"])).toEqual([[3, {}]]);
});

test("an underscore in a name is one underscore, not an access key", () => {
  const { menu } = menuOf(eject("my_old__drive"));
  // libdbusmenu's interface file: two underscores show one, a single one marks the access key.
  expect(tree(menu).children[0]?.label).toBe("my__old____drive");
});

test("a click chooses, one by one and in groups; opening and hovering choose nothing", () => {
  const { menu, chosen } = menuOf(pause, eject("Blue"));
  const [pauseId, blueId] = [idOf(menu, "Pause"), idOf(menu, "Blue")];
  menu.Event(pauseId, "hovered");
  menu.Event(0, "opened");
  expect(chosen).toEqual([]);
  menu.Event(pauseId, "clicked");
  const data = menu.GetProperty(blueId, "label");
  expect(
    menu.EventGroup([
      [blueId, "clicked", data, 0],
      [77, "clicked", data, 0],
    ]),
  ).toEqual([77]);
  expect(chosen).toEqual([{ does: "pause" }, { does: "eject", what: "Blue", name: "Blue" }]);
});

test("a click that comes after the menu changed never does something else", () => {
  const { menu, chosen } = menuOf(eject("Blue"), eject("Slate"));
  const blueId = idOf(menu, "Blue");
  menu.show([eject("Slate"), pause]);
  expect(() => menu.Event(blueId, "clicked")).toThrow("There is no such item.");
  expect(menu.EventGroup([[blueId, "clicked", menu.GetProperty(idOf(menu, "Pause"), "label"), 0]])).toEqual([
    blueId,
  ]);
  expect(chosen).toEqual([]);
  // Put in again, it is the same one again.
  menu.show([pause, eject("Blue")]);
  expect(idOf(menu, "Blue")).toBe(blueId);
});

test("other words in the same menu are changed in place, another shape is fetched anew, the same is silent", () => {
  const { menu, signals } = menuOf({ entry: "text", text: "51 %" }, pause);
  const [revision] = menu.GetLayout(0, -1, []);
  menu.show([{ entry: "text", text: "52 %" }, pause]);
  expect(signals).toEqual(["ItemsPropertiesUpdated"]);
  menu.show([{ entry: "text", text: "52 %" }, pause]);
  expect(signals).toEqual(["ItemsPropertiesUpdated"]);
  expect(menu.GetLayout(0, -1, [])[0]).toBe(revision);
  menu.show([pause]);
  expect(signals).toEqual(["ItemsPropertiesUpdated", "LayoutUpdated"]);
  expect(menu.GetLayout(0, -1, [])[0]).toBe(revision + 1);
});

test("what makes no sense gets an error of the bus, without a trace of the program", () => {
  const { menu } = menuOf(pause);
  for (const wrong of [
    () => menu.GetLayout(999, -1, []),
    () => menu.GetProperty(999, "label"),
    () => menu.GetProperty(1, "__proto__"),
    () => menu.Event(-1, "clicked"),
    () => menu.AboutToShow(999),
  ]) {
    let thrown: unknown;
    try {
      wrong();
    } catch (error) {
      thrown = error;
    }
    expect((thrown as DBusError).type).toBe("org.freedesktop.DBus.Error.InvalidArgs");
  }
  expect(menu.AboutToShowGroup([0, 1, 999])).toEqual([[], [999]]);
});
