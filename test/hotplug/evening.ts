/**
 * What the steps share: the laptop with its daemon, the box of media, the two drives of the trip, and the questions that
 * are asked again and again. Every wait has an end.
 */

import { setTimeout as sleep } from "node:timers/promises";
import type { AlertJson, CardStatusJson, DriveStatusJson, StatusJson, WaitJson } from "../../shared/api.ts";
import { type Millis, millis } from "../../shared/units.ts";
import type { Laptop } from "./laptop.ts";
import { type Card, type MediaBox, Plugged } from "./media.ts";
import { must } from "./report.ts";

/** The drives of the trip: Blue is ext4, Slate exFAT. */
export const driveNames = ["Blue", "Slate"] as const;
export type DriveName = (typeof driveNames)[number];

/** seconds. Everything is slow in there; a step that takes longer hangs. */
const settleSeconds = 240;

export class Evening {
  readonly laptop: Laptop;
  readonly box: MediaBox;
  /** Images of the drives. */
  readonly drives: Readonly<Record<DriveName, string>>;
  /** The drives as they are plugged in now. */
  readonly plugged = new Map<DriveName, Plugged>();
  /** Cards that were copied whole: everything on them must be found at the end. */
  readonly copied: Card[] = [];

  constructor(laptop: Laptop, box: MediaBox, drives: Readonly<Record<DriveName, string>>) {
    this.laptop = laptop;
    this.box = box;
    this.drives = drives;
  }

  /** The board as a person sees it. */
  async board(): Promise<string> {
    const { out, errors } = await this.laptop.scrubjay(["status"]);
    return `${out}${errors}`.replace(/^/gm, "    ");
  }

  status(): Promise<StatusJson> {
    return this.#api<StatusJson>("status");
  }

  async drive(name: DriveName): Promise<DriveStatusJson> {
    const found = (await this.status()).drives.find((drive) => drive.name === name);
    if (found === undefined) throw new Error(`the board doesn't know ${name}`);
    return found;
  }

  async card(label: string): Promise<CardStatusJson> {
    const cards = await this.#api<readonly CardStatusJson[]>("cards");
    const found = cards.find((card) => card.label === label);
    if (found === undefined)
      throw new Error(
        `no card ${label} is known, but ${cards.map((card) => card.label).join(", ") || "none"}`,
      );
    return found;
  }

  /** The alert of this code; `about`: of this drive, or of the card of this label. */
  async alert(code: string, about: string): Promise<AlertJson | undefined> {
    const { alerts, cards } = await this.status();
    const name = cards.find((card) => card.label === about)?.name ?? about;
    return alerts.find((alert) => alert.code === code && alert.happened.startsWith(`${name} `));
  }

  /** Until nothing is left to do with what is plugged in. */
  async settled(): Promise<WaitJson> {
    const answer = await this.#api<WaitJson>(
      `wait?timeout=${settleSeconds}`,
      millis((settleSeconds + 30) * 1000),
    );
    must(answer.idle, `\`wait\` comes to rest within ${settleSeconds} s`);
    return answer;
  }

  async plugDrive(name: DriveName): Promise<void> {
    this.plugged.set(name, await Plugged.in(this.laptop, name, this.drives[name], { removable: false }));
    await this.untilMounted(name);
  }

  async pullDrive(name: DriveName): Promise<void> {
    await this.plugged.get(name)?.tearOff();
    this.plugged.delete(name);
  }

  /** Where the volume of this label is mounted, as soon as it is. By the daemon: nobody else mounts in there. */
  untilMounted(label: string): Promise<string> {
    return this.untilPrints(
      `findmnt --noheadings --output TARGET --source LABEL=${label}`,
      `${label} is mounted`,
    );
  }

  async untilUnmounted(label: string): Promise<void> {
    await this.until(
      `${label} is unmounted`,
      `! findmnt --source LABEL=${label} && ! [ -d /media/anna/${label} ]`,
    );
  }

  /** Bytes read so far from the disk of this label, by the kernel's count. */
  async bytesRead(label: string): Promise<number> {
    const said = await this.laptop.must(
      `part=$(basename "$(readlink -f /dev/disk/by-label/${label})"); cat /sys/class/block/$part/stat`,
    );
    return Number(said.trim().split(/\s+/)[2]) * 512;
  }

  /** Until so many files stand under their final names on a drive, with the trip half copied. */
  async untilFiled(drive: DriveName, files: number): Promise<void> {
    const trip = `/media/anna/${drive}/Kestrel Cliffs`;
    await this.until(
      `${files} files are filed on ${drive}`,
      `[ "$(find '${trip}' -type f ! -name checksums.xxh64 2>/dev/null | wc -l)" -ge ${files} ]`,
    );
  }

  async filedOn(drive: DriveName): Promise<number> {
    const find = `find '/media/anna/${drive}/Kestrel Cliffs' -type f ! -name checksums.xxh64 2>/dev/null | wc -l`;
    return Number(await this.laptop.must(find));
  }

  /** Until a shell test holds in the guest; asked there, so that little time passes unseen. */
  async until(what: string, test: string, seconds = 120): Promise<void> {
    const script = `n=0; until ${test} >/dev/null 2>&1; do n=$((n+1)); [ $n -lt ${seconds * 10} ] || exit 9; sleep 0.1; done`;
    const { status } = await this.laptop.sh(script);
    must(status === 0, what);
  }

  async untilPrints(command: string, what: string): Promise<string> {
    for (let attempt = 0; attempt < 300; attempt += 1) {
      const { status, out } = await this.laptop.sh(command);
      if (status === 0 && out.trim() !== "") return out.trim().split("\n")[0] ?? "";
      await sleep(100);
    }
    throw new Error(`not so: ${what}`);
  }

  /** The card is whole on both drives and may be formatted. */
  async mustBeClear(card: Card): Promise<void> {
    const found = await this.card(card.label);
    must(found.clear, `${card.label} is clear: ${found.verdict}`);
    const counted = found.frameFiles + found.extras;
    must(
      counted === card.sums.size,
      `all ${card.sums.size} files of ${card.label} are counted, not ${counted}`,
    );
    this.copied.push(card);
  }

  /** Until the daemon answers: after a start it takes a while. */
  async untilItAnswers(): Promise<void> {
    for (let attempt = 0; attempt < 120; attempt += 1) {
      if ((await this.laptop.api("/v1/status")) !== undefined) return;
      await sleep(500);
    }
    const journal = await this.laptop.sh("journalctl --no-pager --lines 20 _UID=1000");
    throw new Error(`the daemon doesn't answer\n${journal.out}`);
  }

  async #api<T>(question: string, patience?: Millis): Promise<T> {
    const answer = await this.laptop.api<T>(`/v1/${question}`, patience);
    if (answer === undefined) throw new Error(`the daemon doesn't answer to ${question}`);
    return answer;
  }
}
