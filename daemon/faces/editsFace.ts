/** What the API asks about work files, answered out of engine and ledger. */

import type { EditsFace } from "../api/editsFace.ts";
import { conflictDetail, editsJson, sayKnown, versionsJson } from "../engine/edits/view.ts";
import type { Engine } from "../engine/engine.ts";

export function editsFace(engine: Engine): EditsFace {
  return {
    edits: (trip, from, most) => editsJson(engine, trip, from, most),
    versions: (trip, path) => versionsJson(engine, trip, path),
    restore: (trip, path, at) => engine.restoreEdit(trip, path, at),
    conflict: (id) => conflictDetail(engine, id),
    seen: (id) => sayKnown(engine, id),
  };
}
