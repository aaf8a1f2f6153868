/**
 * Shows in under a minute what Scrubjay does: a generated card goes into a practice computer with two drives, and is
 * copied, verified and judged by the real daemon. Nothing outside one folder is touched. At its end the demo checks by
 * its own means what was promised, and its exit status says whether all of it held: 0 yes, 1 no, 64 usage.
 */

import { spawnSync } from "node:child_process";
import { existsSync, mkdirSync, mkdtempSync, readdirSync, renameSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { parseArgs } from "node:util";
import type { CardStatusJson, StatusJson } from "../../shared/api.ts";
import { counted, formatBytes, formatSpan } from "../../shared/format.ts";
import { printable } from "../../shared/text.ts";
import { bytes, millis } from "../../shared/units.ts";
import { type CardFile, demoCard, generateCard, profileText } from "../cards/generate/card.ts";
import { type Scrubjay, scrubjayAt, startDaemon, stopDaemon } from "./commands.ts";
import { type FileSum, missingFrom, sumsOf } from "./independentCheck.ts";
import { LiveLine, progressLine, readBackWords, table } from "./screen.ts";

const tripName = "Kestrel Cliffs";
const driveNames = ["Blue", "Slate"];
const cli = fileURLToPath(new URL("../../daemon/cli.js", import.meta.url));

const usage = `Usage: npm run demo -- [--folder DIR]

Generates a memory card, lets the daemon copy it to two practice drives, and checks the result.
  --folder DIR  where to do that; must be new or empty (default: a new folder in ${tmpdir()})
`;

const cautions = [
  "Before a card is formatted: the verdict covers the copies that were verified, at the time shown. Format in the",
  "camera, not the computer; look at a few frames first; keep the card if you can. Drives fail, so keep the copies in",
  "separate places and one off the road.",
].join("\n");

process.exitCode = await main();

async function main(): Promise<number> {
  let folder: string | undefined;
  try {
    const { values } = parseArgs({ options: { folder: { type: "string" }, help: { type: "boolean" } } });
    if (values.help === true) {
      console.log(usage);
      return 0;
    }
    folder = values.folder;
  } catch (mistake) {
    console.error(`${mistake instanceof Error ? mistake.message : "a mistake in the arguments"}\n\n${usage}`);
    return 64;
  }
  if (folder !== undefined && existsSync(folder) && readdirSync(folder).length > 0) {
    console.error(`'${folder}' is not empty. It was left as it is. Name a new or an empty folder.`);
    return 64;
  }
  const place = folder === undefined ? mkdtempSync(join(tmpdir(), "scrubjay-demo-")) : resolve(folder);
  return demo(place);
}

async function demo(place: string): Promise<number> {
  // `plugged-in` holds the volumes, `drawer` the card before it is put in, `computer` what the laptop keeps.
  const [plugged, drawer, home] = ["plugged-in", "drawer", "computer"].map((name) => join(place, name)) as [
    string,
    string,
    string,
  ];
  for (const each of [plugged, drawer, home, ...driveNames.map((name) => join(plugged, name))]) {
    mkdirSync(each, { recursive: true });
  }
  const began = performance.now();
  console.log("1  A card is generated: an evening at Kestrel Cliffs with two bodies that count alike.");
  const made = generateCard(join(drawer, "ALDINE"), demoCard);
  const before = await sumsOf(join(drawer, "ALDINE"));
  const total = before.reduce((sum, file) => sum + file.bytes, 0);
  console.log(`   ${counted(made.length, "file")}, ${formatBytes(bytes(total))}`);

  console.log("2  The daemon starts; the trip is described and two drives are made known.");
  const log = join(home, "demo-daemon.log");
  const daemon = startDaemon(cli, home, plugged, log);
  try {
    const scrubjay = scrubjayAt(cli, home);
    await untilItAnswers(scrubjay, daemon, log);
    const profile = join(place, "kestrel-cliffs.yaml");
    writeFileSync(profile, profileText({ drives: driveNames, copies: driveNames.length }));
    await must(scrubjay, "trip", "add", profile);
    for (const name of driveNames) await must(scrubjay, "drive", "add", join(plugged, name), "--name", name);

    console.log("3  The card is put in. Nothing else is done by hand.");
    const inserted = performance.now();
    renameSync(join(drawer, "ALDINE"), join(plugged, "ALDINE"));
    const waited = await watchUntilDone(scrubjay);
    const seconds = (performance.now() - inserted) / 1000;

    const status = await scrubjay.json<StatusJson>(["status"], [0, 1]);
    const cards = await scrubjay.json<readonly CardStatusJson[]>(["cards"], [0, 1]);
    console.log("4  Independent check of every file, without Scrubjay's code.");
    const after = await sumsOf(join(plugged, "ALDINE"));
    const drives = await Promise.all(
      driveNames.map(async (name) => ({ name, sums: await sumsOf(join(plugged, name, tripName)) })),
    );
    const leavings = new Set(made.filter((file) => file.role === "leaving").map((file) => file.path));
    const wanted = before.filter((file) => !leavings.has(file.path));
    const card = cards.find((each) => each.present);
    const sameTree = new Set(drives.map(({ sums }) => treeOf(sums))).size === 1;
    const lists = driveNames.map((name) => listCheck(join(plugged, name, tripName)));

    console.log("");
    console.log(
      table([
        [
          "frames",
          `${status.frames.total}, of which ${status.frames.atGoal} at their goal; with extras ${counted(status.frames.files, "file")}`,
        ],
        [
          "on the card",
          `${counted(made.length, "file")}, ${formatBytes(bytes(total))}; left behind: ${leftBehind(card)}`,
        ],
        [
          "copies",
          `goal ${status.trip?.goal.copies ?? "unknown"}; the drives' trees are ${sameTree ? "the same" : "NOT the same"}`,
        ],
        ...status.drives.map((drive): [string, string] => [drive.name, readBackWords(drive.readBack)]),
        [
          "time",
          `${formatSpan(millis(seconds * 1000))} from insertion to the verdict, ${formatBytes(bytes(total / seconds))}/s of card`,
        ],
        ["verdict", card === undefined ? "no card is known" : printable(card.verdict)],
        ...drives.map(({ name, sums }): [string, string] => [
          `SHA-256, ${name}`,
          `${wanted.length - missingFrom(sums, wanted).length} of ${counted(wanted.length, "file")} of the card found`,
        ]),
        ...driveNames.map((name, index): [string, string] => [`xxhsum, ${name}`, lists[index]?.words ?? ""]),
      ]),
    );
    console.log(`\n${cautions}\n`);
    console.log("To check a drive without Scrubjay:");
    for (const name of driveNames) {
      console.log(`  cd "${join(plugged, name, tripName)}" && xxhsum -c --quiet checksums.xxh64`);
    }
    if (lists.some((list) => list.held === undefined)) {
      console.log("  (xxhsum isn't installed here; on Debian and Ubuntu it is in the package xxhash)");
    }

    const promises: [string, boolean][] = [
      ["`wait` said that nothing is left to do", waited === 0],
      ["every frame is at its goal", status.frames.total > 0 && status.frames.atGoal === status.frames.total],
      [
        "every frame on the card was counted",
        status.frames.total === frameCount(made.map((file) => file.path)),
      ],
      ["nothing is owed", status.drives.every((drive) => drive.owed.files === 0)],
      ["the card is clear to format", card?.clear === true],
      ["every file on the card is accounted for", card?.files === made.length],
      ["what was left behind is named", card?.leavings.length === leavings.size],
      ["the card is unchanged", JSON.stringify(after) === JSON.stringify(before)],
      ...drives.map(({ name, sums }): [string, boolean] => [
        `${name} holds every file of the card`,
        missingFrom(sums, wanted).length === 0,
      ]),
      ["the drives hold the same tree", sameTree],
      [
        "every frame is filed under its evening and its body",
        misfiled(made, before, drives[0]?.sums ?? []).length === 0,
      ],
      ["the checksum lists agree", lists.every((list) => list.held !== false)],
      ["the daemon stopped cleanly", (await stopDaemon(daemon, millis(10_000))) === 0],
    ];
    const broken = promises.filter(([, held]) => !held);
    for (const [promise] of broken) console.error(`NOT SO: ${promise}`);
    if (broken.length > 0) console.error(`The daemon's own words are in ${log}`);
    console.log(
      `\n${broken.length === 0 ? "All promises held" : "Something isn't as promised"}; ` +
        `${formatSpan(millis(performance.now() - began))} in all. To look around: ${place}`,
    );
    return broken.length === 0 ? 0 : 1;
  } catch (failure) {
    console.error(
      `The demo could not go on: ${failure instanceof Error ? failure.message : String(failure)}`,
    );
    console.error(`Nothing outside ${place} was touched. The daemon's own words are in ${log}`);
    return 1;
  } finally {
    await stopDaemon(daemon, millis(10_000));
  }
}

async function untilItAnswers(
  scrubjay: Scrubjay,
  daemon: ReturnType<typeof startDaemon>,
  log: string,
): Promise<void> {
  for (let tries = 0; tries < 60; tries += 1) {
    if (daemon.exitCode !== null) throw new Error(`the daemon ended with ${daemon.exitCode}; see ${log}`);
    // 69: it isn't running yet. 0 and 1 are both answers, if there is one.
    const answer = await scrubjay.run("status", "--json");
    if (answer.status <= 1 && answer.out.startsWith("{")) return;
    await sleep(200);
  }
  throw new Error("the daemon did not answer");
}

async function must(scrubjay: Scrubjay, ...args: readonly string[]): Promise<void> {
  const answer = await scrubjay.run(...args);
  if (answer.status !== 0) {
    throw new Error(`scrubjay ${args.join(" ")} ended with ${answer.status}: ${answer.errors.trim()}`);
  }
}

/** Shows the progress until `wait` returns. @returns the exit status of `wait`. */
async function watchUntilDone(scrubjay: Scrubjay): Promise<number> {
  const line = new LiveLine(process.stdout);
  let done = false;
  const waiting = scrubjay.run("wait", "--timeout", "120").then((answer) => {
    done = true;
    return answer.status;
  });
  while (!done) {
    line.show(progressLine(await scrubjay.json<StatusJson>(["status"], [0, 1])));
    await Promise.race([waiting, sleep(400)]);
  }
  line.clear();
  return waiting;
}

function leftBehind(card: CardStatusJson | undefined): string {
  if (card === undefined || card.leavings.length === 0) return "nothing";
  return card.leavings.map((each) => `${printable(each.path)} (${printable(each.why)})`).join(", ");
}

/** Frames as the generator means them: one a base name. */
function frameCount(paths: readonly string[]): number {
  return new Set(paths.filter((path) => /\.(DNG|JPG|MOV)$/.test(path)).map((path) => path.slice(0, -4))).size;
}

/**
 * Frames that don't stand where the profile wants them. All were taken before 04:00, so by `day-starts` the evening's
 * date counts for those after midnight too; letters are the profile's.
 */
function misfiled(
  made: readonly CardFile[],
  card: readonly FileSum[],
  drive: readonly FileSum[],
): readonly CardFile[] {
  const letters = new Map([
    ["4410072", "A"],
    ["4410913", "B"],
  ]);
  const sums = new Map(card.map((file) => [file.path, file.sha256]));
  const filed = new Map(drive.map((file) => [file.sha256, file.path]));
  return made.filter((file) => {
    const letter = letters.get(file.taken?.serial ?? "");
    if (letter === undefined) return false;
    const day = demoCard.evening;
    const wanted = `${day}/KC-${day.replaceAll("-", "")}-${letter}${file.path.slice(-8)}`;
    return filed.get(sums.get(file.path) ?? "") !== wanted;
  });
}

/** The checksum list may name the same files in another order on each drive. */
function treeOf(sums: readonly FileSum[]): string {
  const filed = sums.filter((file) => file.path !== "checksums.xxh64");
  return filed.map((file) => `${file.sha256} ${file.path}`).join("\n");
}

/** What the general tool says about a drive's checksum list; `held` is undefined where it isn't installed. */
function listCheck(folder: string): { readonly held: boolean | undefined; readonly words: string } {
  const check = spawnSync("xxhsum", ["-c", "--quiet", "checksums.xxh64"], { cwd: folder, encoding: "utf8" });
  if (
    check.error !== undefined &&
    "code" in check.error &&
    check.error.code === "ENOENT" &&
    existsSync(folder)
  ) {
    return { held: undefined, words: "not installed" };
  }
  return check.status === 0
    ? { held: true, words: "checksums.xxh64 agrees" }
    : {
        held: false,
        words: `does not agree: ${printable(`${check.stdout ?? ""}${check.stderr ?? ""}`.trim())}`,
      };
}
