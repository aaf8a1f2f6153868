/**
 * Media for the laptop: images with real file systems, filled on this computer, and how they are plugged in over USB,
 * torn off and changed in a reader. What a card held is kept as SHA-256 sums, taken while it was filled.
 */

import { execFileSync, spawnSync } from "node:child_process";
import { createCipheriv } from "node:crypto";
import {
  closeSync,
  copyFileSync,
  ftruncateSync,
  mkdirSync,
  mkdtempSync,
  openSync,
  readFileSync,
  rmSync,
  utimesSync,
  writeFileSync,
  writeSync,
} from "node:fs";
import { dirname, join } from "node:path";
import { type Bytes, bytes } from "../../shared/units.ts";
import { sha256Below } from "../support/generalTools.ts";
import { makeVolume, type VolumeWish } from "../support/loopVolume.ts";
import type { Laptop } from "./laptop.ts";
import type { Json } from "./lineSocket.ts";

export interface Card {
  readonly label: string;
  readonly image: string;
  /** SHA-256 of every file on it that is to be copied, by path. */
  readonly sums: ReadonlyMap<string, string>;
  readonly bytes: Bytes;
}

/** How a medium behaves. */
export interface Manner {
  /** bytes a second that it can be read with. */
  readonly readPerSecond?: Bytes;
  /** 512-byte sector that can't be read. */
  readonly badSector?: number;
  readonly readOnly?: boolean;
  /** The medium can be taken out of the device, as a card can: true by default. */
  readonly removable?: boolean;
}

/** Puts files on a mounted card. */
export type Fill = (folder: string) => void;

const user = 1000;

export class MediaBox {
  readonly #folder: string;

  /** @param folder where the images stand. */
  constructor(folder: string) {
    this.#folder = folder;
  }

  /** An empty drive's image. An ext4 drive belongs to the person, as one that was formatted by a desktop does. */
  drive(label: string, fs: VolumeWish["fs"], size: Bytes): string {
    return this.#make({ fs, sizeBytes: size, label, mkfs: ["-m", "0", "-E", `root_owner=${user}:${user}`] });
  }

  exfatCard(label: string, size: Bytes, fill: Fill, without: readonly string[] = []): Card {
    let sums: ReadonlyMap<string, string> = new Map();
    let total = 0;
    const image = this.#make({ fs: "exfat", sizeBytes: size, label }, (at) => {
      fill(at);
      sums = wantedSums(at, without);
      total = sizeOf(at);
    });
    return { label, image, sums, bytes: bytes(total) };
  }

  fatCard(label: string, size: Bytes, fill: Fill): Card {
    const image = join(this.#folder, `${label}.img`);
    empty(image, size);
    run("mkfs.fat", "-F", "32", "-s", "1", "-n", label, image);
    const at = mkdtempSync(join(this.#folder, "fill-"));
    fill(at);
    for (const top of execFileSync("ls", ["-A", at], { encoding: "utf8" }).trim().split("\n"))
      run("mcopy", "-s", "-m", "-i", image, join(at, top), "::");
    const card = { label, image, sums: wantedSums(at, []), bytes: bytes(sizeOf(at)) };
    rmSync(at, { recursive: true });
    return card;
  }

  /** One medium with a table of partitions (MBR), each the image of a card. */
  partitioned(label: string, parts: readonly { readonly card: Card; readonly kind: number }[]): string {
    const image = join(this.#folder, `${label}.img`);
    const table = Buffer.alloc(512);
    let sector = 2048;
    const out = openSync(image, "w");
    parts.forEach(({ card, kind }, index) => {
      const content = readFileSync(card.image);
      const entry = 446 + 16 * index;
      table[entry + 4] = kind;
      table.writeUInt32LE(sector, entry + 8);
      table.writeUInt32LE(content.length / 512, entry + 12);
      writeSync(out, content, 0, content.length, sector * 512);
      sector += Math.ceil(content.length / 512 / 2048) * 2048;
    });
    table.writeUInt16LE(0xaa55, 510);
    writeSync(out, table, 0, 512, 0);
    ftruncateSync(out, sector * 512);
    closeSync(out);
    return image;
  }

  #make(wish: Omit<VolumeWish, "at">, fill?: Fill): string {
    const at = mkdtempSync(join(this.#folder, "mount-"));
    const volume = makeVolume({ ...wish, at, ...(wish.fs === "exfat" ? { options: "noatime" } : {}) });
    const image = join(this.#folder, `${wish.label}.img`);
    try {
      fill?.(at);
      volume.unmount();
      copyFileSync(volume.image, image);
    } finally {
      volume.remove();
    }
    return image;
  }
}

/**
 * Pictures without Exif, dated into the trip. @param from the first file number; cards with other numbers have other
 * contents.
 */
export function plainFrames(from: number, files: number, bytesEach: number): Fill {
  return (folder) => {
    for (let number = from; number < from + files; number += 1) {
      const path = join(folder, `DCIM/100ALDIN/ALD_${String(number).padStart(4, "0")}.PNG`);
      mkdirSync(dirname(path), { recursive: true });
      writeFileSync(path, frameBytes(number, bytesEach));
      const shot = Date.parse("2027-06-05T18:00:00Z") / 1000 + 2 * number;
      utimesSync(path, shot, shot);
    }
  };
}

/** What stands in the frame of this number: a cipher's stream, no two blocks of it alike. */
export function frameBytes(number: number, length: number): Buffer {
  return createCipheriv("aes-256-ctr", Buffer.alloc(32, 7), Buffer.alloc(16, `frame ${number}`)).update(
    Buffer.alloc(length),
  );
}

/** The 512-byte sector of an image on which these bytes begin. */
export function sectorOf(image: string, content: Buffer): number {
  const at = readFileSync(image).indexOf(content.subarray(0, 512));
  if (at < 0 || at % 512 !== 0) throw new Error(`the image ${image} doesn't hold that content`);
  return at / 512;
}

/** A USB device that was plugged in. */
export class Plugged {
  readonly id: string;
  readonly #laptop: Laptop;
  #node: string | undefined;
  #limit: string | undefined;
  #media = 0;

  private constructor(laptop: Laptop, id: string) {
    this.#laptop = laptop;
    this.id = id;
  }

  /** Plugs in a reader or a drive with a medium. */
  static async in(laptop: Laptop, id: string, image: string, manner: Manner = {}): Promise<Plugged> {
    const plugged = await Plugged.ready(laptop, id, image, manner);
    await plugged.attach();
    return plugged;
  }

  /** A reader with nothing in it. qemu wants a medium at first, `spare`; it is out before the guest sees the reader. */
  static async emptyReader(laptop: Laptop, id: string, spare: string): Promise<Plugged> {
    const plugged = await Plugged.ready(laptop, id, spare, {});
    await plugged.takeCard();
    await plugged.attach();
    return plugged;
  }

  /** Everything but the last contact: `attach` is the moment it is plugged in. */
  static async ready(laptop: Laptop, id: string, image: string, manner: Manner): Promise<Plugged> {
    const plugged = new Plugged(laptop, id);
    const removable = manner.removable ?? true;
    const node = await plugged.#addNode(image, manner);
    await laptop.qmp("device_add", { driver: "usb-bot", id, bus: "usb.0", serial: `SJ-${id}` });
    await laptop.qmp("device_add", {
      driver: "scsi-hd",
      id: `${id}-slot`,
      bus: `${id}.0`,
      drive: node,
      removable,
      vendor: removable ? "ALDINE" : "POCKET",
      product: removable ? "READER" : "SSD",
    });
    return plugged;
  }

  async attach(): Promise<void> {
    await this.#laptop.qmp("qom-set", {
      path: `/machine/peripheral/${this.id}`,
      property: "attached",
      value: true,
    });
  }

  /** Torn off, with whatever was under way. */
  async tearOff(): Promise<void> {
    await this.#laptop.removeDevice(this.id);
    await this.#dropNode();
  }

  /** The reader stays, its card goes. */
  async takeCard(): Promise<void> {
    const id = `${this.id}-slot`;
    await this.#laptop.qmp("blockdev-open-tray", { id, force: true });
    await this.#laptop.qmp("blockdev-remove-medium", { id });
    await this.#dropNode();
  }

  async putCard(image: string, manner: Manner = {}): Promise<void> {
    const id = `${this.id}-slot`;
    const node = await this.#addNode(image, manner);
    await this.#laptop.qmp("blockdev-insert-medium", { id, "node-name": node });
    await this.#laptop.qmp("blockdev-close-tray", { id });
  }

  async #addNode(image: string, manner: Manner): Promise<string> {
    this.#media += 1;
    const node = `${this.id}-medium-${this.#media}`;
    const readOnly = manner.readOnly ?? false;
    const raw: Json = {
      driver: "raw",
      "read-only": readOnly,
      file: { driver: "file", filename: image, "read-only": readOnly },
    };
    let top = raw;
    if (manner.badSector !== undefined) {
      const fault = { event: "none", iotype: "read", sector: manner.badSector, errno: 5, once: false };
      top = { driver: "blkdebug", image: top, "inject-error": [fault] };
    }
    if (manner.readPerSecond !== undefined) {
      const group = `${node}-limit`;
      this.#limit = group;
      await this.#laptop.qmp("object-add", {
        "qom-type": "throttle-group",
        id: group,
        limits: { "bps-read": manner.readPerSecond },
      });
      top = { driver: "throttle", "throttle-group": group, file: top };
    }
    await this.#laptop.qmp("blockdev-add", { ...top, "node-name": node });
    this.#node = node;
    return node;
  }

  async #dropNode(): Promise<void> {
    if (this.#node === undefined) return;
    await this.#laptop.qmp("blockdev-del", { "node-name": this.#node });
    this.#node = undefined;
    if (this.#limit !== undefined) await this.#laptop.qmp("object-del", { id: this.#limit });
    this.#limit = undefined;
  }
}

function wantedSums(folder: string, without: readonly string[]): ReadonlyMap<string, string> {
  return new Map([...sha256Below(folder)].filter(([path]) => !without.includes(path)));
}

function sizeOf(folder: string): number {
  const said = execFileSync("find", [folder, "-type", "f", "-printf", "%s\\n"], { encoding: "utf8" });
  return said.split("\n").reduce((sum, line) => sum + Number(line), 0);
}

function empty(image: string, size: Bytes): void {
  const file = openSync(image, "w");
  ftruncateSync(file, size);
  closeSync(file);
}

function run(command: string, ...args: readonly string[]): void {
  const { status, stderr, error } = spawnSync(command, args, { encoding: "utf8" });
  if (status !== 0) throw new Error(`${command} ${args.join(" ")}: ${error?.message ?? stderr}`);
}
