/** The icon on macOS and Windows with a helper that only writes down what it is asked: texts change in place, shapes anew. */

import { expect, test } from "vitest";
import { type Choice, type MenuEntry, viewOf } from "../../tray/menuModel.ts";
import { type HelperItem, type HelperMenu, OtherTray } from "../../tray/platform/other.ts";
import { evening } from "../cli/boards.ts";

const view = viewOf(evening);
const safe = {
  ...view,
  menu: [{ entry: "text", text: "Safe & sound" }, ...view.menu.slice(1)] as MenuEntry[],
};

interface Helped {
  readonly tray: OtherTray;
  readonly asked: string[];
  readonly chosen: Choice[];
  menu: HelperMenu | undefined;
  click: (item: HelperItem) => void;
  goes: () => void;
  absent: number;
  readonly settled: () => Promise<void>;
}

function helped(icon: "ico" | "png", starts = true): Helped {
  const made: Helped = {
    tray: new OtherTray({
      icon,
      start: async (menu, onClick, onGone) => {
        if (!starts) throw new Error("no such program");
        made.asked.push("start");
        made.menu = menu;
        made.click = onClick;
        made.goes = onGone;
        return {
          retitle: async (item) => void made.asked.push(`retitle ${item.title}`),
          redraw: async () => void made.asked.push("redraw"),
          end: async () => void made.asked.push("end"),
        };
      },
    }),
    asked: [],
    chosen: [],
    menu: undefined,
    click: () => undefined,
    goes: () => undefined,
    absent: 0,
    settled: () => new Promise((resolve) => setImmediate(resolve)),
  };
  made.tray.onChoose((choice) => made.chosen.push(choice));
  made.tray.onAbsent(() => {
    made.absent += 1;
  });
  return made;
}

test("words change in place, another shape starts the helper anew, the same does nothing", async () => {
  const { tray, asked, settled } = helped("png");
  tray.show(view);
  await settled();
  tray.show(view);
  await settled();
  expect(asked).toEqual(["start"]);
  tray.show({ ...safe, tooltip: { title: "Safe", text: "" } });
  await settled();
  expect(asked).toEqual(["start", "retitle Safe & sound", "redraw"]);
  tray.show({ ...view, menu: view.menu.slice(1) });
  await settled();
  expect(asked.slice(3)).toEqual(["end", "start"]);
  await tray.end();
  expect(asked.at(-1)).toBe("end");
});

test("what is shown while the helper is busy is skipped but for the last", async () => {
  const { tray, asked, settled } = helped("png");
  for (const text of ["one", "two", "three"])
    tray.show({ ...view, menu: [{ entry: "text", text }, ...view.menu.slice(1)] });
  await settled();
  expect(asked).toEqual(["start", "retitle three"]);
});

test("a click is the choice of that entry, in a group too, and on plain text it is nothing", async () => {
  const made = helped("png");
  made.tray.show(view);
  await made.settled();
  const all = (items: readonly HelperItem[]): readonly HelperItem[] =>
    items.flatMap((item) => [item, ...all(item.items ?? [])]);
  const titled = (title: string): HelperItem | undefined =>
    all(made.menu?.items ?? []).find((item) => item.title === title);
  for (const title of ["Pause", "Blue", "Not everything is safe yet."]) {
    const item = titled(title);
    if (item !== undefined) made.click(item);
  }
  expect(made.chosen).toEqual([{ does: "pause" }, { does: "eject", what: "Blue", name: "Blue" }]);
  expect(titled("Not everything is safe yet.")?.enabled).toBe(false);
});

test("Windows gets an ICO and doubled ampersands, macOS a PNG and plain text", async () => {
  for (const [icon, begin, title] of [
    ["ico", [0, 0, 1, 0], "Safe && sound"],
    ["png", [0x89, 0x50, 0x4e, 0x47], "Safe & sound"],
  ] as const) {
    const made = helped(icon);
    made.tray.show(safe);
    await made.settled();
    expect([...Buffer.from(made.menu?.icon ?? "", "base64").subarray(0, 4)]).toEqual(begin);
    expect(made.menu?.items[0]?.title).toBe(title);
  }
});

test("a helper that can't start or goes is told as absent once and isn't tried for ever", async () => {
  const without = helped("png", false);
  without.tray.show(view);
  await without.settled();
  without.tray.show(safe);
  await without.settled();
  expect(without.absent).toBe(1);

  const going = helped("png");
  going.tray.show(view);
  await going.settled();
  going.goes();
  going.tray.show(safe);
  await going.settled();
  expect([going.absent, going.asked]).toEqual([1, ["start"]]);
  await going.tray.end();
});
