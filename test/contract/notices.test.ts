/**
 * Notices on a desktop, or without one. What names from a card could do to a notice ends here: a program that stands
 * in for `notify-send` writes down exactly what reached it.
 */

import { spawnSync } from "node:child_process";
import { chmodSync, existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { NodeNotices } from "../../daemon/platform/common/nodeNotices.ts";
import { millis } from "../../shared/units.ts";

const path = process.env["PATH"] ?? "";
const bus = process.env["DBUS_SESSION_BUS_ADDRESS"];
let folder = "";
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "scrubjay-notices-"));
});
afterEach(() => {
  process.env["PATH"] = path;
  if (bus === undefined) delete process.env["DBUS_SESSION_BUS_ADDRESS"];
  else process.env["DBUS_SESSION_BUS_ADDRESS"] = bus;
  rmSync(folder, { recursive: true, force: true });
});

/** Puts a shell script in the place of `notify-send`. */
function standIn(script: string): void {
  writeFileSync(join(folder, "notify-send"), `#!/bin/sh\n${script}\n`);
  chmodSync(join(folder, "notify-send"), 0o755);
  process.env["PATH"] = `${folder}:${path}`;
}

const received = (): string[] => readFileSync(join(folder, "args"), "utf8").split("\0").slice(0, -1);
const recording = (): string => `for each in "$@"; do printf '%s\\0' "$each" >> '${folder}/args'; done`;

test("without notify-send the answer is that it is unavailable", async () => {
  process.env["PATH"] = folder;
  const answer = await new NodeNotices().show({ title: "t", body: "b", urgency: "normal" });
  expect(answer).toMatchObject({ shown: false });
  expect(answer.shown ? "" : answer.unavailable).toContain("notify-send");
});

const installed = spawnSync("notify-send", ["--version"]).status === 0;
test.skipIf(!installed)(
  "without a bus the answer is that it is unavailable (needs notify-send)",
  async () => {
    process.env["DBUS_SESSION_BUS_ADDRESS"] = `unix:path=${folder}/no-bus`;
    const answer = await new NodeNotices().show({ title: "t", body: "b", urgency: "normal" });
    expect(answer).toMatchObject({ shown: false });
  },
);

test("hostile text reaches the service as text: no shell, no option, no markup", async () => {
  standIn(recording());
  const hostile = `-rf $(touch ${folder}/pwned) \`touch ${folder}/pwned\` "q" 'q' $HOME <b>&amp; %s; exit`;
  expect(await new NodeNotices().show({ title: hostile, body: hostile, urgency: "low" })).toEqual({
    shown: true,
  });
  expect(existsSync(join(folder, "pwned"))).toBe(false);
  const [title, body] = received();
  expect(title).toBe(` ${hostile}`);
  expect(body).toBe(` ${hostile.replace("<b>&amp;", "&lt;b&gt;&amp;amp;")}`);
});

test("line ends and backslashes of a body survive what notify-send undoes, a title has one line", async () => {
  standIn(recording());
  await new NodeNotices().show({ title: "one\ntwo", body: "C:\\new\nline", urgency: "normal" });
  const [title, body] = received();
  expect(title).toBe("one two");
  // notify-send reads C escapes in the body (libnotify, tools/notify-send.c: g_strcompress): `\\` and `\n` come back.
  expect(body?.replaceAll(/\\(.)/g, (_, char: string) => (char === "n" ? "\n" : char))).toBe("C:\\new\nline");
});

test("an empty body is shown, and a critical notice stays", async () => {
  standIn(recording());
  expect(await new NodeNotices().show({ title: "t", body: "", urgency: "critical" })).toEqual({
    shown: true,
  });
  expect(received().slice(2).join(" ")).toBe("--urgency critical --expire-time 0");
});

test("a service that doesn't answer costs one notice its limit, and the next is shown", async () => {
  standIn(`[ "$1" = slow ] && exec sleep 3; exit 0`);
  const notices = new NodeNotices(millis(200));
  const slow = notices.show({ title: "slow", body: "b", urgency: "normal" });
  const next = notices.show({ title: "quick", body: "b", urgency: "normal" });
  expect(await slow).toMatchObject({ shown: false });
  expect(await next).toEqual({ shown: true });
});

test("notices are shown one after the other, in the order they were asked for", async () => {
  standIn(`echo "begin $1" >> '${folder}/log'; sleep 0.1; echo "end $1" >> '${folder}/log'`);
  const notices = new NodeNotices();
  await Promise.all(["a", "b", "c"].map((title) => notices.show({ title, body: "b", urgency: "normal" })));
  expect(readFileSync(join(folder, "log"), "utf8").trim().split("\n")).toEqual(
    ["a", "b", "c"].flatMap((title) => [`begin ${title}`, `end ${title}`]),
  );
});
