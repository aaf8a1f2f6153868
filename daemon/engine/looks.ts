/**
 * What somebody says of a frame who looked at it: fine, or not. A fact like any other, so that every drive's record
 * knows it; a frame that isn't fine keeps its card from being clear (`core/verdict.ts`).
 */

import { instant } from "../../shared/units.ts";
import type { FrameRow } from "../ports/frameLedger.ts";
import { encodeFact } from "../record/journal.ts";
import type { Engine } from "./engine.ts";

export function sayLooked(engine: Engine, frame: FrameRow, fine: boolean): void {
  const { ledger, clock, hashing } = engine.ports;
  if (frame.fine === fine) return;
  const before = ledger.frames.lastLook(frame.id);
  // What is said later holds, also when the clock was put back meanwhile.
  const at = instant(before === undefined ? clock.now() : Math.max(clock.now(), before + 1));
  const fact = encodeFact({ kind: "look", trip: frame.trip, at, frame: frame.id, fine }, hashing);
  ledger.apply([fact]);
  engine.bay.tell([fact]);
  const said = fine ? "looked at and fine" : "looked at and not fine";
  ledger.note("frame", frame.trip, `${frame.stem}: ${said}`, clock.now());
  engine.refresh();
}
