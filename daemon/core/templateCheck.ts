/**
 * Trying templates on invented frames before the trip: what names they give, and whether two frames can get one name.
 *
 * Two frames clash if everything that tells them apart is missing from folder and name. So each way in which frames
 * of one trip are alike is tried on a pair that differs in all else. Left out is what only a long day can bring:
 * a counter that comes round within one day, or one file number in two folders of a card.
 * Not its job: clashes at run time, where the later frame gets a suffix and nothing is lost.
 */

import { printable } from "../../shared/text.ts";
import { expand, type Template, type TemplateValues } from "./template.ts";

/** What the example frames take from the profile; without one, an invented trip. */
export interface ExampleTrip {
  readonly trip: string;
  readonly code: string;
  /** The trip's days, `YYYY-MM-DD`, at least two for a pair on different days to be tried. */
  readonly days: readonly string[];
}

const inventedTrip: ExampleTrip = { trip: "Kestrel Cliffs", code: "KC", days: ["2027-06-03", "2027-06-04"] };

/** A sentence with a pair of frames that would get one name, or undefined if none of the pairs tried would. */
export function collisionExample(
  names: Template,
  folders: Template,
  about: ExampleTrip = inventedTrip,
): string | undefined {
  const day = about.days[0] ?? "2027-06-03";
  const first = exampleValues(about, day);
  const nameOf = (values: TemplateValues): string => `${expand(folders, values)}/${expand(names, values)}`;
  const name = nameOf(first);
  const said = printable(name);

  const nextFrame = { ...first, number: "0422", original: "ALD_0422", count: 22 };
  if (nameOf({ ...nextFrame, taken: `${day}T21:16:40.250` }) === name) {
    return `Frames 0421 and 0422 of body A, a minute apart on ${day}, would both be '${said}'`;
  }
  if (nameOf(nextFrame) === name) {
    return `Frames 0421 and 0422 of body A, of one burst on ${day}, would both be '${said}'`;
  }
  const otherBody = {
    ...first,
    body: "B",
    serial: "4410913",
    count: 22,
    card: "8",
    taken: `${day}T21:16:40.250`,
  };
  if (nameOf(otherBody) === name) {
    return `Frame 0421 of body A and frame 0421 of body B, both on ${day}, would both be '${said}'`;
  }
  const otherDay = about.days
    .slice(1)
    .find((other) => nameOf({ ...exampleValues(about, other), card: "9" }) === name);
  if (otherDay !== undefined) {
    return `Frame 0421 of body A on ${day} and again on ${otherDay}, after its counter came round, would both be '${said}'`;
  }
  return undefined;
}

/** `folder/name.EXT` of three frames: two of one day, and one of another body on the next. */
export function exampleNamesOf(names: Template, folders: Template, about: ExampleTrip): string[] {
  const day = about.days[0] ?? "2027-06-03";
  const first = exampleValues(about, day);
  const frames: TemplateValues[] = [
    first,
    { ...first, number: "0422", original: "ALD_0422", count: 22, taken: `${day}T21:16:40.250` },
    {
      ...exampleValues(about, about.days[1] ?? day),
      body: "B",
      serial: "4410913",
      model: "Aldine M1",
      number: "1207",
      original: "ALD_1207",
      count: 1,
      card: "8",
    },
  ];
  return frames.map((values) => `${expand(folders, values)}/${expand(names, values)}.NEF`);
}

/** The longest path that the templates give with long but plausible values. */
export function longestExample(names: Template, folders: Template, about: ExampleTrip): string {
  const day = about.days[0] ?? "2027-06-03";
  const values: TemplateValues = {
    ...exampleValues(about, day),
    body: "AA",
    serial: "0".repeat(20),
    model: "M".repeat(32),
    number: "9999",
    original: "ALD_9999",
    count: 9999,
    card: "99",
  };
  return `${expand(folders, values)}/${expand(names, values)}.NEF`;
}

function exampleValues(about: ExampleTrip, day: string): TemplateValues {
  return {
    trip: about.trip,
    code: about.code,
    day,
    taken: `${day}T21:15:12.250`,
    body: "A",
    serial: "4410072",
    model: "Aldine R2",
    number: "0421",
    original: "ALD_0421",
    count: 21,
    card: "7",
  };
}
