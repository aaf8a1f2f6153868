/** Unmounting by the system's own tool, for where no service does it: as root, or for a mount of the user's own. */

import { execFile } from "node:child_process";
import type { AbsolutePath } from "../../../shared/identity.ts";
import { baseName } from "../../../shared/identity.ts";
import { printable } from "../../../shared/text.ts";
import type { Ejection } from "../../ports/volumes.ts";
import { pathToBytes } from "./pathBytes.ts";

/** ms. Unmounting flushes first, and a slow card may hold much that others wrote. */
const limit = 120_000;

/** Never rejects. */
export function unmount(root: AbsolutePath): Promise<Ejection> {
  // A path that isn't UTF-8 can't be handed over as an argument.
  if (pathToBytes(root).toString("utf8") !== root)
    return Promise.resolve({
      ejected: false,
      why: `${printable(baseName(root))} has no name that umount takes`,
    });
  return new Promise((resolve) => {
    const env = { ...process.env, LC_ALL: "C.UTF-8" };
    execFile("umount", ["--", root], { env, timeout: limit }, (error, _out, said) => {
      if (error === null) return resolve({ ejected: true });
      const why = said.trim().split("\n").at(-1) ?? error.message;
      resolve({ ejected: false, why: printable(why.replace(/^umount: /, "").replace(/\.$/, "")) });
    });
  });
}
