/** The work files' document, asked anew when the status says that something about them changed. */

import { useCallback, useEffect, useState } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import type { EditsJson } from "../../../shared/editsApi.ts";
import { ask, Refused } from "../daemon.ts";

/** files of one page of the list. */
export const filesAtOnce = 200;
/** ms. While files are mirrored the list is asked for about so often. */
const settle = 1_000;

export interface Edits {
  readonly known: EditsJson | undefined;
  readonly refusal: Refused | undefined;
  readonly look: () => void;
}

/** @param from the first file of the list, counted from 0 */
export function useEdits(status: StatusJson, from: number): Edits {
  const [known, setKnown] = useState<EditsJson>();
  const [refusal, setRefusal] = useState<Refused>();
  const [asked, setAsked] = useState(0);
  const look = useCallback(() => setAsked((times) => times + 1), []);
  const told = `${status.trip?.id} ${JSON.stringify(status.edits)}`;
  const [answered, setAnswered] = useState("");
  const now = `${from} ${asked}`;
  useEffect(() => {
    const left = new AbortController();
    const askIt = async () => {
      try {
        const answer = await ask<EditsJson>(`/v1/edits?from=${from}&most=${filesAtOnce}`, left.signal);
        if (left.signal.aborted) return;
        setKnown(answer);
        setRefusal(undefined);
        setAnswered(now);
      } catch (failure) {
        if (left.signal.aborted) return;
        if (!(failure instanceof Refused)) throw failure;
        setRefusal(failure);
      }
    };
    // What was asked for here comes at once; what changes by itself may come in many small steps.
    const timer = setTimeout(askIt, answered === now ? settle : 0);
    return () => {
      left.abort();
      clearTimeout(timer);
    };
  }, [told, now]);
  return { known, refusal, look };
}
