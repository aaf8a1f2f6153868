/**
 * A week on the road and the homecoming, in the demo's world, on loop volumes: seven evenings with a card each, three
 * drives that come and go, sidecars by exiftool and a live SQLite catalogue between the evenings, an original that is
 * renamed and one that is written into, the primary lost on day five, a sidecar changed on two drives apart, and the
 * trip brought home from the two drives that are left. What must come out is written down here as the week goes, by
 * general tools; `homeCheck.ts` holds the archives and the receipt against it.
 */

import { strict as assert } from "node:assert";
import { copyFileSync, existsSync, mkdirSync, renameSync, statSync, writeFileSync } from "node:fs";
import { basename, dirname, join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { limits } from "../../config/defaults.ts";
import type { ReceiptJson } from "../../shared/homeApi.ts";
import {
  type CardOptions,
  generateCard,
  nextEvening,
  profileText,
  tinyCard,
} from "../cards/generate/card.ts";
import { Computer, filed } from "../support/computer.ts";
import { filesBelow, sha256Below, sha256Of } from "../support/generalTools.ts";
import type { LoopVolume } from "../support/loopVolume.ts";
import {
  readSidecar,
  rowsOf,
  type SidecarValues,
  writeCatalogue,
  writeInto,
  writePreview,
  writeSidecar,
} from "./editor.ts";
import { checkHome, type Expected } from "./homeCheck.ts";

const catalogue = "Catalogue/frames.db";
const drives = ["Blue", "Slate", "Rust"] as const;
type DriveName = (typeof drives)[number];

export interface WeekResult {
  readonly originals: number;
  readonly sidecars: number;
  /** Versions of the catalogue that were found whole, on drives and in histories. */
  readonly catalogueVersions: number;
  readonly receipt: ReceiptJson;
}

/** @throws where anything isn't as promised */
export async function liveTheWeek(cli: string | undefined, say: (line: string) => void): Promise<WeekResult> {
  const computer = cli === undefined ? new Computer() : new Computer(cli);
  try {
    return await new Week(computer, say).live();
  } finally {
    await computer.end();
  }
}

class Week {
  readonly #computer: Computer;
  readonly #say: (line: string) => void;
  readonly #drives: Readonly<Record<DriveName, LoopVolume>>;
  readonly #archives: readonly string[];
  /** Copies of what was in place on the mirrors at some moment, for the check. */
  readonly #seen: string;
  #evening: CardOptions = tinyCard;
  #nth = 0;
  /** SHA-256 of everything that cards held, with how often it must stand. */
  readonly #originals = new Map<string, string>();
  /** What sidecars must say in the end, by path below the trip's folder. */
  readonly #sidecars = new Map<string, SidecarValues>();
  /** Other work files, by path. */
  readonly #others = new Map<string, string>();
  readonly #mirrored = new Set<string>();

  constructor(computer: Computer, say: (line: string) => void) {
    this.#computer = computer;
    this.#say = say;
    this.#drives = {
      Blue: computer.volume("Blue", "exfat", 200_000_000),
      Slate: computer.volume("Slate", "ext4", 200_000_000),
      Rust: computer.volume("Rust", "exfat", 200_000_000),
    };
    this.#archives = (["ext4", "exfat"] as const).map((fs, nth) => {
      const at = join(computer.folder, nth === 0 ? "archive" : "shelf");
      computer.volume(nth === 0 ? "HOME" : "SHELF", fs, 200_000_000, { at });
      return at;
    });
    this.#seen = join(computer.folder, "seen");
    mkdirSync(this.#seen);
  }

  async live(): Promise<WeekResult> {
    await this.#depart();
    await this.#first();
    await this.#second();
    await this.#third();
    await this.#fourth();
    await this.#fifth();
    await this.#sixth();
    await this.#seventh();
    return this.#home();
  }

  async #depart(): Promise<void> {
    const computer = this.#computer;
    const [home = "", shelf = ""] = this.#archives;
    const profile = join(computer.folder, "trip.yaml");
    const text = [
      profileText({ drives, copies: 2 }),
      `archive: { folder: ${home}, tree: "{taken:yyyy}/{trip}", also: ${shelf} }`,
      'edits: { leave-out: ["Catalogue/Previews/**"], history: 20 % }',
      "",
    ].join("\n");
    writeFileSync(profile, text);
    await computer.start();
    await computer.must("trip", "add", profile);
    for (const name of drives) await computer.must("drive", "add", computer.at(name), "--name", name);
  }

  /** All three drives are in; the first sidecars in both forms of names, a note, and the catalogue is begun. */
  async #first(): Promise<void> {
    await this.#shoot("all three drives");
    const raws = this.#raws("Blue");
    for (const [nth, raw] of raws.slice(0, 4).entries())
      this.#sidecar("Blue", xmp(raw), { Rating: nth + 1, Label: `choice ${nth}` });
    this.#sidecar("Blue", `${raws[4] ?? ""}.xmp`, { Rating: 3 });
    this.#other("Blue", "Notes/day 1, café – “cliffs”.txt", "puffins from 22:10, wind north-west\n");
    await this.#writeWithPauses("Blue", 2);
    await this.#quiet("Slate", "Rust");
  }

  /** Rust is in the car: what it owes of edits as of frames is made good on day three. */
  async #second(): Promise<void> {
    await this.#unplug("Rust");
    await this.#shoot("Rust is in the car");
    const [first = "", second = ""] = this.#raws("Blue");
    this.#sidecar("Blue", xmp(first), { Rating: 5 });
    this.#sidecar("Blue", xmp(second), { Subject: "kittiwake" });
    writePreview(this.#at("Blue", "Catalogue"), "Previews/large.bin", 3_000_000);
    await this.#writeWithPauses("Blue", 3);
    await this.#quiet("Slate");
    const { edits } = await this.#computer.status();
    assert.equal(edits?.leftOut.files, 1, "the catalogue's previews are left out, and that is said");
    assert.equal(existsSync(this.#at("Slate", "Catalogue/Previews/large.bin")), false);
  }

  /** Rust comes back, Slate is away; an editor writes into an original itself. */
  async #third(): Promise<void> {
    await this.#plug("Rust");
    await this.#unplug("Slate");
    await this.#shoot("Slate is in the safe");
    const jpegs = filed(this.#computer.trip("Blue")).filter((path) => path.endsWith(".JPG"));
    const [jpeg = ""] = jpegs.slice(2);
    writeInto(jpeg, "somebody");
    await this.#quiet("Rust");
    const path = jpeg.slice(this.#computer.trip("Blue").length + 1);
    this.#others.set(path.replace(/\.JPG$/, "-changed.JPG"), sha256Of(jpeg));
  }

  /** Slate comes back; an original is renamed and one is moved on the primary, with their sidecars. */
  async #fourth(): Promise<void> {
    await this.#plug("Slate");
    await this.#shoot("all three again");
    const raws = this.#raws("Blue");
    const renamed = raws.at(-1) ?? "";
    renameSync(this.#at("Blue", renamed), this.#at("Blue", renamed.replace(/\.DNG$/, " best.DNG")));
    const moved = raws.at(-2) ?? "";
    mkdirSync(this.#at("Blue", "Choice"));
    renameSync(this.#at("Blue", moved), this.#at("Blue", `Choice/${basename(moved)}`));
    await this.#writeWithPauses("Blue", 2);
    await this.#quiet("Slate", "Rust");
  }

  /** The primary is lost, with what was written in its last minute. */
  async #fifth(): Promise<void> {
    const rows = rowsOf(this.#at("Blue", catalogue));
    for (const name of ["Slate", "Rust"] as const)
      assert.equal(
        rowsOf(this.#at(name, catalogue)),
        rows,
        `${name} has the catalogue of the last quiet moment`,
      );
    const [first = ""] = this.#raws("Blue");
    const before = this.#sidecars.get(xmp(first));
    await writeCatalogue(this.#at("Blue", catalogue), 0.5);
    writeSidecar(this.#at("Blue", xmp(first)), { Rating: 1 });
    // Gone before it was quiet.
    this.#drives.Blue.unmount();
    await this.#computer.settled();
    assert.deepEqual(readSidecar(this.#at("Slate", xmp(first))), before);
    await this.#computer.must("drive", "lost", "Blue");
    await this.#shoot("Blue is lost");
    await this.#quiet("Slate", "Rust");
  }

  /** The same sidecar is changed on both drives apart. */
  async #sixth(): Promise<void> {
    await this.#shoot("two drives");
    const third = this.#raws("Slate")[2] ?? "";
    const path = xmp(third);
    await this.#unplug("Rust");
    writeSidecar(this.#at("Slate", path), { Rating: 2, Label: "by the window" });
    await this.#quiet("Slate");
    // Two seconds are one step of FAT's clock: which one is newer must not hang on it.
    await sleep(2_500);
    const rust = this.#drives.Rust;
    rust.mount(join(this.#computer.aside, "elsewhere"));
    const elsewhere = join(rust.at, "Kestrel Cliffs", path);
    writeSidecar(elsewhere, { Rating: 4, Label: "in the car" });
    this.#sidecars.set(path, readSidecar(elsewhere));
    rust.unmount();
    await this.#plug("Rust");
    await this.#quiet("Slate", "Rust");
    const status = await this.#computer.status();
    assert.equal(status.edits?.conflicts, 1);
    assert.ok(status.alerts.some(({ code }) => code === "work-conflict"));
  }

  /** Rust is away for the last evening, and is caught up before going home. */
  async #seventh(): Promise<void> {
    await this.#unplug("Rust");
    await this.#shoot("Rust is away once more");
    this.#other("Slate", "Exports/best of the week.jpg", "stands for a picture");
    await this.#writeWithPauses("Slate", 1);
    await this.#quiet("Slate");
    await this.#plug("Rust");
    await this.#quiet("Slate", "Rust");
  }

  async #home(): Promise<WeekResult> {
    const computer = this.#computer;
    this.#say("homecoming, from Slate and Rust");
    const rehearsal = await this.#homecoming("--dry-run");
    assert.equal(rehearsal.rehearsal, true);
    for (const archive of this.#archives)
      assert.deepEqual(
        filesBelow(archive).filter((path) => !path.startsWith("lost+found")),
        [],
        "a rehearsal writes nothing",
      );
    const rows = rowsOf(this.#at("Slate", catalogue));
    const receipt = await this.#homecoming();
    const expected: Expected = {
      originals: this.#originals,
      sidecars: this.#sidecars,
      others: this.#others,
      catalogue: { path: catalogue, rows },
      conflicts: 1,
      reusable: ["Slate", "Rust"],
    };
    checkHome(this.#archives, receipt, expected);
    const again = await this.#homecoming();
    assert.equal(
      again.targets.reduce((sum, { copied }) => sum + copied.files, 0),
      0,
      "nothing comes twice",
    );
    checkHome(this.#archives, { ...again, targets: receipt.targets }, expected);
    for (const { tripFolder } of receipt.targets) await computer.must("archive", "check", tripFolder);
    const versions = this.#checkHistories();
    for (const name of ["Slate", "Rust"]) await computer.must("drive", "retire", name);
    return {
      originals: this.#originals.size,
      sidecars: this.#sidecars.size,
      catalogueVersions: versions,
      receipt,
    };
  }

  async #homecoming(...options: readonly string[]): Promise<ReceiptJson> {
    return this.#computer.scrubjay.json<ReceiptJson>(["homecoming", "Kestrel Cliffs", ...options]);
  }

  /** Every version of the catalogue on both drives is whole. @returns how many there are */
  #checkHistories(): number {
    let versions = 0;
    for (const name of ["Slate", "Rust"] as const) {
      const history = filesBelow(join(this.#drives[name].at, ".scrubjay/trips"));
      for (const path of history.filter((each) => each.includes(`/earlier/${catalogue}/`))) {
        rowsOf(join(this.#drives[name].at, ".scrubjay/trips", path));
        versions += 1;
      }
    }
    for (const path of filesBelow(this.#seen)) rowsOf(join(this.#seen, path));
    assert.ok(versions > 0, "the drives keep earlier versions of the catalogue");
    return versions + this.#mirrored.size;
  }

  /** An evening's card goes in, is copied to what is plugged in, and comes out. */
  async #shoot(what: string): Promise<void> {
    this.#nth += 1;
    this.#say(`evening ${this.#nth}: ${what}`);
    if (this.#nth > 1) this.#evening = nextEvening(this.#evening);
    const card = this.#computer.card(32_000_000, (folder) => {
      const made = generateCard(folder, this.#evening).filter(({ role }) => role !== "leaving");
      const sums = sha256Below(folder);
      for (const { path } of made) {
        const sum = sums.get(path) ?? "";
        // The same memo belongs to several frames and is filed with each; what else is alike is filed once.
        this.#originals.set(path.endsWith(".WAV") ? `${sum} ${this.#nth} ${path}` : sum, sum);
      }
    });
    card.mount(this.#computer.at("CARD"));
    await this.#computer.settled();
    card.remove();
    await this.#computer.settled();
  }

  /** Until everything that is plugged in has the newest of everything. */
  async #quiet(...holders: readonly DriveName[]): Promise<void> {
    await this.#computer.settled();
    const { edits } = await this.#computer.status();
    for (const name of holders) {
      const held = edits?.drives.find(({ drive }) => drive === name);
      assert.equal(held?.behind, 0, `${name} has the newest of all work files`);
      this.#keepCatalogue(name);
    }
  }

  /** What stands on a mirror is kept for the check as it is now: copied first, as the next version may come any moment. */
  #keepCatalogue(name: DriveName): void {
    const copy = join(this.#seen, "just copied");
    try {
      copyFileSync(this.#at(name, catalogue), copy);
    } catch (error) {
      // Between two versions no file has the name: one goes to its history, the next takes its place.
      if (error instanceof Error && "code" in error && error.code === "ENOENT") return;
      throw error;
    }
    const sum = sha256Of(copy);
    this.#mirrored.add(sum);
    renameSync(copy, join(this.#seen, `${sum}.db`));
  }

  /** Pauses about as long as the daemon waits for quiet: it begins to copy and the writing goes on. */
  async #writeWithPauses(name: DriveName, times: number): Promise<void> {
    const database = this.#at(name, catalogue);
    for (let nth = 0; nth < times; nth += 1) {
      await writeCatalogue(database, 1);
      if (nth + 1 === times) break;
      const until = performance.now() + limits.editsQuiet + 400 * (nth + 1);
      while (performance.now() < until) {
        for (const mirror of drives.filter((each) => each !== name)) this.#keepCatalogue(mirror);
        await sleep(100);
      }
    }
  }

  #sidecar(drive: DriveName, path: string, values: SidecarValues): void {
    writeSidecar(this.#at(drive, path), values);
    this.#sidecars.set(path, readSidecar(this.#at(drive, path)));
  }

  #other(drive: DriveName, path: string, content: string): void {
    const at = this.#at(drive, path);
    mkdirSync(dirname(at), { recursive: true });
    writeFileSync(at, content);
    this.#others.set(path, sha256Of(at));
  }

  /** Raw files below the trip's folder, in order, the untouched copies of a drive. */
  #raws(drive: DriveName): readonly string[] {
    const trip = this.#computer.trip(drive);
    return filed(trip)
      .filter((path) => /\/2027-[^/]+\/[^/ ]+\.DNG$/.test(path) && statSync(path).isFile())
      .map((path) => path.slice(trip.length + 1));
  }

  #at(drive: DriveName, path: string): string {
    return join(this.#computer.trip(drive), path);
  }

  async #unplug(name: DriveName): Promise<void> {
    await this.#computer.settled();
    this.#drives[name].unmount();
    await this.#computer.settled();
  }

  async #plug(name: DriveName): Promise<void> {
    this.#drives[name].mount(this.#computer.at(name));
    await this.#computer.settled();
  }
}

/** The sidecar's name by the standard: the extension is replaced (XMP Specification part 3). */
function xmp(raw: string): string {
  return raw.replace(/\.DNG$/, ".xmp");
}
