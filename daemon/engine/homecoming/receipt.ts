/**
 * The receipt of a homecoming: what was expected, what was found, where it came from, what is missing and where it was
 * last seen. Put together from what is known at its end; nothing is decided here that the run hasn't.
 */

import { reuseCautions } from "../../../shared/cautions.ts";
import { rfc3339 } from "../../../shared/format.ts";
import type {
  HomeClashJson,
  HomeCountsJson,
  HomeMissingJson,
  HomeSourceJson,
  HomeTargetJson,
  ReceiptJson,
} from "../../../shared/homeApi.ts";
import { type CardId, type DriveId, nameKey } from "../../../shared/identity.ts";
import { fullMoment } from "../../../shared/moments.ts";
import { inSentence, printable } from "../../../shared/text.ts";
import { headlineOf, howReadBack } from "../../core/homeWords.ts";
import type { EnginePorts } from "../ports.ts";
import type { Presence } from "../presence.ts";
import { whyNotAll } from "./failing.ts";
import { type Item, type Missing, type Run, Tally, type Target } from "./run.ts";

export interface ReceiptSurroundings {
  readonly ports: EnginePorts;
  readonly presence: Presence;
  readonly nameOfCard: (card: CardId) => string;
}

const longestPath = 1_000;

export function receiptOf(around: ReceiptSurroundings, run: Run, drives: ReceiptJson["drives"]): ReceiptJson {
  const { clock, ledger, limits } = around.ports;
  const { trip } = run;
  const { zone } = trip.profile;
  const lacking = run.items.filter((item) => !run.isHome(item));
  const missing = missingOf(around, run, lacking);
  const damage = [...run.damage.values()];
  const targets = run.targets.map((target) => targetJson(run, target));
  const complete = run.isComplete;
  const found = run.items.filter((item) => run.isHome(item));
  const { headline, advice } = headlineOf({
    trip: printable(trip.profile.trip),
    rehearsal: run.rehearsal,
    complete,
    stopped: run.stopped,
    files: found.filter(({ work }) => !work).length,
    edits: found.filter(({ work }) => work).length,
    missing: missing.length,
    whyNot: targets.map(({ why }) => why).filter((why) => why !== ""),
    archives: targets.filter(({ done }) => done).map(({ folder }) => folder),
    plugIn: absentHolders(around, lacking),
    cards: cardsWithNews(run),
    open: run.looks.flatMap(({ name, held }) =>
      held.map(({ path }) => `${printable(path)} on ${printable(name)}`),
    ),
    reusable: drives.filter(({ mayBeReused }) => mayBeReused).map(({ drive }) => drive),
  });
  const whole = run.targets.filter((target) => run.isWhole(target));
  return {
    trip: { id: trip.id, name: printable(trip.profile.trip), code: trip.profile.code, zone },
    rehearsal: run.rehearsal,
    begun: rfc3339(run.begun, zone),
    ended: rfc3339(clock.now(), zone),
    complete,
    headline,
    advice,
    stopped: run.stopped,
    expected: countsOf(run.items),
    found: { ...countsOf(found), frames: wholeFrames(run) },
    targets,
    sources: sourcesOf(around, run),
    missing: missing.slice(0, limits.namedMost).map(missingJson),
    missingTotal: missing.length,
    damage: damage.slice(0, limits.namedMost).map(({ path, drive, what, healed }) => ({
      path: printable(path, longestPath),
      drive: printable(drive),
      what,
      healed,
    })),
    damageTotal: damage.length,
    brokenAtSource: ledger.archives
      .brokenAtSource(trip.id)
      .slice(0, limits.namedMost)
      .map(({ path, why }) => ({ path: printable(path, longestPath), why })),
    ...underOtherNames(run),
    conflicts: ledger.edits.conflicts(trip.id).map(({ path }) => ({
      path: printable(path, longestPath),
      what: "It was changed on two drives apart. The newer version is in place, the other one in the histories of drives and archive.",
    })),
    leftOut: leftOutOf(run),
    drives,
    cautions: reuseCautions(whole.length, placesOf(whole)),
  };
}

function leftOutOf({ looks }: Run): { readonly files: number; readonly bytes: number } {
  return {
    files: looks.reduce((sum, { leftOut }) => sum + leftOut.files, 0),
    bytes: looks.reduce((sum, { leftOut }) => sum + leftOut.bytes, 0),
  };
}

/** Archives on one file system are one place. */
function placesOf(targets: readonly Target[]): number {
  return new Set(targets.map(({ archive }) => archive?.fsId || archive?.at.device)).size;
}

function countsOf(items: readonly Item[]): HomeCountsJson {
  const files = items.filter(({ work }) => !work);
  return {
    frames: new Set(files.flatMap(({ original }) => original?.stem ?? [])).size,
    files: files.length,
    bytes: files.reduce((sum, { size }) => sum + size, 0),
    edits: items.length - files.length,
  };
}

/** Frames of which every file is home. */
function wholeFrames(run: Run): number {
  const frames = new Map<string, boolean>();
  for (const item of run.items) {
    const stem = item.original?.stem;
    if (stem !== undefined) frames.set(stem, (frames.get(stem) ?? true) && run.isHome(item));
  }
  return [...frames.values()].filter((whole) => whole).length;
}

function targetJson(run: Run, target: Target): HomeTargetJson {
  const { archive, folder, copied, there, edits, versions, readBack } = target;
  const tripFolder = archive === undefined ? folder : `${archive.folder}/${archive.tree}`;
  return {
    folder: printable(folder, longestPath),
    tripFolder: printable(tripFolder, longestPath),
    done: run.stopped === "" && run.isWhole(target),
    why: whyNotAll(target),
    readBack: readBack ?? null,
    how: readBack === undefined ? "" : howReadBack(readBack, run.rehearsal, believed(target)),
    copied: copied.json,
    there: there.json,
    edits,
    versions,
    receipt: target.receipt ?? null,
  };
}

/** Files that an earlier homecoming read back shortly before, and this one didn't read again. */
function believed({ stands, standing }: Target): number {
  const known = new Set(standing.flatMap((file) => (file.known ? [file.path] : [])));
  return [...stands.values()].filter((path) => known.has(path)).length;
}

function sourcesOf({ ports, presence }: ReceiptSurroundings, run: Run): readonly HomeSourceJson[] {
  const given = new Map<DriveId, { originals: Tally; edits: number }>();
  for (const [item, drive] of run.givenBy) {
    const before = given.get(drive) ?? { originals: new Tally(), edits: 0 };
    given.set(drive, before);
    if (item.work) before.edits += 1;
    else before.originals.add(item.size);
  }
  return ports.ledger.drives().flatMap(({ id, name }): HomeSourceJson[] => {
    const gave = given.get(id);
    if (gave === undefined) return [];
    const present = presence.drives.some((drive) => drive.id === id);
    return [{ drive: printable(name), present, ...gave.originals.json, edits: gave.edits }];
  });
}

// --- what is missing ---------------------------------------------------------------------------------------------

function missingOf(around: ReceiptSurroundings, run: Run, lacking: readonly Item[]): readonly Missing[] {
  const items = lacking.map(
    (item): Missing => ({
      path: item.path,
      size: item.size,
      kind: item.kind,
      lastSeen: lastSeen(around, run, item),
    }),
  );
  const held = run.looks.flatMap(({ name, held: files }) =>
    files.map(({ path, size, why }): Missing => {
      return { path, size, kind: "edit", lastSeen: `on ${printable(name)}; ${why}` };
    }),
  );
  return [...items, ...held, ...run.neverCopied];
}

function missingJson({ path, size, kind, lastSeen: seen }: Missing): HomeMissingJson {
  return { path: printable(path, longestPath), bytes: size, kind, lastSeen: seen };
}

function lastSeen({ ports, nameOfCard }: ReceiptSurroundings, run: Run, { original, at }: Item): string {
  const { ledger } = ports;
  const lost = new Set<string>(ledger.lostDrives().map(({ id }) => id));
  const names = new Map([...ledger.drives(), ...ledger.lostDrives()].map(({ id, name }) => [id, name]));
  const nameOf = (drive: DriveId): string =>
    `on ${printable(names.get(drive) ?? drive)}${lost.has(drive) ? ", which is lost" : ""}`;
  if (original === undefined) {
    const [place] = at;
    return place === undefined ? "nowhere that is known" : nameOf(place.drive);
  }
  const { drive, card } = ledger.archives.lastSeen(original.id);
  if (drive !== undefined)
    return `${nameOf(drive.id)}, ${fullMoment(rfc3339(drive.at, run.trip.profile.zone))}`;
  return card === undefined ? "nowhere that is known" : `on ${inSentence(nameOfCard(card))}`;
}

/** Drives that are away and hold something of what is lacking. */
function absentHolders(
  { ports, presence }: ReceiptSurroundings,
  lacking: readonly Item[],
): readonly string[] {
  const present = new Set(presence.drives.map(({ id }) => id));
  const holders = new Set(
    lacking.flatMap(({ original, at }) => [...(original?.copies ?? []), ...at].map(({ drive }) => drive)),
  );
  return ports.ledger
    .drives()
    .filter(({ id }) => holders.has(id) && !present.has(id))
    .map(({ name }) => printable(name));
}

function cardsWithNews({ neverCopied }: Run): readonly string[] {
  return [...new Set(neverCopied.map(({ lastSeen: seen }) => seen.replace(/^on |, never copied.*$/g, "")))];
}

// --- names -------------------------------------------------------------------------------------------------------

/** Files that don't stand where they were to: beside another of that name, or where somebody put them before. */
function underOtherNames(run: Run): Pick<ReceiptJson, "clashes" | "elsewhere"> {
  const clashes = new Map<string, HomeClashJson>();
  const elsewhere = new Map<string, { readonly path: string; readonly standsAs: string }>();
  for (const target of run.targets) {
    const taken = new Set(target.standing.map(({ path }) => nameKey(path)));
    for (const path of target.stands.values()) taken.add(nameKey(path));
    for (const [item, path] of target.stands) {
      if (nameKey(path) === nameKey(item.path)) continue;
      const shown = printable(item.path, longestPath);
      const standsAs = printable(path, longestPath);
      if (target.placements.get(item)?.what === "there" && !taken.has(nameKey(item.path)))
        elsewhere.set(`${shown}\n${standsAs}`, { path: shown, standsAs });
      else
        clashes.set(`${shown}\n${standsAs}`, {
          path: shown,
          keptAs: standsAs,
          what: `Something else stands under this name in ${printable(target.folder)}, or beside it. Both are kept.`,
        });
    }
  }
  return { clashes: [...clashes.values()], elsewhere: [...elsewhere.values()] };
}
