/** `scrub`: which drives a person means, and what is told when they were read and what could be made good is. */

import type { FindingJson, ScrubJson } from "../../shared/api.ts";
import { nameKey } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
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
    findings: outcome.findings.map((finding) => findingJson(engine, finding)),
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

function findingJson(engine: Engine, finding: ScrubFinding): FindingJson {
  const { name, drive, copy, original, why, movedTo } = finding;
  return {
    drive: printable(name),
    path: printable(copy.path, 1_000),
    what: why,
    movedTo: movedTo === undefined ? null : printable(movedTo, 1_000),
    healed: engine.ports.ledger.hasCopy(original.id, drive),
  };
}
