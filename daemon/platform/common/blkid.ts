/**
 * UUID and label of a file system, read from its device by `blkid` (util-linux). Needs the right to read the device,
 * which users mostly don't have; it helps where no udev has told them already. Both "" when they can't be read.
 */

import { millis } from "../../../shared/units.ts";
import { runTool } from "./runTool.ts";

const limit = millis(5_000);

/** Asks the device itself, never blkid's cache, which may still hold what stood there two seconds ago. Never rejects. */
export async function probeFileSystem(
  device: string,
): Promise<{ readonly uuid: string; readonly label: string }> {
  const ask = async (tag: string): Promise<string> => {
    const output = await runTool("blkid", ["-p", "-o", "value", "-s", tag, device], limit);
    return output?.replace(/\n$/, "") ?? "";
  };
  return { uuid: await ask("UUID"), label: await ask("LABEL") };
}
