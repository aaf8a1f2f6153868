/**
 * What frames would be called by a profile that is still being written: real frames where some are known, else made-up
 * ones. Values that are faulty as yet are stood in for, so that names and folders are seen as they are typed.
 *
 * Invariant: nothing here decides a name for good; that is `daemon/engine/dating.ts`, by the same rules.
 */

import { Temporal } from "temporal-polyfill";
import type { CameraFacts } from "../../shared/camera.ts";
import { datedMoment } from "../../shared/moments.ts";
import type { TripBody, TripProfile } from "../../shared/trip.ts";
import type { ExampleJson, ProfileFormJson } from "../../shared/tripsApi.ts";
import { type Instant, instant, millis } from "../../shared/units.ts";
import { assignLetters } from "./bodies.ts";
import { readProfile } from "./profile.ts";
import { clockCorrection } from "./profileBodies.ts";
import { formOf } from "./profileForm.ts";
import { isRealDate, isZone } from "./profileValues.ts";
import { safePart } from "./safeName.ts";
import { whenTaken } from "./taken.ts";
import { expand, parseTemplate } from "./template.ts";

/** A frame to try names on. */
export interface TriedFrame {
  readonly facts: CameraFacts | undefined;
  readonly kind: "still" | "video";
  /** The file's own time, for what says nothing better. */
  readonly modified: Instant;
  /** DCF file number; "" where it has none. */
  readonly number: string;
  /** Base name on the card, without extension. */
  readonly original: string;
  /** With its dot. */
  readonly extension: string;
  /** The card's number in the trip. */
  readonly card: string;
  /** The running number within the day that it has; undefined where it has none yet. */
  readonly count: number | undefined;
}

/** Frames are shown up to so many, and at least two where there are two. */
const mostExamples = 5;
const leastExamples = 2;

type Named = Pick<
  TripProfile,
  "trip" | "code" | "from" | "to" | "zone" | "dayStartsMinutes" | "bodies" | "folders" | "names"
>;

/**
 * @param frames real frames; without any, made-up ones are taken
 * @param known letters that bodies of the trip have already, by serial
 */
export function examplesOf(
  text: string,
  frames: readonly TriedFrame[],
  known: ReadonlyMap<string, string>,
): readonly ExampleJson[] {
  const profile = readProfile(text).profile ?? standInOf(text);
  const folders = parseTemplate(profile?.folders ?? "");
  const names = parseTemplate(profile?.names ?? "");
  if (profile === undefined || !folders.ok || !names.ok) return [];
  const real = frames.length > 0;
  const dated = (real ? frames : madeUp(profile)).map((frame) => ({ frame, taken: takenBy(frame, profile) }));
  const serials = dated.map(({ frame }) => frame.facts?.serial ?? "");
  const letters = assignLetters(profile.bodies, known, serials);
  return varied(dated, ({ frame, taken }) => `${taken.day} ${frame.facts?.serial ?? ""}`).map(
    ({ frame, taken }, index) => {
      const serial = frame.facts?.serial ?? "";
      const model = frame.facts?.model ?? "";
      const values = {
        trip: profile.trip,
        code: profile.code,
        day: taken.day,
        taken: taken.local,
        body: letters.get(serial) ?? "",
        serial,
        model,
        number: frame.number,
        original: frame.original,
        count: frame.count ?? index + 1,
        card: frame.card,
      };
      const body = [model, serial].filter((part) => part !== "").join(" ");
      const of = [`${frame.original}${frame.extension}`, body, datedMoment(taken.local)];
      const path = `${expand(folders.template, values)}/${expand(names.template, values)}${frame.extension}`;
      return { of: of.filter((part) => part !== "").join(", "), path, real };
    },
  );
}

function takenBy({ facts, modified, kind }: TriedFrame, profile: Named) {
  const body = profile.bodies.find((each) => each.serial === (facts?.serial ?? ""));
  return whenTaken(facts, modified, kind, body, profile.zone, profile.dayStartsMinutes);
}

/** One of each kind first; more of the first kinds where there are too few. */
function varied<T>(all: readonly T[], kindOf: (one: T) => string): readonly T[] {
  const kinds = new Set<string>();
  const chosen = all.filter((one) => {
    const kind = kindOf(one);
    if (kinds.has(kind) || kinds.size >= mostExamples) return false;
    kinds.add(kind);
    return true;
  });
  const more = all
    .filter((one) => !chosen.includes(one))
    .slice(0, Math.max(0, leastExamples - chosen.length));
  return all.filter((one) => chosen.includes(one) || more.includes(one));
}

/** The demo's world, in the zone and on the days of the trip, by its bodies. */
function madeUp({ from, to, bodies }: Named): readonly TriedFrame[] {
  const next = Temporal.PlainDate.from(from).add({ days: 1 }).toString();
  const second = next <= to ? next : from;
  const [one = "4410072", other = one === "4410913" ? "4410072" : "4410913"] = bodies.map(
    (body) => body.serial,
  );
  const frame = (day: string, time: string, model: string, serial: string, number: string): TriedFrame => ({
    facts: { model, serial, dateTimeOriginal: `${day} ${time}` },
    kind: "still",
    modified: instant(0),
    number,
    original: `ALD_${number}`,
    extension: ".NEF",
    card: "1",
    count: undefined,
  });
  return [
    frame(from, "14:05:12", "Aldine R2", one, "0421"),
    frame(from, "15:20:40", "Aldine M1", other, "1207"),
    frame(second, "09:31:02", "Aldine R2", one, "0640"),
  ];
}

function standInOf(text: string): Named | undefined {
  const form = formOf(text);
  return form === undefined ? undefined : standIn(form);
}

/** A profile to try names with, whatever is missing or faulty as yet. */
function standIn(form: ProfileFormJson): Named {
  const named = (value: string, otherwise: string): string =>
    value.trim() !== "" && safePart(value) === value ? value : otherwise;
  const day = (value: string, otherwise: string): TripProfile["from"] =>
    (/^\d{4}-\d{2}-\d{2}$/.test(value) && isRealDate(value) ? value : otherwise) as TripProfile["from"];
  const from = day(form.from, "2027-06-03");
  const starts = /^([01]\d|2[0-3]):([0-5]\d)$/.exec(form.dayStarts);
  return {
    trip: named(form.trip, "Kestrel Cliffs"),
    code: named(form.code, "KC"),
    from,
    to: day(form.to, "2027-06-14"),
    zone: form.zone !== "" && isZone(form.zone) ? form.zone : "UTC",
    dayStartsMinutes: starts === null ? 0 : Number(starts[1]) * 60 + Number(starts[2]),
    bodies: form.bodies.filter((body) => body.serial !== "").map(standInBody),
    folders: form.folders === "" ? "{trip}/{day}" : form.folders,
    names: form.names === "" ? "{code}-{day:yyyyMMdd}-{body}{number}" : form.names,
  };
}

function standInBody({
  serial,
  letter,
  clock,
  zone,
  videoTime,
}: ProfileFormJson["bodies"][number]): TripBody {
  return {
    serial,
    clockCorrection: millis(clockCorrection(clock) ?? 0),
    videoClock: videoTime === "body" ? "body" : "utc",
    ...(/^[A-Z]{1,3}$/.test(letter) ? { letter } : {}),
    ...(zone !== "" && isZone(zone) ? { zone } : {}),
  };
}
