/** `scrubjay doctor`: what works on this computer, what is missing, what to install. */

import type { Call, Command } from "./command.ts";
import { paragraph } from "./table.ts";
import { columnsOf, outJson } from "./terminal.ts";

export const doctor: Command = {
  name: "doctor",
  operands: [],
  options: {},
  does: "checks this computer: what works, what is missing, what to install",
  more: "Works without the daemon. Exit status: 0 all works, 1 something is missing.",
  run,
};

async function run(call: Call): Promise<number> {
  // Loaded only here: it brings the platform's libraries with it.
  const { checkComputer } = await import("../platform/select.ts");
  const checks = await checkComputer();
  if (call.json) {
    outJson(call.terminal, checks);
  } else {
    const width = columnsOf(call.terminal);
    const indent = " ".repeat(9);
    for (const check of checks) {
      const sign = check.works ? "works    " : "MISSING  ";
      call.terminal.out(paragraph(`${check.what}: ${check.detail}`, width, sign, indent));
      if (!check.works && check.fix !== "") call.terminal.out(paragraph(check.fix, width, indent));
    }
  }
  return checks.every((check) => check.works) ? 0 : 1;
}
