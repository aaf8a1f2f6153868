/** `scrubjay drive retire NAME`: a drive whose trips are home is freed of them, for the next trip. */

import { reuseCautions } from "../../shared/cautions.ts";
import { printable } from "../../shared/text.ts";
import { daemonClient } from "../api/client.ts";
import { list } from "../core/verdict.ts";
import type { Call, Command } from "./command.ts";
import { paragraph } from "./table.ts";
import { columnsOf, outJson } from "./terminal.ts";

export const driveRetire: Command = {
  name: "drive retire",
  operands: ["NAME"],
  options: {},
  does: "frees a drive of trips that are home: nothing of them counts there any more",
  more: "Refused unless all it holds is in an archive and nothing on it was changed since. Nothing on it is erased. It can't be undone; for the next trip it needs no introducing.\nExit status: 0 it is free, 1 it must be kept, and why, 64 no drive is called so, or it holds nothing.",
  run,
};

async function run(call: Call): Promise<number> {
  const [name = ""] = call.operands;
  const freed = await daemonClient(call.home.run).retireDrive(name);
  if (call.json) outJson(call.terminal, freed);
  else {
    const width = columnsOf(call.terminal);
    const shown = printable(freed.name, 60);
    const said = `${shown} is free of ${list(freed.trips)}. What lies on it is untouched and counts no more; this can't be undone. It can take part in the next trip as it is.`;
    call.terminal.out(`${paragraph(said, width, " ")}\n${paragraph(reuseCautions(1, 1), width, " ")}`);
  }
  return 0;
}
