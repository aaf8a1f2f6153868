/**
 * A whole engine in one process on practice folders: the real adapters, a ledger in a temporary folder, notices kept in
 * a list. `wrap` puts something between the engine and a port, to make it fail.
 */

import { mkdirSync, mkdtempSync, readdirSync, readFileSync, renameSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { limits } from "../../config/defaults.ts";
import { statusJson } from "../../daemon/engine/board.ts";
import { Engine } from "../../daemon/engine/engine.ts";
import { introduceDrive } from "../../daemon/engine/introduce.ts";
import type { EnginePorts } from "../../daemon/engine/ports.ts";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import { ExiftoolMetadata } from "../../daemon/platform/common/exiftoolMetadata.ts";
import { NodeFiles } from "../../daemon/platform/common/nodeFiles.ts";
import { SystemClock } from "../../daemon/platform/common/systemClock.ts";
import { SystemRandomness } from "../../daemon/platform/common/systemRandomness.ts";
import { WatchedFolders } from "../../daemon/platform/common/watchedFolders.ts";
import { XmpSidecars } from "../../daemon/platform/common/xmpSidecars.ts";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";
import { PracticeVolumes } from "../../daemon/platform/practice/practiceVolumes.ts";
import type { Notice } from "../../daemon/ports/notices.ts";
import type { PictureCache, PictureMaker } from "../../daemon/ports/pictures.ts";
import { absolutePath, type TripId } from "../../shared/identity.ts";
import { count, millis } from "../../shared/units.ts";

export interface Bench {
  readonly folder: string;
  /** Each folder in it is a volume. */
  readonly practice: string;
  /** Where volumes wait that aren't plugged in. */
  readonly aside: string;
  readonly notices: Notice[];
  engine: Engine;
  plugIn(name: string): void;
  takeOut(name: string): void;
  /** Makes a drive's folder and introduces it. */
  drive(name: string): Promise<void>;
  trip(text: string, id?: string): void;
  /** The profiles that this computer has. */
  trips(): readonly { readonly id: string; readonly text: string }[];
  forgetTrips(): void;
  /** Until nothing is left to do. */
  idle(): Promise<void>;
  /** Ends the engine and begins another on the same ledger, as a restart does. */
  restart(wrap?: Wrap, meanwhile?: () => void): Promise<void>;
  end(): Promise<void>;
}

export type Wrap = (ports: EnginePorts) => EnginePorts;

export async function makeBench(wrap: Wrap = (ports) => ports): Promise<Bench> {
  const folder = mkdtempSync(join(tmpdir(), "scrubjay-bench-"));
  const practice = join(folder, "practice");
  const aside = join(folder, "aside");
  for (const each of [practice, aside]) mkdirSync(each);
  const notices: Notice[] = [];
  const trips: { id: TripId; text: string }[] = [];
  const hashing = await createHashing();
  let bug: unknown;
  let failed = new AbortController();
  let close = async (): Promise<void> => undefined;

  const begin = (wrapNow: Wrap): Engine => {
    bug = undefined;
    failed = new AbortController();
    const files = new NodeFiles();
    const ledger = new SqliteLedger(join(folder, "ledger.sqlite"));
    const sidecars = new XmpSidecars({
      processes: count(1),
      timeout: millis(limits.pictureTimeout),
      launcher: [],
      folder: join(folder, "cache", "sidecars"),
    });
    const metadata = new ExiftoolMetadata({
      processes: count(1),
      timeout: millis(limits.metadataTimeout),
      launcher: [],
    });
    const engine = new Engine(
      wrapNow({
        files,
        folderWatch: new WatchedFolders(),
        volumes: new PracticeVolumes(absolutePath(practice), files),
        ledger,
        metadata,
        pictures: samePicture,
        pictureCache: memoryPictures(),
        sidecars,
        notices: {
          show: async (notice) => {
            notices.push(notice);
            return { shown: true };
          },
        },
        tripFiles: {
          list: async () => trips,
          keep: async (id, text) => {
            trips.push({ id, text });
          },
        },
        clock: new SystemClock(),
        randomness: new SystemRandomness(),
        hashing,
        limits: {
          ...limits,
          hintSettle: 20,
          pulledSettle: 20,
          pollEvery: 500,
          noticesAtOnce: 1_000,
          editsQuiet: 150,
          editsListEvery: 20,
        },
      }),
    );
    engine.start((failure) => {
      bug = failure;
      failed.abort();
    });
    close = async () => {
      await engine.stop();
      await metadata.close();
      await sidecars.close();
      ledger.close();
    };
    return engine;
  };

  const bench: Bench = {
    folder,
    practice,
    aside,
    notices,
    engine: begin(wrap),
    plugIn: (name) => renameSync(join(aside, name), join(practice, name)),
    takeOut: (name) => renameSync(join(practice, name), join(aside, name)),
    drive: async (name) => {
      mkdirSync(join(practice, name));
      await introduceDrive(
        bench.engine.ports,
        bench.engine.presence,
        absolutePath(join(practice, name)),
        name,
      );
      await bench.idle();
    },
    trip: (text, id = "kc-2027-06-03-test") => {
      const at = trips.findIndex((trip) => trip.id === id);
      if (at >= 0) trips.splice(at, 1);
      trips.push({ id: id as TripId, text });
    },
    trips: () => [...trips],
    forgetTrips: () => {
      trips.length = 0;
    },
    idle: async () => {
      const ended = await bench.engine.untilIdle(
        AbortSignal.any([AbortSignal.timeout(60_000), failed.signal]),
      );
      if (bug !== undefined) throw bug;
      if (!ended) throw new Error(`not idle: ${JSON.stringify(statusJson(bench.engine), undefined, 1)}`);
    },
    restart: async (wrapNow = (ports) => ports, meanwhile = () => undefined) => {
      await close();
      meanwhile();
      bench.engine = begin(wrapNow);
    },
    end: async () => {
      await close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
  return bench;
}

/** The bench's cards hold nothing that could be shown; the same is made of each, without touching any file. */
const samePicture: PictureMaker = {
  make: async () => ({ made: true, jpeg: new Uint8Array([0xff, 0xd8, 0xff, 0xd9]) }),
  exposure: async () => [],
  close: async () => undefined,
};

export function memoryPictures(): PictureCache {
  const kept = new Map<string, Uint8Array>();
  return {
    has: (frame, size) => kept.has(`${frame} ${size}`),
    get: async (frame, size) => kept.get(`${frame} ${size}`),
    put: async (frame, size, jpeg) => {
      kept.set(`${frame} ${size}`, jpeg);
    },
  };
}

/** Every file below a folder with its bytes, by relative path. Links are left out. */
export function tree(folder: string, below = ""): Map<string, Buffer> {
  const found = new Map<string, Buffer>();
  for (const name of readdirSync(join(folder, below))) {
    const path = below === "" ? name : `${below}/${name}`;
    if (statSync(join(folder, path)).isDirectory())
      for (const [inside, content] of tree(folder, path)) found.set(inside, content);
    else found.set(path, readFileSync(join(folder, path)));
  }
  return found;
}
