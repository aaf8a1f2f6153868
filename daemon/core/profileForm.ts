/**
 * What a form shows of a profile's text, however faulty its values are, and texts to begin with.
 *
 * Not its job: judging the values (`profile.ts`), changing them (`profileEdit.ts`).
 */

import { isMap, isScalar, isSeq, type YAMLMap } from "yaml";
import type { BodyFormJson, DriveFormJson, ProfileFormJson } from "../../shared/tripsApi.ts";
import { changeProfile } from "./profileEdit.ts";
import { parse } from "./yamlText.ts";

/** The values as they are written; undefined where the text is no sound YAML map, so that only the text can be mended. */
export function formOf(text: string): ProfileFormJson | undefined {
  const document = parse(text);
  const root = document.contents;
  if (document.errors.length > 0 || (root !== null && !isMap(root))) return undefined;
  const goal = mapAt(root, "goal");
  const archive = mapAt(root, "archive");
  const edits = mapAt(root, "edits");
  return {
    trip: textAt(root, "trip"),
    code: textAt(root, "code"),
    from: textAt(root, "from"),
    to: textAt(root, "to"),
    zone: textAt(root, "zone"),
    dayStarts: textAt(root, "day-starts"),
    worth: textAt(root, "worth"),
    copies: textAt(goal, "copies"),
    places: textAt(goal, "places"),
    drives: entriesOf(root, "drives").map(driveOf),
    bodies: entriesOf(root, "bodies").map(bodyOf),
    folders: textAt(root, "folders"),
    names: textAt(root, "names"),
    ejectCard: mapAt(root, "after")?.get("eject-card") === true,
    archiveFolder: textAt(archive, "folder"),
    archiveTree: textAt(archive, "tree"),
    archiveAlso: oneAt(archive, "also"),
    leaveOut: oneAt(edits, "leave-out"),
    historyShare: textAt(edits, "history"),
  };
}

/** An earlier trip's text for a new one: its days are empty, everything else stays. */
export function withoutDays(text: string): string | undefined {
  return changeProfile(text, [
    { key: "from", value: "" },
    { key: "to", value: "" },
  ]);
}

/** A profile that says nothing yet. @param drives names of known drives, to begin with */
export function emptyProfile(drives: readonly string[]): string {
  const roles = ["primary", "secondary", "further"];
  const names = drives.length === 0 ? ["", ""] : drives.slice(0, roles.length);
  const lines = names.map((name, at) => `  - { name: ${JSON.stringify(name)}, role: ${roles[at]} }`);
  return `trip: "" # also the folder's name on every drive
code: "" # short, for file names
from: "" # first and last day, both included
to: ""
zone: "" # IANA time zone of the days

# How many drives shall hold each frame: ordinary is 2 copies, unrepeatable 3 copies in 2 places.
worth: ordinary

drives:
${lines.join("\n")}

# Fields: trip, code, day, taken, body, serial, model, number, original, count, card.
folders: "{trip}/{day}"
names: "{code}-{day:yyyyMMdd}-{body}{number}" # the extension is kept
`;
}

type Entry = YAMLMap | undefined;

function driveOf(entry: Entry): DriveFormJson {
  return { name: textAt(entry, "name"), role: textAt(entry, "role"), place: textAt(entry, "place") };
}

function bodyOf(entry: Entry): BodyFormJson {
  return {
    serial: textAt(entry, "serial"),
    letter: textAt(entry, "letter"),
    clock: textAt(entry, "clock"),
    zone: textAt(entry, "zone"),
    videoTime: textAt(entry, "video-time"),
  };
}

function mapAt(map: Entry | null, key: string): Entry {
  const node = map?.get(key, true);
  return isMap(node) ? node : undefined;
}

/** One for each entry, whatever it is, so that numbers agree with those of faults and changes. */
function entriesOf(map: Entry | null, key: string): readonly Entry[] {
  const node: unknown = map?.get(key, true);
  return isSeq(node) ? node.items.map((item) => (isMap(item) ? item : undefined)) : [];
}

/** The same of what may be one or a list; null where it is a list. */
function oneAt(map: Entry | null, key: string): string | null {
  return isSeq(map?.get(key, true)) ? null : textAt(map, key);
}

/** As it is written where it is no text: a number keeps its zeros. */
function textAt(map: Entry | null, key: string): string {
  const node = map?.get(key, true);
  if (!isScalar(node) || node.value === null) return "";
  return typeof node.value === "string" ? node.value : (node.source ?? String(node.value));
}
