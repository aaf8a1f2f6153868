/** `scrub`: which drives a person means, and what is told when they were read and what could be made good is. */

import type { FindingJson, ScrubJson } from "../../shared/api.ts";
import { type DriveId, nameKey } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { asideFile } from "../record/driveLayout.ts";
import type { Engine } from "./engine.ts";
import type { PresentDrive } from "./presence.ts";
import type { ScrubFinding } from "./scrub.ts";

/**
 * Reads one drive, or all that are in, again. When `stop` aborts nobody waits any longer; the scrub goes on.
 * @throws UserMistake when there is nothing to read
 */
export async function scrubDrives(
  engine: Engine,
  name: string | undefined,
  stop: AbortSignal,
): Promise<ScrubJson> {
  const drives = named(engine, name);
  const outcome = await Promise.race([engine.scrub.ask(drives), aborted(stop)]);
  // What was found is made good by the rounds that follow.
  const idle = outcome !== undefined && (await engine.untilIdle(stop));
  if (outcome === undefined || (!idle && stop.aborted))
    throw new UserMistake(
      "Nobody waits for the scrub any longer; it goes on.",
      "`scrubjay status` shows it.",
      1,
    );
  return {
    drives: outcome.drives.map((drive) => ({
      name: printable(drive.name),
      files: drive.files,
      bytes: drive.bytes,
      unsure: drive.unsure,
    })),
    findings: [
      ...outcome.findings.map((finding) => findingJson(engine, finding)),
      ...earlierFindings(
        engine,
        outcome.drives.map(({ drive }) => drive),
        outcome.findings,
      ),
    ],
    complete: outcome.complete,
  };
}

function named(engine: Engine, name: string | undefined): readonly PresentDrive[] {
  const { drives } = engine.presence;
  if (name === undefined) {
    if (drives.length > 0) return drives;
    throw new UserMistake("No known drive is plugged in.", "Plug in the drive that is to be read again.", 1);
  }
  const key = nameKey(name.trim());
  const shown = printable(name, 60);
  const found = drives.filter((drive) => nameKey(drive.name) === key);
  if (found.length > 0) return found;
  if (engine.ports.ledger.lostDrives().some((drive) => nameKey(drive.name) === key))
    throw new UserMistake(`${shown} was declared lost.`, "Only a drive that is plugged in can be read.");
  if (engine.ports.ledger.drives().some((drive) => nameKey(drive.name) === key))
    throw new UserMistake(`${shown} is not plugged in.`, "Plug it in, then ask again.", 1);
  throw new UserMistake(`No drive is known as ${shown}.`, "`scrubjay drive list` shows the known drives.");
}

function aborted(stop: AbortSignal): Promise<undefined> {
  return new Promise((resolve) => {
    if (stop.aborted) resolve(undefined);
    stop.addEventListener("abort", () => resolve(undefined), { once: true });
  });
}

/** What was found before on these drives, and isn't made good yet. */
function earlierFindings(
  engine: Engine,
  drives: readonly DriveId[],
  found: readonly ScrubFinding[],
): readonly FindingJson[] {
  const { ledger } = engine.ports;
  const now = new Set(found.map(({ drive, original }) => `${drive} ${original.id}`));
  const names = new Map(ledger.drives().map((drive) => [drive.id, drive.name]));
  return drives.flatMap((drive) =>
    ledger.trips().flatMap((trip) =>
      ledger
        .losses(drive, trip.id)
        .filter(({ original }) => !now.has(`${drive} ${original}`))
        .map(
          ({ path, why }): FindingJson => ({
            drive: printable(names.get(drive) ?? drive),
            path: printable(path, 1_000),
            what: why,
            movedTo: null,
            healed: false,
            earlier: true,
          }),
        ),
    ),
  );
}

function findingJson(engine: Engine, finding: ScrubFinding): FindingJson {
  const { name, drive, copy, original, why, movedTo } = finding;
  const { ledger } = engine.ports;
  const healed = ledger.hasCopy(original.id, drive);
  const now = ledger.copiesOn(drive, original.trip).find((each) => each.original === original.id);
  const beside = why === "changed" && now !== undefined ? { beside: printable(now.path, 1_000) } : {};
  const aside =
    why === "damaged" && healed ? { aside: printable(asideFile(original.trip, copy.path), 1_000) } : {};
  return {
    drive: printable(name),
    path: printable(copy.path, 1_000),
    what: why,
    movedTo: movedTo === undefined ? null : printable(movedTo, 1_000),
    healed,
    ...beside,
    ...aside,
  };
}
