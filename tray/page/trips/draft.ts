/**
 * A trip while it is being described: the text, what the form changed that isn't in the text yet, and where each fault
 * belongs. Pure values; asking the daemon is `tripEditor.ts`.
 *
 * Invariant: what someone typed is in `text` or in `waiting`, never nowhere.
 */

import type { ProfileFault } from "../../../shared/trip.ts";
import type { ProfileChangeJson, ProfileFormJson } from "../../../shared/tripsApi.ts";

export interface Draft {
  /** null: a new trip. */
  readonly trip: string | null;
  /** Of the file's text that it began from; null for a new trip. */
  readonly stamp: string | null;
  /** The text that it began from. */
  readonly saved: string;
  readonly text: string;
  /** Changes of the form that aren't in the text yet, in their order. */
  readonly waiting: readonly ProfileChangeJson[];
}

export function beginDraft(trip: string | null, stamp: string | null, text: string): Draft {
  return { trip, stamp, saved: text, text, waiting: [] };
}

export function isChanged({ saved, text, waiting }: Draft): boolean {
  return text !== saved || waiting.length > 0;
}

/** @param sent how many of those waiting are on their way: they stay as they were sent */
export function withChanges(draft: Draft, changes: readonly ProfileChangeJson[], sent: number): Draft {
  const waiting = [...draft.waiting];
  for (const change of changes) {
    if (waiting.length > sent && waiting.at(-1)?.key === change.key && change.value !== null) waiting.pop();
    waiting.push(change);
  }
  return { ...draft, waiting };
}

/** The first of those waiting are in the text now. */
export function withText(draft: Draft, text: string, sent: number): Draft {
  return { ...draft, text, waiting: draft.waiting.slice(sent) };
}

const rootNames: { readonly [key: string]: keyof ProfileFormJson } = {
  trip: "trip",
  code: "code",
  from: "from",
  to: "to",
  zone: "zone",
  "day-starts": "dayStarts",
  worth: "worth",
  "goal.copies": "copies",
  "goal.places": "places",
  folders: "folders",
  names: "names",
  "archive.folder": "archiveFolder",
  "archive.tree": "archiveTree",
  "archive.also": "archiveAlso",
  "edits.leave-out": "leaveOut",
  "edits.history": "historyShare",
};
const noDrive = { name: "", role: "", place: "" };
const noBody = { serial: "", letter: "", clock: "", zone: "", videoTime: "" };

/** The form as it will be when the text has these changes. */
export function changedForm(form: ProfileFormJson, changes: readonly ProfileChangeJson[]): ProfileFormJson {
  return changes.reduce(changedBy, form);
}

function changedBy(form: ProfileFormJson, { key, value }: ProfileChangeJson): ProfileFormJson {
  const text = typeof value === "string" ? value : "";
  if (key === "after.eject-card") return { ...form, ejectCard: value === true };
  const root = rootNames[key];
  if (root !== undefined) return { ...form, [root]: text, ...otherGoal(key, value) };
  const found = /^(drives|bodies)\[(\d+)\](?:\.([a-z-]+))?$/.exec(key);
  if (found === null) return form;
  const at = Number(found[2]);
  const inside = found[3] === "video-time" ? "videoTime" : found[3];
  if (found[1] === "drives") return { ...form, drives: changedList(form.drives, at, inside, text, noDrive) };
  return { ...form, bodies: changedList(form.bodies, at, inside, text, noBody) };
}

/** `worth` and `goal` take each other's place. */
function otherGoal(key: string, value: ProfileChangeJson["value"]): Partial<ProfileFormJson> {
  if (value === null) return {};
  if (key === "worth") return { copies: "", places: "" };
  return key.startsWith("goal.") ? { worth: "" } : {};
}

/** @param inside undefined takes the entry away */
function changedList<T extends object>(
  list: readonly T[],
  at: number,
  inside: string | undefined,
  text: string,
  none: T,
): readonly T[] {
  if (inside === undefined) return list.filter((_, index) => index !== at);
  const entry = { ...(list[at] ?? none), [inside]: text };
  return at < list.length ? list.map((each, index) => (index === at ? entry : each)) : [...list, entry];
}

/** Faults by the key of the field they stand beside, and those that no field has. */
export interface PlacedFaults {
  readonly beside: ReadonlyMap<string, readonly ProfileFault[]>;
  readonly onTop: readonly ProfileFault[];
}

/** Fields that faults of a whole stand beside, where they have none of their own. */
const nearest: { readonly [key: string]: string } = {
  goal: "worth",
  after: "after.eject-card",
  archive: "archive.folder",
};

export function placeFaults(faults: readonly ProfileFault[], form: ProfileFormJson | null): PlacedFaults {
  const beside = new Map<string, ProfileFault[]>();
  const onTop: ProfileFault[] = [];
  for (const fault of faults) {
    const key = nearest[fault.key] ?? fault.key;
    if (form !== null && hasField(form, key)) beside.set(key, [...(beside.get(key) ?? []), fault]);
    else onTop.push(fault);
  }
  return { beside, onTop };
}

function hasField(form: ProfileFormJson, key: string): boolean {
  if (rootNames[key] !== undefined || ["after.eject-card", "drives", "bodies"].includes(key)) return true;
  const found = /^(drives|bodies)\[(\d+)\](?:\.([a-z-]+))?$/.exec(key);
  const list = found?.[1] === "drives" ? form.drives : form.bodies;
  if (found === null || Number(found[2]) >= list.length) return false;
  const inside = found[3];
  const fields = found[1] === "drives" ? Object.keys(noDrive) : [...Object.keys(noBody), "video-time"];
  return inside === undefined || fields.includes(inside);
}

/** Where a line stands in the text, its end not included; 1-based, as faults count. */
export function lineSpan(text: string, line: number): { readonly start: number; readonly end: number } {
  const lines = text.split("\n");
  const at = Math.min(Math.max(line, 1), lines.length) - 1;
  const start = lines.slice(0, at).reduce((sum, each) => sum + each.length + 1, 0);
  return { start, end: start + (lines[at] ?? "").length };
}

/** What keeps a draft while the page shows something else, or is loaded anew: the browser's store of this window. */
export interface DraftStore {
  getItem(key: string): string | null;
  setItem(key: string, value: string): void;
  removeItem(key: string): void;
}

const prefix = "trip ";

/** @param at what tells the draft from others: the page's address */
export function keepDraft(store: DraftStore, at: string, draft: Draft): void {
  if (isChanged(draft)) store.setItem(`${prefix}${at}`, JSON.stringify(draft));
  else forgetDraft(store, at);
}

export function forgetDraft(store: DraftStore, at: string): void {
  store.removeItem(`${prefix}${at}`);
}

/** undefined where none was kept, or what was kept is none of this version. */
export function keptDraft(store: DraftStore, at: string): Draft | undefined {
  try {
    const kept = JSON.parse(store.getItem(`${prefix}${at}`) ?? "null") as Partial<Draft> | null;
    if (typeof kept?.text !== "string" || typeof kept.saved !== "string" || !Array.isArray(kept.waiting))
      return undefined;
    return {
      trip: kept.trip ?? null,
      stamp: kept.stamp ?? null,
      saved: kept.saved,
      text: kept.text,
      waiting: kept.waiting,
    };
  } catch {
    return undefined;
  }
}
