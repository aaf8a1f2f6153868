/** The evening as it should go: at rest with nothing plugged in; two drives made known; a card copied and verified. */

import { setTimeout as sleep } from "node:timers/promises";
import { bytes } from "../../shared/units.ts";
import { generateCard, profileText, tinyCard } from "../cards/generate/card.ts";
import { driveNames, type Evening } from "./evening.ts";
import { Plugged } from "./media.ts";
import { must } from "./report.ts";

const unit = "systemctl --user --machine=anna@.host";

export async function atRest(evening: Evening): Promise<readonly string[]> {
  const { laptop } = evening;
  await evening.untilItAnswers();
  const state = await laptop.must(`${unit} is-active scrubjay`);
  must(state === "active", `the unit is active, not ${state}`);
  const { status, out, errors } = await laptop.scrubjay(["wait", "--timeout", "60"]);
  must(status === 0, `\`scrubjay wait\` says that nothing is left to do: ${status} ${out}${errors}`);
  const pid = await mainPid(evening);
  const busy = `awk '{print $14 + $15}' /proc/${pid}/stat`;
  const [before, seconds] = [Number(await laptop.must(busy)), 12];
  await sleep(seconds * 1000);
  const share = (Number(await laptop.must(busy)) - before) / seconds;
  // In clock ticks, a hundredth of a second each (proc(5)); emulated, it works some ten times as hard as for real.
  must(share < 40, `at rest it takes ${share.toFixed(1)} % of one processor`);
  const memory = await laptop.must(`awk '/VmRSS/ {print $2}' /proc/${pid}/status`);
  return [
    `the daemon takes ${share.toFixed(1)} % of one (emulated) processor at rest, and ${Math.round(Number(memory) / 1000)} MB`,
  ];
}

/** A crash of the daemon is mended by systemd: whatever ends it without its leave, it is started anew. */
export async function comesBack(evening: Evening): Promise<readonly string[]> {
  const { laptop } = evening;
  const before = await mainPid(evening);
  await laptop.must(`kill -KILL ${before}`);
  await evening.until(
    "the daemon was started anew",
    `! grep -q '"pid":${before}}' /run/user/1000/scrubjay/daemon.json`,
  );
  await evening.untilItAnswers();
  must((await mainPid(evening)) !== before, "it is another process");
  return [`process ${before} was killed; ${await mainPid(evening)} took its place`];
}

export async function firstCard(evening: Evening): Promise<readonly string[]> {
  const { laptop, box } = evening;
  for (const name of driveNames) await evening.plugDrive(name);
  const profile = Buffer.from(profileText({ drives: driveNames, copies: 2 })).toString("base64");
  await laptop.must(`echo ${profile} | base64 -d > /tmp/trip.yaml; chmod 644 /tmp/trip.yaml`);
  await mustSucceed(evening, "trip", "add", "/tmp/trip.yaml");
  for (const name of driveNames) {
    const mount = await evening.untilMounted(name);
    await mustSucceed(evening, "drive", "add", mount, "--name", name);
  }
  const types = await laptop.must(
    "findmnt --noheadings --output FSTYPE,TARGET,OPTIONS --types ext4,exfat --list",
  );

  const leavings: string[] = [];
  const card = box.exfatCard(
    "ALDINE1",
    bytes(12_000_000),
    (at) => {
      const made = generateCard(at, tinyCard);
      leavings.push(...made.filter((file) => file.role === "leaving").map((file) => file.path));
    },
    leavings,
  );
  const reader = await Plugged.ready(laptop, "reader", card.image, {});
  const begun = performance.now();
  const since = (): string => `${((performance.now() - begun) / 1000).toFixed(1)} s`;
  await reader.attach();
  await evening.untilMounted(card.label);
  const mounted = since();
  await evening.until("the first byte of the card stands on Blue", firstByteOn("Blue"));
  const firstByte = since();
  await evening.settled();
  const done = since();
  await evening.mustBeClear(card);
  for (const name of driveNames) {
    const { readBack, holds } = await evening.drive(name);
    must(readBack.cache === 0, `no copy on ${name} was read from a cache`);
    must(
      readBack.direct === card.sums.size,
      `${name} was read back past the cache, ${readBack.direct} files`,
    );
    must(holds.files === card.sums.size, `${name} holds ${holds.files} of ${card.sums.size} files`);
  }
  await reader.tearOff();
  await evening.untilUnmounted(card.label);
  return [
    `from plugging in: mounted after ${mounted}, the first byte copied after ${firstByte}, verified and clear after ${done}`,
    `${card.sums.size} files on each drive, all read back past the cache (direct)`,
    ...types.split("\n").map((line) => `mounted through UDisks2: ${line.replace(/\s+/g, " ").slice(0, 90)}`),
  ];
}

/** Something with a byte in it stands in `incoming/`, or is filed already. */
function firstByteOn(drive: string): string {
  const [incoming, trip] = [`/media/anna/${drive}/.scrubjay/incoming`, `/media/anna/${drive}/Kestrel Cliffs`];
  return `[ -n "$(find ${incoming} '${trip}' -type f -size +0 ! -name checksums.xxh64 -print -quit 2>/dev/null)" ]`;
}

async function mainPid({ laptop }: Evening): Promise<string> {
  return laptop.must(`${unit} show scrubjay --property MainPID --value`);
}

async function mustSucceed({ laptop }: Evening, ...args: readonly string[]): Promise<void> {
  const answer = await laptop.scrubjay(args);
  must(
    answer.status === 0,
    `scrubjay ${args.join(" ")} succeeds: ${answer.status} ${answer.out}${answer.errors}`,
  );
}
