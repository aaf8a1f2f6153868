/** What the API asks about trips as they are described, answered out of the user's own folder and the engine. */

import type { TripId } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import type { ProfileChangeJson, ProfileCheckJson, TripEntryJson } from "../../shared/tripsApi.ts";
import type { TripsFace } from "../api/tripsFace.ts";
import { readProfile } from "../core/profile.ts";
import { changeProfile, tooManyChanges } from "../core/profileEdit.ts";
import { examplesOf, type TriedFrame } from "../core/profileExamples.ts";
import { emptyProfile, formOf, withoutDays } from "../core/profileForm.ts";
import type { Engine } from "../engine/engine.ts";
import { pluggedVolumes } from "../engine/plugged.ts";
import { filedFrames, framesOnCards } from "../engine/triedFrames.ts";
import type { HomeFolders } from "../home/homeFolders.ts";
import { listTripFiles, saveTripFile, stampOf, type TripFile } from "../home/tripFiles.ts";

export function tripsFace(engine: Engine, home: HomeFolders): TripsFace {
  const framesFor = rememberedFrames(engine);
  let lastSave: Promise<unknown> = Promise.resolve();
  return {
    entries: async () => (await listTripFiles(home.config)).map((trip) => entryOf(engine, trip)),
    check: (text, trip) => check(engine, framesFor, text, trip),
    edit,
    begin: async (copyOf) => {
      if (copyOf === undefined) return emptyProfile(engine.ports.ledger.drives().map((drive) => drive.name));
      return copyTrip(await listTripFiles(home.config), copyOf);
    },
    save: (trip, stamp, text) => {
      // One after the other: two windows that began from one text can't both replace it.
      const save = lastSave.then(() => saveTrip(engine, home, trip, stamp, text));
      lastSave = save.catch(() => undefined);
      return save;
    },
    volumes: () => pluggedVolumes(engine.ports, engine.presence),
  };
}

function entryOf({ ports: { ledger } }: Engine, { id, text, profile, faults }: TripFile): TripEntryJson {
  const form = profile === undefined ? formOf(text) : undefined;
  const said = (value: string | undefined): string | null =>
    value === undefined || value === "" ? null : value;
  return {
    id,
    name: profile?.trip ?? said(form?.trip),
    code: profile?.code ?? said(form?.code),
    from: profile?.from ?? said(form?.from),
    to: profile?.to ?? said(form?.to),
    text,
    stamp: stampOf(text),
    faults,
    frames: ledger.totals(id, 1).frames,
  };
}

function check(
  engine: Engine,
  framesFor: (trip: TripId) => readonly TriedFrame[],
  text: string,
  trip: string | undefined,
): ProfileCheckJson {
  const { profile, faults } = readProfile(text);
  const id = engine.ports.ledger.trips().find((each) => each.id === trip)?.id;
  const filed = id === undefined ? [] : framesFor(id);
  const frames = filed.length > 0 ? filed : framesOnCards(engine);
  const letters = id === undefined ? new Map<string, string>() : engine.ports.ledger.letters(id);
  return {
    valid: profile !== undefined,
    faults,
    form: formOf(text) ?? null,
    examples: examplesOf(text, frames, letters),
  };
}

/** Frames of a trip are looked for once, and again when it has more of them: checking follows each key that is pressed. */
function rememberedFrames(engine: Engine): (trip: TripId) => readonly TriedFrame[] {
  let last:
    | { readonly trip: TripId; readonly files: number; readonly frames: readonly TriedFrame[] }
    | undefined;
  return (trip) => {
    const { files } = engine.ports.ledger.totals(trip, 1);
    if (last?.trip !== trip || last.files !== files)
      last = { trip, files, frames: filedFrames(engine, trip) };
    return last.frames;
  };
}

function edit(text: string, changes: readonly ProfileChangeJson[]): string {
  const changed = changeProfile(text, changes);
  if (changed !== undefined) return changed;
  if (tooManyChanges(text, changes))
    throw new UserMistake(
      "These are too many changes at once for a text of this length. Nothing was changed.",
      "Change the text itself, or make it shorter.",
      78,
    );
  throw new UserMistake(
    "The text can't be changed by the form as it is. Nothing was changed.",
    "Mend it as text first; its faults are named there.",
    78,
  );
}

function copyTrip(trips: readonly TripFile[], copyOf: string): string {
  const trip = trips.find((each) => each.id === copyOf);
  if (trip === undefined)
    throw new UserMistake(
      `No trip is known as ${printable(copyOf, 60)}.`,
      "The list of trips shows those that are.",
    );
  const copy = trip.isText ? withoutDays(trip.text) : undefined;
  if (copy !== undefined) return copy;
  throw new UserMistake(
    `The file of ${printable(trip.id)} can't be copied as it is.`,
    "Mend its faults first, then copy it.",
    78,
  );
}

async function saveTrip(
  engine: Engine,
  home: HomeFolders,
  trip: string | undefined,
  stamp: string | undefined,
  text: string,
) {
  const { profile, faults } = readProfile(text);
  if (profile === undefined) {
    const [first, ...more] = faults.filter((fault) => fault.severity === "error");
    const where = first === undefined ? "" : `Line ${first.line}: ${first.what}.`;
    const others = more.length === 0 ? "" : ` ${more.length} more.`;
    throw new UserMistake(`The trip can't be saved yet. ${where}${others}`, "Mend what is marked first.", 78);
  }
  const id = trip === undefined ? undefined : (trip as TripId);
  const saved = await saveTripFile(home.config, { id, stamp, text, profile });
  engine.refresh();
  return { ...saved, stamp: stampOf(text) };
}
