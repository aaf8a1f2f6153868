/** The one place of the tray that asks which operating system this is. Adapters are loaded only where they are used. */

import { NodeNotices } from "../../daemon/platform/common/nodeNotices.ts";
import type { Notices } from "../../daemon/ports/notices.ts";
import type { TrayHost } from "../port.ts";

/** To be ended by the caller. */
export async function selectTray(): Promise<{ readonly host: TrayHost; readonly notices: Notices }> {
  const notices = new NodeNotices();
  switch (process.platform) {
    case "darwin":
    case "win32": {
      const { OtherTray, systrayHelper } = await import("./other.ts");
      return { host: new OtherTray(systrayHelper(process.platform === "win32" ? "ico" : "png")), notices };
    }
    default: {
      const { LinuxTray } = await import("./linux.ts");
      return { host: new LinuxTray(), notices };
    }
  }
}
