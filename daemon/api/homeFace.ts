/** What the API asks of the daemon about homecomings. Failures that are the caller's are `UserMistake`. */

import type { DriveRetiredJson, HomeStateJson } from "../../shared/homeApi.ts";

export interface HomeWish {
  /** Id or name; undefined: the one the board shows. */
  readonly trip: string | undefined;
  /** In place of the profile's archives. */
  readonly to: string | undefined;
  /** Nothing is written. */
  readonly rehearsal: boolean;
  /** Earlier versions of work files come along. */
  readonly history: boolean;
}

export interface HomeFace {
  state(trip: string | undefined): HomeStateJson;
  /** Begins it and answers at once; `state` tells of its end. */
  begin(wish: HomeWish): Promise<HomeStateJson>;
  /** Ends the one under way between two files; what is merged stays. */
  stop(): void;
  retire(name: string): Promise<DriveRetiredJson>;
}
