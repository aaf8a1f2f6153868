/**
 * Putting a unit of work files in place, broken off before every single operation: afterwards the unit stands as it was
 * or as it was to be, never mixed, and every content stands somewhere on the drive.
 */

import {
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { expect, onTestFinished, test } from "vitest";
import { type Change, recoverSwaps, swapUnit } from "../../daemon/engine/edits/swap.ts";
import type { EnginePorts } from "../../daemon/engine/ports.ts";
import type { PresentDrive } from "../../daemon/engine/presence.ts";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import { NodeFiles } from "../../daemon/platform/common/nodeFiles.ts";
import { SystemRandomness } from "../../daemon/platform/common/systemRandomness.ts";
import { absolutePath, type DriveId, type RelativePath, type TripId } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { bytes, instant } from "../../shared/units.ts";
import { FaultyFiles } from "./faultyFiles.ts";

const trip = "kc-2027-06-03-test" as TripId;
const folder = "Kestrel Cliffs";

interface Stage {
  readonly ports: EnginePorts;
  readonly drive: PresentDrive;
  readonly changes: readonly Change[];
  /** What each path held before, and is to hold. */
  readonly old: ReadonlyMap<string, string>;
  readonly wanted: ReadonlyMap<string, string>;
  readonly root: string;
  /** Before which operation it is broken off; none if 0. */
  breakAt: number;
  how: "power" | "fault";
  readonly done: () => number;
}

/** A drive on which `before` stands and `after` waits in `incoming/`; a path that isn't in `after` is to leave. */
async function stage(before: Record<string, string>, after: Record<string, string>): Promise<Stage> {
  const root = mkdtempSync(join(tmpdir(), "scrubjay-swap-"));
  onTestFinished(() => rmSync(root, { recursive: true, force: true }));
  const put = (path: string, content: string, time: string): void => {
    mkdirSync(dirname(join(root, path)), { recursive: true });
    writeFileSync(join(root, path), content);
    utimesSync(join(root, path), new Date(time), new Date(time));
  };
  const look = (path: string) => {
    const { size, mtimeMs } = statSync(join(root, path));
    return { size: bytes(size), modified: instant(Math.floor(mtimeMs)) };
  };
  mkdirSync(join(root, folder));
  const paths = [...new Set([...Object.keys(before), ...Object.keys(after)])];
  const changes = paths.map((path, nth): Change => {
    const work = path as RelativePath;
    const place = `${folder}/${path}` as RelativePath;
    const temp = `.scrubjay/incoming/${nth}.part` as RelativePath;
    const [old, wanted] = [before[path], after[path]];
    if (old !== undefined) put(place, old, "2027-06-05T20:00:00Z");
    if (wanted !== undefined) put(temp, wanted, "2027-06-06T20:00:00Z");
    return {
      work,
      path: place,
      before: old === undefined ? undefined : look(place),
      temp: wanted === undefined ? undefined : temp,
      after: wanted === undefined ? { size: bytes(0), modified: instant(0) } : look(temp),
    };
  });
  let operations = 0;
  const ledger = new SqliteLedger(join(root, "ledger.sqlite"));
  onTestFinished(() => ledger.close());
  const made: Stage = {
    ports: undefined as unknown as EnginePorts,
    drive: undefined as unknown as PresentDrive,
    changes,
    old: new Map(Object.entries(before)),
    wanted: new Map(Object.entries(after)),
    root,
    breakAt: 0,
    how: "power",
    done: () => operations,
  };
  const files = new FaultyFiles(new NodeFiles(), {
    before: (_operation, path) => {
      operations += 1;
      if (made.breakAt === 0 || operations < made.breakAt) return;
      if (made.how === "power") throw new Error("the power is gone");
      if (operations === made.breakAt) throw new FileFault("io", path);
    },
  });
  const { device } = await new NodeFiles().facts(absolutePath(root));
  const at = { root: absolutePath(root), device };
  const drive = {
    id: "d".repeat(32) as DriveId,
    name: "Slate",
    volume: { root: at.root },
    at,
    gone: new AbortController().signal,
  } as unknown as PresentDrive;
  const ports = { files, ledger, randomness: new SystemRandomness() } as unknown as EnginePorts;
  return Object.assign(made, { ports, drive });
}

/** Every content below a folder. */
function contents(at: string): readonly string[] {
  return readdirSync(at, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && !entry.name.startsWith("ledger.sqlite"))
    .map((entry) => readFileSync(join(entry.parentPath, entry.name), "utf8"));
}

function inPlace({ root, old, wanted }: Stage): ReadonlyMap<string, string> {
  const found = new Map<string, string>();
  for (const path of new Set([...old.keys(), ...wanted.keys()])) {
    try {
      found.set(path, readFileSync(join(root, folder, path), "utf8"));
    } catch {
      // It doesn't stand there.
    }
  }
  return found;
}

const units: readonly (readonly [string, Record<string, string>, Record<string, string>])[] = [
  ["a sidecar", { "a.xmp": "rating 1" }, { "a.xmp": "rating 22" }],
  ["a new sidecar", {}, { "2027-06-05/a.xmp": "rating 1" }],
  ["one that is to leave", { "a.xmp": "rating 1" }, {}],
  [
    "a catalogue",
    {
      "Catalogue/frames.db": "old base",
      "Catalogue/settings.txt": "old settings",
      "Catalogue/gone.txt": "leaves",
    },
    {
      "Catalogue/frames.db": "the new base",
      "Catalogue/settings.txt": "the new settings",
      "Catalogue/new.txt": "comes",
    },
  ],
];

for (const how of ["power", "fault"] as const)
  test.each(units)(
    `${how === "power" ? "the power goes" : "an operation fails"} at any moment: %s stands old or new, whole`,
    async (_what, before, after) => {
      let finished = false;
      let broken = 0;
      for (let nth = 1; !finished; nth += 1) {
        const here = await stage(before, after);
        here.how = how;
        here.breakAt = here.done() + nth;
        const swapped = await swapUnit(
          here.ports,
          here.drive,
          trip,
          here.changes,
          instant(Date.parse("2027-06-06T21:00:00Z")),
        ).catch(() => "broken");
        finished = swapped === "swapped" && here.done() < here.breakAt;
        here.breakAt = 0;
        if (how === "power") {
          // What is unfinished is removed when a drive comes, before anything is put right.
          const all = [...here.old.values(), ...here.wanted.values()];
          const left = contents(here.root);
          for (const content of all) expect(left, `before operation ${nth}`).toContain(content);
          rmSync(join(here.root, ".scrubjay/incoming"), { recursive: true, force: true });
        }
        await recoverSwaps(here.ports, here.drive);
        expect(here.ports.ledger.edits.swaps(here.drive.id), `before operation ${nth}`).toEqual([]);
        const now = inPlace(here);
        const whole = [here.old, here.wanted].some(
          (side) => JSON.stringify([...side].sort()) === JSON.stringify([...now].sort()),
        );
        expect(whole, `before operation ${nth}: ${JSON.stringify([...now])}`).toBe(true);
        for (const content of here.old.values())
          expect(contents(here.root), `before operation ${nth}`).toContain(content);
        if (swapped !== "swapped") broken += 1;
      }
      expect(broken).toBeGreaterThan(2);
    },
  );

test("what another program wrote there meanwhile stands, and the rest of the unit is as it was", async () => {
  const here = await stage(
    { "Catalogue/frames.db": "old base", "Catalogue/settings.txt": "old settings" },
    { "Catalogue/frames.db": "the new base", "Catalogue/settings.txt": "the new settings" },
  );
  writeFileSync(join(here.root, folder, "Catalogue/settings.txt"), "written meanwhile");
  expect(
    await swapUnit(here.ports, here.drive, trip, here.changes, instant(Date.parse("2027-06-06T21:00:00Z"))),
  ).toBe("theirs");
  expect(Object.fromEntries(inPlace(here))).toEqual({
    "Catalogue/frames.db": "old base",
    "Catalogue/settings.txt": "written meanwhile",
  });
});
