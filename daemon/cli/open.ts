/** `scrubjay open`: the page in the user's browser, by a link that is good once. */

import { daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { outJson } from "./terminal.ts";

export const open: Command = {
  name: "open",
  operands: [],
  options: {},
  does: "opens the page in the default browser",
  more: "The link is good once, for a minute, and for this computer only. With --json it is printed and not opened; so it is where no browser can be started.\nExit status: 0 it is open or printed, 69 the daemon is not running.",
  run,
};

async function run(call: Call): Promise<number> {
  const { url } = await daemonClient(call.home.run).openLink();
  if (call.json) {
    outJson(call.terminal, { url });
    return 0;
  }
  // Not before it is needed: with it come the adapters to drives and cards.
  const { openInBrowser } = await import("../platform/select.ts");
  if (await openInBrowser(url)) {
    call.terminal.out("The page is open in your browser.\n");
    return 0;
  }
  call.terminal.err("No browser could be started here. Open this link within a minute; it is good once:\n");
  call.terminal.exact(`${url}\n`);
  return 0;
}
