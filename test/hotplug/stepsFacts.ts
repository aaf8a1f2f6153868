/** What the daemon rests on, shown with the kernel's own exFAT: how media behave when they are torn off. */

import { readFileSync } from "node:fs";
import { join } from "node:path";
import { bytes } from "../../shared/units.ts";
import type { Evening } from "./evening.ts";
import { checkedBy, mounted } from "./imageCheck.ts";
import { Plugged } from "./media.ts";
import { must } from "./report.ts";

const node = "/opt/scrubjay/node";

/** Only fsync tells that a medium is gone; and afterwards neither its size nor the checker says what is lost. */
export async function onlyFsyncTells(evening: Evening): Promise<readonly string[]> {
  const { laptop } = evening;
  const image = evening.box.drive("Scratch", "exfat", bytes(40_000_000));
  const plugged = await Plugged.in(laptop, "scratch", image);
  const at = await evening.untilMounted("Scratch");
  const program = `
    const fs = require("node:fs");
    const said = [];
    const attempt = (what, act) => {
      try { act(); said.push(what + " ok"); } catch (error) { said.push(what + " " + error.code); }
    };
    const file = fs.openSync("${at}/film.mov", "w");
    const block = Buffer.alloc(1 << 20, 5);
    for (let n = 0; n < 3; n += 1) fs.writeSync(file, block);
    fs.fsyncSync(file);
    for (let n = 0; n < 4; n += 1) fs.writeSync(file, block);
    fs.writeFileSync("/tmp/written", "");
    while (!fs.existsSync("/tmp/pulled")) Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 50);
    said.push("size " + fs.fstatSync(file).size);
    attempt("fsync", () => fs.fsyncSync(file));
    attempt("write", () => fs.writeSync(file, block));
    attempt("close", () => fs.closeSync(file));
    fs.writeFileSync("/tmp/said", said.join(", "));`;
  await laptop.must(
    `echo ${Buffer.from(program).toString("base64")} | base64 -d > /tmp/writer.cjs; rm -f /tmp/said`,
  );
  await laptop.must(`${node} /tmp/writer.cjs </dev/null >/tmp/writer.log 2>&1 & true`);
  await evening.until("seven megabytes are written", "[ -e /tmp/written ]");
  await plugged.tearOff();
  await evening.untilUnmounted("Scratch");
  await laptop.must("touch /tmp/pulled");
  await evening.until("the writer has ended", "[ -s /tmp/said ]");
  const said = await laptop.must("cat /tmp/said");
  must(/fsync (EIO|ENODEV)/.test(said), `fsync tells: ${said}`);
  must(said.includes("close ok"), `close tells nothing: ${said}`);
  const check = checkedBy(image, "exfat");
  const film = mounted(image, "exfat", (folder) => readFileSync(join(folder, "film.mov")));
  const survived = film.filter((byte) => byte === 5).length;
  must(survived < 7 * 2 ** 20, `not all was on the medium: ${survived}`);
  return [
    `after it was torn off: ${said}`,
    `afterwards fsck.exfat ends with ${check.clean ? "0" : "an error"} (${check.said})`,
    `the file's size is ${film.length}, ${survived} bytes of ${7 * 2 ** 20} had reached it`,
  ];
}

/** A flush of the folder decides which file survives under a name. */
export async function folderFlushDecides(evening: Evening): Promise<readonly string[]> {
  const { laptop } = evening;
  const found: string[] = [];
  for (const flushed of [false, true]) {
    const label = flushed ? "Flushed" : "Hasty";
    const image = evening.box.drive(label, "exfat", bytes(20_000_000));
    const plugged = await Plugged.in(laptop, label, image);
    const at = await evening.untilMounted(label);
    await laptop.must(`printf old > ${at}/note; sync -f ${at}/note; sleep 1`);
    // coreutils: sync with a file's or folder's name is fsync of that.
    await laptop.must(
      `cd ${at} && printf new > temp && sync temp && mv temp note${flushed ? ` && sync ${at}` : ""}`,
    );
    await plugged.tearOff();
    await evening.untilUnmounted(label);
    const note = mounted(image, "exfat", (folder) => readFileSync(join(folder, "note"), "utf8"));
    if (flushed) must(note === "new", `with a flush of the folder the new file stands there: ${note}`);
    found.push(
      `${flushed ? "with" : "without"} a flush of the folder: ${note === "new" ? "the new" : "the old"} file`,
    );
  }
  return found;
}
