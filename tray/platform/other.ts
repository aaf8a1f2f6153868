/**
 * The icon on macOS and Windows, through systray2's helper program. The helper changes texts in place; another shape of
 * menu needs it anew. Not tried on either system yet; the helper's protocol is from its own sources.
 *
 * Invariant: one helper at a time, and one change at a time; what was asked for meanwhile is shown next.
 */

import { dirname } from "node:path";
import { fileURLToPath } from "node:url";
import systray2 from "systray2";
import { drawIcon, pixels, type Sign } from "../icon.ts";
import type { Choice, MenuEntry, TrayView } from "../menuModel.ts";
import { icoOf, pngOf } from "../picture.ts";
import type { TrayHost } from "../port.ts";

export interface HelperItem {
  title: string;
  tooltip: string;
  enabled: boolean;
  items?: HelperItem[];
}

export interface HelperMenu {
  /** The picture's content in base64. */
  icon: string;
  title: string;
  tooltip: string;
  items: HelperItem[];
}

export interface RunningHelper {
  retitle(item: HelperItem): Promise<void>;
  /** Icon and tooltip; the items stay. */
  redraw(menu: HelperMenu): Promise<void>;
  end(): Promise<void>;
}

export interface Helper {
  readonly icon: "ico" | "png";
  /** @param onClick gets the very item. Rejects when the helper can't be started. */
  start(menu: HelperMenu, onClick: (item: HelperItem) => void, onGone: () => void): Promise<RunningHelper>;
}

export class OtherTray implements TrayHost {
  readonly #helper: Helper;
  #choose: (choice: Choice) => void = () => undefined;
  #absent: () => void = () => undefined;
  #wanted: TrayView | undefined;
  #shown: { readonly helper: RunningHelper; readonly shape: string; readonly menu: HelperMenu } | undefined;
  #choices = new Map<HelperItem, Choice>();
  #working: Promise<void> | undefined;
  /** Ended, or the helper went: it isn't started again. */
  #over = false;

  constructor(helper: Helper) {
    this.#helper = helper;
  }

  show(view: TrayView): void {
    this.#wanted = view;
    this.#begin();
  }

  onChoose(listener: (choice: Choice) => void): void {
    this.#choose = listener;
  }

  onAbsent(listener: () => void): void {
    this.#absent = listener;
  }

  async end(): Promise<void> {
    this.#over = true;
    await this.#working;
    await this.#shown?.helper.end();
    this.#shown = undefined;
  }

  #begin(): void {
    if (this.#wanted === undefined || this.#over) return;
    this.#working ??= this.#work().finally(() => {
      this.#working = undefined;
      this.#begin();
    });
  }

  async #work(): Promise<void> {
    try {
      while (this.#wanted !== undefined && !this.#over) {
        const view = this.#wanted;
        this.#wanted = undefined;
        await this.#apply(view);
      }
    } catch {
      this.#gone();
    }
  }

  async #apply(view: TrayView): Promise<void> {
    const shape = JSON.stringify(view.menu, (key, value) => (key === "text" ? undefined : value));
    const choices = new Map<HelperItem, Choice>();
    const next: HelperMenu = {
      icon: this.#picture(view.sign),
      title: "",
      tooltip: `${view.tooltip.title} ${view.tooltip.text}`,
      items: view.menu.map((entry) => this.#item(entry, choices)),
    };
    const shown = this.#shown;
    if (shown === undefined || shown.shape !== shape) {
      this.#shown = undefined;
      await shown?.helper.end();
      this.#choices = choices;
      const helper = await this.#helper.start(
        next,
        (item) => this.#clicked(item),
        () => this.#gone(),
      );
      this.#shown = { helper, shape, menu: next };
      return;
    }
    for (const [index, item] of shown.menu.items.entries())
      await retitle(shown.helper, item, next.items[index]);
    if (shown.menu.icon === next.icon && shown.menu.tooltip === next.tooltip) return;
    shown.menu.icon = next.icon;
    shown.menu.tooltip = next.tooltip;
    await shown.helper.redraw(shown.menu);
  }

  #item(entry: MenuEntry, choices: Map<HelperItem, Choice>): HelperItem {
    if (entry.entry === "line") return { title: "<SEPARATOR>", tooltip: "", enabled: true };
    // Windows takes an ampersand for the mark of an access key.
    const title = this.#helper.icon === "ico" ? entry.text.replaceAll("&", "&&") : entry.text;
    const item: HelperItem = { title, tooltip: "", enabled: entry.entry !== "text" };
    if (entry.entry === "choice") choices.set(item, entry.choice);
    if (entry.entry === "group") item.items = entry.entries.map((each) => this.#item(each, choices));
    return item;
  }

  #picture(sign: Sign): string {
    const pixmap = drawIcon(sign, pixels(32));
    return (this.#helper.icon === "ico" ? icoOf(pixmap) : pngOf(pixmap)).toString("base64");
  }

  #clicked(item: HelperItem): void {
    const choice = this.#choices.get(item);
    if (choice !== undefined) this.#choose(choice);
  }

  #gone(): void {
    if (this.#over) return;
    this.#over = true;
    this.#shown = undefined;
    this.#absent();
  }
}

/** Only what differs is sent. Groups of one shape have as many items. */
async function retitle(helper: RunningHelper, item: HelperItem, next: HelperItem | undefined): Promise<void> {
  if (next === undefined) return;
  if (item.title !== next.title) {
    item.title = next.title;
    await helper.retitle(item);
  }
  for (const [index, each] of (item.items ?? []).entries()) await retitle(helper, each, next.items?.[index]);
}

/** systray2's own helper. */
export function systrayHelper(icon: Helper["icon"]): Helper {
  return {
    icon,
    start: async (menu, onClick, onGone) => {
      // It looks for its program in the folder `traybin` of where the process stands before its own: nobody else's is run.
      const stood = process.cwd();
      process.chdir(dirname(fileURLToPath(import.meta.url)));
      const tray = new systray2.default({ menu });
      try {
        await tray.ready();
      } finally {
        process.chdir(stood);
      }
      let ending = false;
      tray.onExit(() => {
        if (!ending) onGone();
      });
      await tray.onClick(({ item }) => onClick(item as HelperItem));
      return {
        retitle: async (item) => void (await tray.sendAction({ type: "update-item", item })),
        redraw: async (changed) => void (await tray.sendAction({ type: "update-menu", menu: changed })),
        end: async () => {
          ending = true;
          await tray.kill(false);
        },
      };
    },
  };
}
