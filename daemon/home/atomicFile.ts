/**
 * Writing a small file of ours on this computer so that a reader, or a power cut, finds the earlier version or the
 * new one and nothing between. For the user only (mode 0600, its folder 0700).
 *
 * Not its job: drives and cards; those go through the file port.
 */

import { randomBytes } from "node:crypto";
import { mkdir, open, rename, rm } from "node:fs/promises";
import { join } from "node:path";
import type { AbsolutePath } from "../../shared/identity.ts";

/** Writes `name` in `folder`, in place of an earlier one. Fails with Node's own file errors. */
export async function writeAtomically(folder: AbsolutePath, name: string, text: string): Promise<void> {
  await mkdir(folder, { recursive: true, mode: 0o700 });
  const temporary = join(folder, `.${name}.${randomBytes(6).toString("hex")}`);
  try {
    const handle = await open(temporary, "wx", 0o600);
    try {
      await handle.writeFile(text);
      await handle.sync();
    } finally {
      await handle.close();
    }
    await rename(temporary, join(folder, name));
  } catch (error) {
    await rm(temporary, { force: true });
    throw error;
  }
  await flushFolder(folder);
}

/** Where a platform can't flush a folder (Windows), the rename alone has to do. */
async function flushFolder(folder: AbsolutePath): Promise<void> {
  try {
    const handle = await open(folder, "r");
    try {
      await handle.sync();
    } finally {
      await handle.close();
    }
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code;
    if (code !== "EISDIR" && code !== "EPERM" && code !== "EINVAL") throw error;
  }
}
