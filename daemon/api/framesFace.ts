/** What the API asks of the daemon about frames. Failures that are the caller's are `UserMistake`. */

import type {
  FrameDaysJson,
  FrameFactsJson,
  FramesJson,
  PicturesJson,
  RatedJson,
  SampleJson,
} from "../../shared/framesApi.ts";

export type PictureSize = "sheet" | "large";

export interface FramesFace {
  /** @param trip id; undefined: the one the board shows. */
  days(trip: string | undefined): FrameDaysJson;
  /** @param day only this day's, counted from its first. */
  frames(trip: string, from: number, most: number, day: string | undefined): Promise<FramesJson>;
  frame(id: string): Promise<FrameFactsJson>;
  /** These are on somebody's screen: they are made before all others. Answers at once with how they stand. */
  want(ids: readonly string[], size: PictureSize): PicturesJson;
  /** JPEG, upright; undefined while there is none. */
  picture(id: string, size: PictureSize): Promise<Uint8Array | undefined>;
  /** @param rating -1, 0 to 5; @param stamp of the sidecar as it was shown. */
  rate(id: string, rating: number, stamp: string): Promise<RatedJson>;
  /** About a dozen frames covering every card, body and hour of the day. */
  sample(trip: string, day: string): Promise<SampleJson>;
  look(id: string, fine: boolean): Promise<void>;
}
