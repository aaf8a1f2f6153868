/** Picking the adapters, and what `doctor` finds on this computer. */

import {
  mkdirSync,
  mkdtempSync,
  readdirSync,
  realpathSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from "node:fs";
import { homedir, tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { checkComputer, selectPlatform } from "../../daemon/platform/select.ts";
import { absolutePath } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";

let scratch = "";
beforeEach(() => {
  scratch = mkdtempSync(join(tmpdir(), "scrubjay-select-"));
});
afterEach(() => rmSync(scratch, { recursive: true, force: true }));

const select = (practice: string) =>
  selectPlatform({ practice, cache: absolutePath(join(scratch, "cache")), onChosen: () => undefined });

test("a practice folder given by a link is used by its real name", async () => {
  mkdirSync(join(scratch, "real/CARD"), { recursive: true });
  symlinkSync(join(scratch, "real"), join(scratch, "link"));
  const platform = await select(join(scratch, "link"));
  try {
    const [volume] = await platform.volumes.look();
    expect(volume?.root).toBe(join(realpathSync(scratch), "real/CARD"));
  } finally {
    await platform.metadata.close();
  }
});

test("a practice folder that isn't there is the caller's mistake, said with what to do", async () => {
  const mistake = await select(join(scratch, "none")).catch((error: unknown) => error);
  expect(mistake).toBeInstanceOf(UserMistake);
  expect(mistake).toMatchObject({ exit: 64, next: expect.stringContaining("Make it first") });
});

test("doctor tries everything, says what to do where something fails, and leaves nothing behind", async () => {
  writeFileSync(join(scratch, "file"), "");
  const before = readdirSync(homedir());
  const checks = await checkComputer([scratch, join(scratch, "later/home"), join(scratch, "file/home")]);
  const works = (what: string): boolean | undefined =>
    checks.find((each) => each.what.startsWith(what))?.works;
  expect(works("Node.js")).toBe(true);
  expect(works("SQLite")).toBe(true);
  expect(works("XXH64")).toBe(true);
  expect(works(`writing in ${scratch}`)).toBe(true);
  expect(works(`writing in ${join(scratch, "later/home")}`)).toBe(true);
  expect(works(`writing in ${join(scratch, "file/home")}`)).toBe(false);
  for (const { works: fine, fix, detail, what } of checks) {
    expect(fix === "", what).toBe(fine);
    expect(detail, what).not.toBe("");
  }
  expect(readdirSync(homedir())).toEqual(before);
});
