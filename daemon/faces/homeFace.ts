/** What the API asks about homecomings, answered out of engine and ledger. */

import type { AbsolutePath } from "../../shared/identity.ts";
import type { HomeFace } from "../api/homeFace.ts";
import type { Engine } from "../engine/engine.ts";
import { beginHomecoming, homeState } from "../engine/homecoming/request.ts";
import { retireDrive } from "../engine/homecoming/retire.ts";

/** @param own this program's own folders, where no archive may be */
export function homeFace(engine: Engine, own: readonly AbsolutePath[]): HomeFace {
  return {
    state: (trip) => homeState(engine, trip),
    begin: (wish) => beginHomecoming(engine, wish, own),
    stop: () => engine.homecoming.stopNow(),
    retire: (name) => engine.between(() => retireDrive(engine, name)),
  };
}
