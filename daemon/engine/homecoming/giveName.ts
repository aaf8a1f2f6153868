/**
 * Giving a file its name in an archive: over nothing, ever. An earlier version of ours, or what is damaged, makes way and
 * is kept; whatever else has the name stays, and the file goes beside it.
 */

import { rfc3339 } from "../../../shared/format.ts";
import { folderOf, type RelativePath, relativePath, under } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import type { Instant } from "../../../shared/units.ts";
import { suffixed } from "../../core/filing.ts";
import { numbered, type Placement } from "../../core/homePlacing.ts";
import { asideFile, earlierFile } from "../../record/driveLayout.ts";
import { readBack } from "../readBack.ts";
import type { Archive } from "./archive.ts";
import type { CarryContext, Unfinished } from "./carry.ts";
import { contentOf, type Item, type Target } from "./run.ts";

/** Under the place it was given; where something came to stand there meanwhile, beside it. */
export async function giveName(context: CarryContext, copy: Unfinished, item: Item): Promise<RelativePath> {
  const { files } = context.ports;
  const { target, archive } = copy;
  const placement = target.placements.get(item);
  const inside = (path: RelativePath): RelativePath => relativePath(`${archive.tree}/${path}`);
  const first = placement?.path ?? item.path;
  let path = first;
  let mayMakeWay = placement?.what === "put" && placement.instead !== undefined;
  for (let nth = 2; ; ) {
    await files.makeFolder(archive.at, folderOf(inside(path)));
    if (mayMakeWay && placement?.what === "put")
      await makeWay(context, target, archive, path, placement, item);
    mayMakeWay = false;
    if ((await files.moveNoReplace(copy.path, under(archive.folder, inside(path)))) === "moved") return path;
    do {
      path = numbered(item.path, item.group.stem, nth);
      nth += 1;
    } while (path === first || isGiven(target, path));
  }
}

function isGiven(target: Target, path: RelativePath): boolean {
  for (const placement of target.placements.values()) if (placement.path === path) return true;
  return false;
}

/** What stands there moves to the earlier versions, or aside where it is damaged; but only if it still is what it was. */
async function makeWay(
  { ports, run, verifyPool }: CarryContext,
  target: Target,
  archive: Archive,
  path: RelativePath,
  { instead }: Extract<Placement, { what: "put" }>,
  item: Item,
): Promise<void> {
  const { files, hashing, clock, ledger } = ports;
  const there = target.standing.find((each) => each.path === path);
  const from = under(archive.folder, `${archive.tree}/${path}`);
  const facts = await files.facts(from).catch((fault: unknown) => {
    if (fault instanceof FileFault && fault.code === "missing") return undefined;
    throw fault;
  });
  if (facts?.kind !== "file" || facts.size !== there?.size || facts.modified !== there.modified) return;
  const version = versionOf(there.modified);
  const wanted =
    instead === "damaged" ? asideFile(run.trip.id, path) : earlierFile(run.trip.id, path, version);
  for (let nth = 1; ; nth += 1) {
    const aside = nth === 1 ? wanted : suffixed(wanted, nth);
    await files.makeFolder(archive.at, folderOf(aside));
    const to = under(archive.folder, aside);
    if ((await files.moveNoReplace(from, to)) === "taken") continue;
    const moved = await readBack(files, to, verifyPool, hashing);
    if (contentOf(moved) !== contentOf({ hash: there.hash ?? "", size: there.size })) {
      // Somebody wrote it in this very moment: it goes back, and the new file goes beside it.
      await files.moveNoReplace(to, from);
      return;
    }
    await files.flushFolder(under(archive.folder, folderOf(aside)));
    const what = instead === "damaged" ? "is damaged and was set aside" : "gave way to a newer version";
    ledger.note("archive", "", `${target.folder}: ${path} ${what} as ${aside}`, clock.now());
    if (instead === "damaged") {
      const said = "It was damaged in the archive and is set aside there.";
      const damage = { path, drive: target.folder, what: said, healed: true, item };
      run.damage.set(`${target.folder} ${path}`, damage);
    }
    return;
  }
}

/** `20270605T211500.123Z`: sorts by time, and every file system takes it. */
function versionOf(at: Instant): string {
  const moment = rfc3339(at, "UTC").slice(0, 19).replaceAll(/[-:]/g, "");
  const thousandths = String(((Math.trunc(at) % 1000) + 1000) % 1000).padStart(3, "0");
  return `${moment}.${thousandths}Z`;
}
