/** `scrubjay doctor`: what works on this computer, what is missing, what to install. */

import type { Call, Command } from "./command.ts";
import { outJson } from "./terminal.ts";

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
    for (const check of checks) {
      call.terminal.out(`${check.works ? "works  " : "MISSING"}  ${check.what}: ${check.detail}\n`);
      if (!check.works && check.fix !== "") call.terminal.out(`         ${check.fix}\n`);
    }
  }
  return checks.every((check) => check.works) ? 0 : 1;
}
