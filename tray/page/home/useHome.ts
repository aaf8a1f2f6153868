/** The homecoming as it stands, asked anew while one is under way and when one begins or ends elsewhere. */

import { useCallback, useEffect, useState } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import type { HomeStateJson } from "../../../shared/homeApi.ts";
import { ask, Refused } from "../daemon.ts";

/** ms. While one is under way its end is asked for about so often; how far it is, the status says by itself. */
const again = 1_000;

export interface Home {
  /** Undefined until the daemon answered. */
  readonly state: HomeStateJson | undefined;
  readonly refusal: Refused | undefined;
  readonly set: (state: HomeStateJson) => void;
  readonly look: () => void;
}

export function useHome(status: StatusJson): Home {
  const [state, set] = useState<HomeStateJson>();
  const [refusal, setRefusal] = useState<Refused>();
  const [asked, setAsked] = useState(0);
  const look = useCallback(() => setAsked((times) => times + 1), []);
  const trip = status.trip?.id;
  const atWork = status.work.some(({ kind }) => kind === "homecoming");
  const running = state?.running === true;
  useEffect(() => {
    const left = new AbortController();
    let timer: ReturnType<typeof setTimeout> | undefined;
    const askIt = async () => {
      try {
        const answer = await ask<HomeStateJson>("/v1/homecoming", left.signal);
        if (left.signal.aborted) return;
        set(answer);
        setRefusal(undefined);
        if (answer.running) timer = setTimeout(askIt, again);
      } catch (failure) {
        if (left.signal.aborted) return;
        if (!(failure instanceof Refused)) throw failure;
        setRefusal(failure);
        timer = setTimeout(askIt, again);
      }
    };
    void askIt();
    return () => {
      left.abort();
      clearTimeout(timer);
    };
  }, [trip, atWork, running, asked]);
  return { state, refusal, set, look };
}
