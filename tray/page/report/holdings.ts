/** What each drive holds by day, asked anew when the status says that it changed; the last answer is kept meanwhile. */

import { useEffect, useState } from "preact/hooks";
import type { HoldingsJson, StatusJson } from "../../../shared/api.ts";
import { ask, Refused } from "../daemon.ts";

/** ms. While files arrive, the days are asked for about so often: it is a count over the whole trip. */
const settle = 1_000;

export function useHoldings(status: StatusJson): HoldingsJson | undefined {
  const [holdings, setHoldings] = useState<HoldingsJson>();
  const state = [
    status.trip?.id,
    status.frames.files,
    ...status.drives.map((drive) => drive.holds.files),
  ].join(" ");
  const first = holdings === undefined;
  useEffect(() => {
    let left = false;
    const look = async () => {
      try {
        const answer = await ask<HoldingsJson>("/v1/holdings");
        if (!left) setHoldings(answer);
      } catch (failure) {
        // The screen says by itself when the daemon doesn't answer; the next change asks again.
        if (!(failure instanceof Refused)) throw failure;
      }
    };
    const timer = setTimeout(look, first ? 0 : settle);
    return () => {
      left = true;
      clearTimeout(timer);
    };
  }, [state]);
  return holdings;
}
