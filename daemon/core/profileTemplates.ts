/**
 * The templates of a trip profile: where frames go and how they are called, and the archive's tree. Faults are shown at
 * their column inside the template; doubts about valid ones (clashes, long paths) are warnings.
 *
 * Not its job: the template language (`template.ts`).
 */

import { Temporal } from "temporal-polyfill";
import { type Day, nameKey } from "../../shared/identity.ts";
import { printable } from "../../shared/text.ts";
import type { TripProfile } from "../../shared/trip.ts";
import { frameFieldIn, treeFields } from "./archiveTree.ts";
import { assignLetters } from "./bodies.ts";
import { bytesOf } from "./safeName.ts";
import { parseTemplate, type Template } from "./template.ts";
import { collisionExample, type ExampleTrip, exampleNamesOf, longestExample } from "./templateCheck.ts";
import { type Faults, type Field, isListed, offsetInside, readList, readMap, readText } from "./yamlNodes.ts";

const defaultFolders = "{trip}/{day}";
const defaultNames = "{code}-{day:yyyyMMdd}-{body}{number}";
const defaultTree = "{taken:yyyy}/{trip}";
/** Windows' limit without long paths, less a drive letter (Microsoft, Naming Files, Paths, and Namespaces). */
const longestWindowsPath = 259 - 3;
/** Days of a trip that templates are tried on. */
const triedDays = 400;

export interface ReadTemplate {
  readonly text: string;
  readonly template: Template;
}

export function readFolders(
  field: Field | undefined,
  source: string,
  faults: Faults,
): ReadTemplate | undefined {
  if (field === undefined) return settled(defaultFolders);
  const allowed = `folders that begin with the trip's, such as "${defaultFolders}"`;
  const read = readTemplate(field, allowed, source, faults);
  if (read === undefined || !checkParts(field, read.text, allowed, source, faults)) return undefined;
  const parts = read.text.split("/");
  if (parts[0] !== "{trip}") {
    const what =
      "the folders don't begin with {trip}: all of a trip stands in its own folder, with its checksum list";
    faults.error(field.at, field.key, what, allowed);
    return undefined;
  }
  if (nameKey(parts[1] ?? "") === "extras") {
    const at = offsetInside(field, source, parts[0].length + 1);
    faults.error(
      at,
      field.key,
      "the folder 'extras' is for what is on a card and is no frame",
      "any other folder",
    );
    return undefined;
  }
  return read;
}

export function readNames(
  field: Field | undefined,
  source: string,
  faults: Faults,
): ReadTemplate | undefined {
  if (field === undefined) return settled(defaultNames);
  const allowed = `a file name without its extension, such as "${defaultNames}"`;
  const read = readTemplate(field, allowed, source, faults);
  const slash = read === undefined ? -1 : read.text.indexOf("/");
  if (slash < 0) return read;
  faults.error(
    offsetInside(field, source, slash),
    field.key,
    "a file's name can't hold '/'",
    `${allowed}; folders go into 'folders'`,
  );
  return undefined;
}

export const archiveKeys: readonly string[] = ["folder", "tree", "also"];
/** Each is a place of its own, and takes a whole trip. */
const alsoMost = 8;

export function readArchive(
  field: Field | undefined,
  source: string,
  faults: Faults,
): NonNullable<TripProfile["archive"]> | "none" | undefined {
  if (field === undefined) return "none";
  const fields = readMap(field.node, field.at, field.key, archiveKeys, faults);
  if (fields === undefined) return undefined;
  const folderField = fields.get("folder");
  const allowed = "an absolute path such as /archive";
  if (folderField === undefined) faults.error(field.at, "archive.folder", "'folder' is missing", allowed);
  const folder = folderField === undefined ? undefined : readText(folderField, allowed, faults);
  const absolute =
    folderField !== undefined && folder !== undefined && isAbsolute(folder, folderField, allowed, faults);
  const also = readAlso(fields.get("also"), folder, faults);
  const treeField = fields.get("tree");
  const treeAllowed = `folders below the archive, such as "${defaultTree}"`;
  const tree =
    treeField === undefined ? settled(defaultTree) : readTemplate(treeField, treeAllowed, source, faults);
  if (
    tree !== undefined &&
    treeField !== undefined &&
    !checkTree(treeField, tree, treeAllowed, source, faults)
  ) {
    return undefined;
  }
  return absolute && tree !== undefined && also !== undefined ? { folder, tree: tree.text, also } : undefined;
}

/** The tree is filled in once for the whole trip: what names a single frame says nothing there. */
function checkTree(
  field: Field,
  { text, template }: ReadTemplate,
  allowed: string,
  source: string,
  faults: Faults,
): boolean {
  if (!checkParts(field, text, allowed, source, faults)) return false;
  if (nameKey(text.split("/")[0] ?? "") === ".scrubjay") {
    faults.error(field.at, field.key, "'.scrubjay' is the folder of the archive's own record", allowed);
    return false;
  }
  const ofFrame = frameFieldIn(template);
  if (ofFrame !== undefined) {
    const at = offsetInside(field, source, Math.max(0, text.indexOf(`{${ofFrame}`)));
    const what = `{${ofFrame}} names a single frame and is left empty: the tree is filled in once for the whole trip`;
    faults.warning(at, field.key, what, treeFields.map((each) => `{${each}}`).join(", "));
  }
  return true;
}

/** Further folders that the trip is merged into, each another one. */
function readAlso(
  field: Field | undefined,
  folder: string | undefined,
  faults: Faults,
): readonly string[] | undefined {
  if (field === undefined) return [];
  const allowed = "another absolute path such as /second/archive, or a list of them";
  const items = isListed(field) ? readList(field, allowed, faults) : [field];
  if (items === undefined) return undefined;
  if (items.length > alsoMost) {
    faults.error(field.at, field.key, `${items.length} folders are listed`, `at most ${alsoMost}`);
    return undefined;
  }
  const taken = new Set(folder === undefined ? [] : [bareFolder(folder)]);
  const folders: string[] = [];
  for (const item of items) {
    const text = readText(item, allowed, faults);
    if (text === undefined || !isAbsolute(text, item, allowed, faults)) continue;
    if (taken.has(bareFolder(text))) {
      faults.error(item.at, item.key, `'${printable(text, 60)}' is named already`, allowed);
      continue;
    }
    taken.add(bareFolder(text));
    folders.push(text);
  }
  return folders.length === items.length ? folders : undefined;
}

function isAbsolute(folder: string, field: Field, allowed: string, faults: Faults): boolean {
  const is = /^(?:\/|[A-Za-z]:[\\/]|\\\\)/.test(folder) && printable(folder, 4096) === folder;
  if (!is) faults.error(field.at, field.key, `'${printable(folder, 60)}' is no absolute path`, allowed);
  return is;
}

/** The same for `/archive`, `/archive/` and `//archive`. */
const bareFolder = (folder: string): string => folder.replace(/[\\/]+/g, "/").replace(/(?<=.)\/$/, "");

/** Doubts about templates that are valid by themselves. */
export function checkTemplates(
  names: Template,
  folders: Template,
  field: Field | undefined,
  trip: Pick<TripProfile, "trip" | "code" | "from" | "to"> | undefined,
  faults: Faults,
): void {
  const at = field?.at ?? 0;
  const key = field?.key ?? "names";
  const about = trip === undefined ? undefined : exampleTrip(trip);
  const clash = collisionExample(names, folders, about);
  if (clash !== undefined) {
    const next = "fields that tell frames apart, such as {body} with {number}, and {day} in folders or names";
    faults.warning(at, key, `${clash}; the later one would get a suffix`, next);
  }
  if (about === undefined) return;
  const longest = longestExample(names, folders, about);
  if (longest.split("/").some((part) => bytesOf(part) > 250) || longest.length > longestWindowsPath) {
    const what = `paths can become ${longest.length} characters long; names over 255 bytes are shortened`;
    faults.warning(at, key, what, `up to ${longestWindowsPath} characters, which Windows opens on any drive`);
  }
}

/** What the templates give for three example frames of this trip's bodies, `folder/name.EXT`. */
export function exampleNames(profile: TripProfile): string[] {
  const names = parseTemplate(profile.names);
  const folders = parseTemplate(profile.folders);
  if (!names.ok || !folders.ok) return [];
  const namesBy = (letter: string | undefined): string[] =>
    exampleNamesOf(
      withBody(names.template, letter),
      withBody(folders.template, letter),
      exampleTrip(profile),
    );
  const [first, second = first] = lettersOf(profile);
  // Two frames of one body, then one of another.
  return [...namesBy(first).slice(0, 2), ...namesBy(second).slice(2)];
}

/** The letters of the bodies that are listed, in their order. */
function lettersOf({ bodies }: TripProfile): string[] {
  const serials = bodies.map((body) => body.serial);
  const letters = assignLetters(bodies, new Map(), serials);
  return serials.flatMap((serial) => letters.get(serial) ?? []);
}

/** The template for frames of the body with this letter; undefined leaves the field to the example. */
function withBody({ pieces }: Template, letter: string | undefined): Template {
  if (letter === undefined) return { pieces };
  return {
    pieces: pieces.map((piece) =>
      piece.kind === "field" && piece.field === "body" ? { kind: "text", text: letter } : piece,
    ),
  };
}

function exampleTrip(trip: Pick<TripProfile, "trip" | "code" | "from" | "to">): ExampleTrip {
  return { trip: trip.trip, code: trip.code, days: daysOf(trip.from, trip.to) };
}

/** Every day of the trip, both ends included; no more than `triedDays` of them. */
function daysOf(from: string, to: string): Day[] {
  const days: Day[] = [];
  let day = Temporal.PlainDate.from(from);
  const last = Temporal.PlainDate.from(to);
  while (days.length < triedDays && Temporal.PlainDate.compare(day, last) <= 0) {
    days.push(day.toString() as Day);
    day = day.add({ days: 1 });
  }
  return days;
}

function readTemplate(
  field: Field,
  allowed: string,
  source: string,
  faults: Faults,
): ReadTemplate | undefined {
  const text = readText(field, allowed, faults);
  if (text === undefined) return undefined;
  const parsed = parseTemplate(text);
  if (!parsed.ok) {
    const at = offsetInside(field, source, parsed.at);
    faults.error(at, field.key, printable(parsed.what), printable(parsed.allowed, 400));
    return undefined;
  }
  if (text.trim() !== "" && parsed.template.pieces.length > 0) return { text, template: parsed.template };
  faults.error(field.at, field.key, "this template is empty", allowed);
  return undefined;
}

/** A template that is settled here, with no field to point at. */
function settled(text: string): ReadTemplate {
  const parsed = parseTemplate(text);
  if (!parsed.ok) throw new Error(`a template of our own is faulty: ${text}`);
  return { text, template: parsed.template };
}

/** No empty part, no `.` or `..`: what stands between the `/` of folders. */
function checkParts(field: Field, text: string, allowed: string, source: string, faults: Faults): boolean {
  let at = 0;
  for (const part of text.split("/")) {
    if (part.trim() === "" || part === "." || part === "..") {
      const said =
        part === "" ? "there is an empty folder name" : `a folder can't be called '${printable(part, 60)}'`;
      faults.error(offsetInside(field, source, at), field.key, said, allowed);
      return false;
    }
    at += part.length + 1;
  }
  return true;
}
