/** Where a trip goes below an archive folder: the tree of its profile, filled in once for the whole trip. */

import { type RelativePath, relativePath } from "../../shared/identity.ts";
import type { TripProfile } from "../../shared/trip.ts";
import { expand, parseTemplate, type Template, type TemplateField, templateFields } from "./template.ts";

/** Fields that say the same of every frame of a trip; dates are those of its first day. */
export const treeFields: readonly TemplateField[] = ["trip", "code", "day", "taken"];

/** The first field of a tree that names a single frame; undefined where there is none. */
export function frameFieldIn({ pieces }: Template): TemplateField | undefined {
  return templateFields.find(
    (field) =>
      !treeFields.includes(field) && pieces.some((piece) => piece.kind === "field" && piece.field === field),
  );
}

/** The trip's folder below the archive. The profile was read, so its tree is valid. */
export function renderTree(profile: Pick<TripProfile, "trip" | "code" | "from">, tree: string): RelativePath {
  const parsed = parseTemplate(tree);
  if (!parsed.ok) throw new Error("a profile's tree is checked when it is read");
  const { trip, code, from } = profile;
  const ofNoFrame = { body: "", serial: "", model: "", number: "", original: "", count: 0, card: "" };
  const values = { trip, code, day: from, taken: `${from}T00:00:00.000`, ...ofNoFrame };
  return relativePath(expand(parsed.template, values));
}
