/**
 * The first steps of a homecoming: what stands on the drives that are in and in the archives, read where only reading
 * tells what it is, and from that the place of every file.
 */

import {
  type AbsolutePath,
  baseName,
  type ContentHash,
  type DriveId,
  nameKey,
  under,
  type VolumeId,
} from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { placeAll, type Standing } from "../../core/homePlacing.ts";
import { checksumFile } from "../../record/driveLayout.ts";
import type { EnginePorts } from "../ports.ts";
import type { Publisher } from "../publisher.ts";
import { type Pace, readBack } from "../readBack.ts";
import { expectAll } from "./expect.ts";
import { dropTarget, whatItWas } from "./failing.ts";
import type { HomeTools } from "./homeTools.ts";
import { listBelow } from "./listing.ts";
import { contentOf, type Item, type Run, type Target } from "./run.ts";
import { lookAtDrive, workRecord } from "./workFiles.ts";

/** Something that is to be read whole to know what it is. */
interface Reading {
  readonly path: AbsolutePath;
  readonly size: number;
  readonly from: {
    readonly name: string;
    readonly volume: VolumeId;
    readonly publisher: Publisher | undefined;
  };
  readonly target: Target | undefined;
  /** @param hash undefined where it can't be read */
  readonly told: (hash: ContentHash | undefined) => void;
  /** How often it couldn't be read. */
  tries: number;
}

export class Looking {
  readonly #tools: HomeTools;
  #readings: Reading[] = [];

  constructor(tools: HomeTools) {
    this.#tools = tools;
  }

  async look(run: Run): Promise<void> {
    const { bay, presence, ports } = this.#tools.around;
    const { ledger } = ports;
    run.looks = [];
    run.without.clear();
    run.rounds += 1;
    for (const target of run.targets) target.lookAgain();
    this.#readings = [];
    for (const drive of presence.drives) {
      const publisher = this.#tools.publisherOf(drive.id, run.trip.id);
      // What a drive that was freed of the trip holds of it counts no more, whatever became of it since.
      if (publisher === undefined || ledger.archives.isRetired(drive.id, run.trip.id)) continue;
      await bay.guarded(publisher, async () => {
        run.looks.push(await lookAtDrive(ports, publisher, run.trip));
      });
    }
    run.originals = ledger.archives.expected(run.trip.id);
    for (const look of run.looks) {
      const publisher = this.#tools.publisherOf(look.drive, run.trip.id);
      if (publisher === undefined) continue;
      const { name, volume } = publisher.drive;
      for (const file of look.toRead)
        this.#readings.push({
          path: publisher.pathOf(run.trip.id, file.path),
          size: file.size,
          from: { name, volume: volume.id, publisher },
          target: undefined,
          tries: 0,
          told: (hash) => {
            if (hash !== undefined) look.works.push({ ...file, hash });
          },
        });
    }
    for (const target of run.targets) if (target.takesPart) await this.#lookAtArchive(run, target);
    this.#tools.begins(this.#readings.reduce((sum, { size }) => sum + size, 0));
    run.step = "read";
  }

  async #lookAtArchive(run: Run, target: Target): Promise<void> {
    const { archive } = target;
    if (archive === undefined) return;
    const { ledger, clock, limits } = this.#tools.around.ports;
    const folder = under(archive.folder, archive.tree);
    const list = nameKey(baseName(checksumFile("")));
    const heads = workRecord(ledger, run.trip.id).heads;
    const sizes = new Set<number>([
      ...run.originals.map(({ size }) => size),
      ...heads.map(({ size }) => size),
      ...run.looks.flatMap(({ toRead }) => toRead.map(({ size }) => size)),
    ]);
    const archived = ledger.archives.archived(archive.id, run.trip.id);
    const ours = new Set(archived.map(({ path, hash, size }) => `${path}\n${contentOf({ hash, size })}`));
    const names = new Set([
      ...archived.map(({ path }) => nameKey(path)),
      ...heads.map(({ path }) => nameKey(path)),
    ]);
    const seen = new Map(ledger.archives.seen(archive.id, run.trip.id).map((each) => [each.path, each]));
    try {
      const files = await listBelow(this.#tools.around.ports, folder, (path) => nameKey(path) === list);
      for (const file of files) {
        const before = seen.get(file.path);
        const age = before === undefined ? 0 : clock.now() - before.at;
        const known =
          before !== undefined &&
          before.size === file.size &&
          before.modified === file.modified &&
          ours.has(`${file.path}\n${contentOf(before)}`) &&
          age >= 0 &&
          age < limits.archiveTrust;
        const standing = { ...file, hash: known ? before.hash : undefined, known };
        target.standing.push(standing);
        if (known || (!sizes.has(file.size) && !names.has(nameKey(file.path)))) continue;
        this.#readings.push({
          path: under(folder, file.path),
          size: file.size,
          from: { name: archive.folder, volume: "" as VolumeId, publisher: undefined },
          target,
          tries: 0,
          told: (hash) => {
            standing.hash = hash;
          },
        });
      }
    } catch (fault) {
      await dropTarget(this.#tools.around.ports.files, target, fault);
    }
  }

  async read(run: Run): Promise<void> {
    const pace: Pace = async (read) => {
      this.#tools.advance(read);
      return !this.#tools.around.interrupted();
    };
    for (;;) {
      const [next] = this.#readings;
      if (next === undefined) break;
      if (this.#tools.around.interrupted()) return;
      const { from, target } = next;
      this.#tools.show(run, from.volume, from.name);
      const gone = from.publisher?.drive.gone.aborted === true || target?.takesPart === false;
      if (!gone) {
        try {
          const reading = await readBack(
            this.#tools.around.ports.files,
            next.path,
            this.#tools.around.verifyPool,
            this.#tools.around.ports.hashing,
            pace,
          );
          if (reading === undefined) return;
          next.told(reading.hash);
          if (reading.readBack === "cache" && target !== undefined) target.readBack = "cache";
        } catch (fault) {
          if (!(fault instanceof FileFault)) throw fault;
          if (target !== undefined && (await this.#triesAgain(next, target, fault))) continue;
        }
      }
      this.#readings.shift();
    }
    this.#place(run);
  }

  /** Nothing is concluded from one reading: a connection may have broken for a moment, and the file is good. */
  async #triesAgain(reading: Reading, target: Target, fault: FileFault): Promise<boolean> {
    const { files, limits } = this.#tools.around.ports;
    const { code } = await whatItWas(files, target.archive, fault);
    if (code === "gone" || code === "too-many") {
      await dropTarget(files, target, fault);
      return false;
    }
    reading.tries += 1;
    return code !== "missing" && reading.tries < limits.readTries;
  }

  #place(run: Run): void {
    const { ledger } = this.#tools.around.ports;
    const record = workRecord(ledger, run.trip.id);
    run.items = expectAll(run.originals, this.#primaryOf(run), record, run.looks);
    const wanting = new Set<Item>();
    for (const target of run.targets) {
      const { archive } = target;
      if (archive === undefined || !target.takesPart) continue;
      const placements = placeAll(run.items, standingIn(this.#tools.around.ports, run, target));
      run.items.forEach((item, index) => {
        const placement = placements[index];
        if (placement === undefined) return;
        target.placements.set(item, placement);
        if (placement.what === "put") wanting.add(item);
      });
    }
    run.jobs = run.items.filter((item) => wanting.has(item)).map((item) => ({ item, tries: 0 }));
    this.#tools.begins(run.sizeOfJobs());
    run.step = "carry";
  }

  #primaryOf(run: Run): DriveId | undefined {
    const name = run.trip.profile.drives.find(({ role }) => role === "primary")?.name;
    return name === undefined
      ? undefined
      : this.#tools.around.ports.ledger.drives().find((drive) => nameKey(drive.name) === nameKey(name))?.id;
  }
}

/** What stands in an archive, and which of it is ours to follow. */
function standingIn({ ledger }: EnginePorts, run: Run, target: Target): readonly Standing[] {
  const { archive, standing } = target;
  if (archive === undefined) return [];
  const archived = new Set(
    ledger.archives.archived(archive.id, run.trip.id).map((file) => `${file.path}\n${contentOf(file)}`),
  );
  const seen = new Map(ledger.archives.seen(archive.id, run.trip.id).map((file) => [file.path, file]));
  const works = new Map(run.items.filter(({ work }) => work).map((each) => [nameKey(each.path), each]));
  return standing.map(({ path, size, modified, hash }): Standing => {
    if (hash === undefined) return { path, size, hash, ours: undefined };
    const content = contentOf({ hash, size });
    const before = seen.get(path);
    const untouched = before?.size === size && before.modified === modified;
    const earlier =
      archived.has(`${path}\n${content}`) || works.get(nameKey(path))?.follows.has(content) === true;
    const damaged = untouched && before !== undefined && contentOf(before) !== content;
    return { path, size, hash, ours: damaged ? "damaged" : earlier ? "earlier" : undefined };
  });
}
