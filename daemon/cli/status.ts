/** `scrubjay status`: the board as text. */

import type { StatusJson } from "../../shared/api.ts";
import { daemonClient } from "../api/client.ts";
import type { Call, Command } from "./command.ts";
import { renderStatus } from "./renderStatus.ts";
import { columnsOf, outJson, writesUnicode } from "./terminal.ts";

export const status: Command = {
  name: "status",
  operands: [],
  options: {},
  does: "shows the board: which frames are where, what is owed, what to do",
  more: "Exit status: 0 all is well, 1 not yet (not everything is safe: something is owed, a card is not clear, or an alert is urgent), 65 damage was found in data.",
  run,
};

async function run(call: Call): Promise<number> {
  const board = await daemonClient(call.home.run).status();
  if (call.json) outJson(call.terminal, board);
  else call.terminal.out(renderStatus(board, writesUnicode(call.terminal.env), columnsOf(call.terminal)));
  return exitOf(board);
}

function exitOf(board: StatusJson): number {
  const damage = board.alerts.some(
    ({ code }) => code === "damaged-source" || code === "copy-differs" || code === "on-no-drive",
  );
  if (damage) return 65;
  if (board.safe === false) return 1;
  const owed = board.drives.some((drive) => drive.owed.files > 0);
  const unclear = board.cards.some((card) => card.present && !card.clear);
  return owed || unclear || board.alerts.some((alert) => alert.severity === "urgent") ? 1 : 0;
}
