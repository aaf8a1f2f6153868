/**
 * The icon as `org.kde.StatusNotifierItem` (Status Notifier Item 0.1): what a host reads, and the signals after which it
 * reads again. Not its job: the menu (`dbusMenu.ts`), being registered (`linux.ts`).
 */

import { interface as service } from "@particle/dbus-next";
import { drawIcon, iconSizes, type Sign } from "../icon.ts";
import type { Choice, TrayView } from "../menuModel.ts";

/** `a(iiay)`: width, height, bytes. */
type Pixmaps = readonly (readonly [number, number, Buffer])[];

/** Where the menu stands on the bus. */
export const menuPath = "/MenuBar";

export class StatusItem extends service.Interface {
  #sign: Sign = { sign: "missing" };
  #tooltip: TrayView["tooltip"] = { title: "Scrubjay", text: "" };
  readonly #drawn = new Map<string, Pixmaps>();
  readonly #choose: (choice: Choice) => void;

  constructor(choose: (choice: Choice) => void) {
    super("org.kde.StatusNotifierItem");
    this.#choose = choose;
  }

  show({ sign, tooltip }: Pick<TrayView, "sign" | "tooltip">): void {
    const before = [this.#sign, this.#tooltip];
    this.#sign = sign;
    this.#tooltip = tooltip;
    if (JSON.stringify(before[0]) !== JSON.stringify(sign)) this.NewIcon();
    if (JSON.stringify(before[1]) !== JSON.stringify(tooltip)) this.NewToolTip();
  }

  get Category(): string {
    return "ApplicationStatus";
  }
  /** Without one hosts don't show it. */
  get Id(): string {
    return "scrubjay";
  }
  get Title(): string {
    return "Scrubjay";
  }
  get Status(): string {
    return "Active";
  }
  get WindowId(): number {
    return 0;
  }
  /** A name that a theme knows would win over the picture. */
  get IconName(): string {
    return "";
  }
  get IconPixmap(): Pixmaps {
    const key = JSON.stringify(this.#sign);
    const known = this.#drawn.get(key);
    if (known !== undefined) return known;
    const drawn = iconSizes.map(
      (size) => [size, size, Buffer.from(drawIcon(this.#sign, size).argb)] as const,
    );
    this.#drawn.set(key, drawn);
    return drawn;
  }
  /** Hosts may take both texts for markup. */
  get ToolTip(): readonly [string, Pixmaps, string, string] {
    return ["", [], escaped(this.#tooltip.title), escaped(this.#tooltip.text)];
  }
  /** A left click opens the menu, as a right click does. */
  get ItemIsMenu(): boolean {
    return true;
  }
  get Menu(): string {
    return menuPath;
  }

  /** For hosts that pass `ItemIsMenu` over. */
  Activate(_x: number, _y: number): void {
    this.#choose({ does: "openPage" });
  }
  SecondaryActivate(_x: number, _y: number): void {}
  ContextMenu(_x: number, _y: number): void {}
  Scroll(_delta: number, _orientation: string): void {}

  NewIcon(): void {}
  NewToolTip(): void {}
}

StatusItem.configureMembers({
  properties: {
    Category: { signature: "s", access: "read" },
    Id: { signature: "s", access: "read" },
    Title: { signature: "s", access: "read" },
    Status: { signature: "s", access: "read" },
    WindowId: { signature: "i", access: "read" },
    IconName: { signature: "s", access: "read" },
    IconPixmap: { signature: "a(iiay)", access: "read" },
    ToolTip: { signature: "(sa(iiay)ss)", access: "read" },
    ItemIsMenu: { signature: "b", access: "read" },
    Menu: { signature: "o", access: "read" },
  },
  methods: {
    Activate: { inSignature: "ii", outSignature: "" },
    SecondaryActivate: { inSignature: "ii", outSignature: "" },
    ContextMenu: { inSignature: "ii", outSignature: "" },
    Scroll: { inSignature: "is", outSignature: "" },
  },
  signals: { NewIcon: { signature: "" }, NewToolTip: { signature: "" } },
});

function escaped(text: string): string {
  return text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
}
